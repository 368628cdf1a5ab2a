"""From observations to factors.

The class that crops share is their feed-rate class, leafy or fruiting: what a house does
otherwise than the tables, in light, warmth and handling, it does to all of a kind, and two broad
classes learn it from the first few batches, where families of one or two crops would not. All fish
are one class.
"""

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log, sqrt
from typing import TypeVar

import numpy as np

from planner.learning.factors import CropMethod, Factor, Factors, Priors
from planner.learning.shrinkage import Estimate, Fit, Prior, Sample, fit
from planner.observed import (
    DaysObs,
    GrowthObs,
    LossObs,
    Observations,
    SurvivalObs,
    YieldObs,
)
from planner.tables import Crop, Fish

METHODS = ("media_bed", "raft", "tower")
FISH = "fish"
LEAST_LOSS = 0.01  # share; a table without losses is taken to have so many
WAITED = 2  # batches waited for that show that a grower does not cut by the calendar; judgement
ON_TIME_SDS = 1.0  # of the prior, by which cuts in time may make a crop quicker; judgement
COUNTED = {"cut": 3.0, "far": 1e9}  # losses and deaths are rare and uneven by nature; judgement
LEAST_DAYS = 1.0  # nothing is ripe on the day it is set out
PLANT_CV = 0.25  # of single plants of a batch: standard deviation over mean; judgement
LEAST_GROWTH, MOST_GROWTH = 0.1, 10.0  # of real over planned growth: a weighing may be wrong
LEAST_RATE = 0.05  # of the tables' death rate

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits:
    """The estimates behind the factors, in the order of the observations of known crops."""

    days: Fit[CropMethod]
    sure_days: Fit[CropMethod]  # without batches of which only is known that they were in time
    quicker: float  # log by which those may make a crop quicker than all else says
    yields: Fit[CropMethod]
    losses: Fit[CropMethod]
    growth: Fit[str]
    survival: Fit[str]
    fcr: Fit[str]


def known(
    observations: Observations, crops: Mapping[str, Crop], fish: Mapping[str, Fish]
) -> Observations:
    """Return the observations of crops and fish that the tables have."""
    return Observations(
        days=tuple(o for o in observations.days if o.crop in crops),
        yields=tuple(o for o in observations.yields if o.crop in crops),
        losses=tuple(o for o in observations.losses if o.crop in crops),
        growth=tuple(o for o in observations.growth if o.species in fish),
        survival=tuple(o for o in observations.survival if o.species in fish),
        fcr=tuple(o for o in observations.fcr if o.species in fish),
    )


def fits(
    observations: Observations, crops: Mapping[str, Crop], fish: Mapping[str, Fish], priors: Priors
) -> Fits:
    """Return the estimates from observations of known crops and fish."""
    days = [_days(o, crops) for o in observations.days]
    sure = [s for s, o in zip(days, observations.days, strict=True) if not o.on_time]
    return Fits(
        days=fit(days, priors.days),
        sure_days=fit(sure, priors.days),
        quicker=ON_TIME_SDS * priors.days.sd if _waits(observations.days) else 0.0,
        yields=fit((_yield(o, crops) for o in observations.yields), priors.yields),
        losses=fit(_losses(observations, crops, priors.losses), priors.losses, **COUNTED),
        growth=fit((_growth(o) for o in observations.growth), priors.fish_growth),
        survival=fit((_deaths(o) for o in observations.survival), priors.survival, **COUNTED),
        fcr=fit(
            (
                Sample(
                    shared=FISH,
                    key=o.species,
                    value=log(o.feed_kg / o.gain_kg / fish[o.species].fcr),
                    noise=o.noise_log,
                )
                for o in observations.fcr
            ),
            priors.fcr,
        ),
    )


def learn(
    observations: Observations, crops: Mapping[str, Crop], fish: Mapping[str, Fish], priors: Priors
) -> Factors:
    """Return what the observations teach; the order they come in does not matter.

    A batch of which is known only that it was ripe when the plan wanted it pulls the factor on
    days down, for else the late ones alone would speak; but never below both the table's days and
    what seen or earlier ripeness says: cutting on time does not make a crop quicker, and a grower
    who cuts by the calendar would be told to cut sooner and sooner. Of one who is known to wait for
    what is not ripe it tells more: it pulls below them by the prior's standard deviation at most.

    Parameters
    ----------
    crops, fish
        The tables before anything is learned, which gave the planned figures.
    """
    found = fits(known(observations, crops, fish), crops, fish, priors)
    keys = [
        ((name, method), row.feed_rate_class) for name, row in crops.items() for method in METHODS
    ]
    species = [(name, FISH) for name in fish]
    return Factors(
        days=_days_by_key(found, keys),
        yields=_by_key(found.yields, keys),
        losses=_by_key(found.losses, keys, counted=True),
        fish_growth=_by_key(found.growth, species),
        survival=_by_key(found.survival, species, counted=True),
        fcr=_by_key(found.fcr, species),
        priors=priors,
    )


def _waits(days: Iterable[DaysObs]) -> bool:
    """Whether the grower is known to wait for what is not ripe when it is due."""
    return sum(o.told in {"between", "after"} for o in days) >= WAITED


def growth_log(o: GrowthObs) -> float:
    """Return the log of real over planned growth of the cube root of weight, within bounds."""
    roots = np.cbrt([o.start_g, o.start_g + o.real_gain_g, o.start_g + o.planned_gain_g])
    ratio = float((roots[1] - roots[0]) / (roots[2] - roots[0]))
    return log(min(max(ratio, LEAST_GROWTH), MOST_GROWTH))


def lost_over_table(o: LossObs, crops: Mapping[str, Crop]) -> float:
    """Return what lost parts add to the table's losses, in multiples of those. [-]"""
    table = crops[o.crop].loss_pct / 100
    return (1 - table) * min(1.0, o.lost / o.plants) / max(table, LEAST_LOSS)


def _days(o: DaysObs, crops: Mapping[str, Crop]) -> Sample[CropMethod]:
    return Sample(
        shared=crops[o.crop].feed_rate_class,
        key=(o.crop, o.method),
        value=log(o.real_days / o.planned_days),
        bound="" if o.told == "ripe" else o.told,
        low=log(max(LEAST_DAYS, o.from_days) / o.planned_days),
    )


def _yield(o: YieldObs, crops: Mapping[str, Crop]) -> Sample[CropMethod]:
    """Kilograms over the table's; few plants are unsure by what single ones differ."""
    noise = 0.0 if o.plants is None else PLANT_CV / sqrt(max(1.0, o.plants))
    return Sample(
        shared=crops[o.crop].feed_rate_class,
        key=(o.crop, o.method),
        value=log(o.real_kg / o.planned_kg),
        noise=noise,
    )


def _losses(
    observations: Observations, crops: Mapping[str, Crop], prior: Prior
) -> Iterator[Sample[CropMethod]]:
    """Yield the losses; batches that one event took count together as one record.

    A record of k that share an event is unsure by √(k − 1) of a batch's own spread besides, so
    that all k weigh as much as one, and says no more than an outlier may.
    """
    shared = Counter(o.event for o in observations.losses if o.event)
    for o in observations.losses:
        value, together = lost_over_table(o, crops), max(1, shared[o.event])
        yield Sample(
            shared=crops[o.crop].feed_rate_class,
            key=(o.crop, o.method),
            value=min(value, COUNTED["cut"] * prior.sigma) if together > 1 else value,
            noise=prior.sigma * sqrt(together - 1),
        )


def _growth(o: GrowthObs) -> Sample[str]:
    return Sample(shared=FISH, key=o.species, value=growth_log(o), noise=o.noise_log)


def _deaths(o: SurvivalObs) -> Sample[str]:
    """Deaths over those expected; a count is unsure by its square root."""
    value, noise = o.dead / o.expected - 1, 1 / sqrt(o.expected)
    return Sample(shared=FISH, key=o.species, value=value, noise=noise)


def floor_of(found: Fits, key: CropMethod, shared: str) -> float:
    """Return the least log of the factor on days: what seen or earlier ripeness says, or 0.

    Less what cuts in time may say of a grower who waits for what is not ripe.
    """
    sure = found.sure_days.own.get(key, found.sure_days.shared.get(shared))
    return (0.0 if sure is None else min(0.0, sure.mean)) - found.quicker


def _days_by_key(found: Fits, keys: Sequence[tuple[CropMethod, str]]) -> dict[CropMethod, Factor]:
    factors = _by_key(found.days, keys)
    floors = {key: floor_of(found, key, shared) for key, shared in keys}
    return {
        key: replace(factor, mean_log=max(factor.mean_log, floors[key]))
        for key, factor in factors.items()
    }


def _by_key(
    found: Fit[Key], keys: Iterable[tuple[Key, str]], *, counted: bool = False
) -> dict[Key, Factor]:
    """Return the factor of each key of a class with records."""
    factors: dict[Key, Factor] = {}
    for key, shared in keys:
        estimate = found.own.get(key, found.shared.get(shared))
        if estimate is not None:
            factors[key] = _of_rate(estimate) if counted else _log(estimate)
    return factors


def _log(estimate: Estimate) -> Factor:
    return Factor(mean_log=estimate.mean, sd_log=estimate.sd, n=estimate.n)


def _of_rate(estimate: Estimate) -> Factor:
    """Turn a rate over the table's, less 1, into the factor's log."""
    rate = max(LEAST_RATE, 1 + estimate.mean)
    return Factor(mean_log=log(rate), sd_log=estimate.sd / rate, n=estimate.n)
