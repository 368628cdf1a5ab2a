"""How far planned and real were apart, and how far they would be with what was learned."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import exp
from statistics import fmean
from typing import Literal

from planner.learning.factors import Factor, Factors
from planner.learning.learn import LEAST_LOSS, LEAST_RATE, fits, floor_of, growth_log, known
from planner.observed import Observations
from planner.tables import Crop, Fish

Figure = Literal["days", "yield", "loss", "growth", "survival", "fcr"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedRow:
    """What was learned of one figure of a crop and method, or of a species (method "").

    Parameters
    ----------
    n, seen
        Records, and those of them that tell the figure itself and not only a bound. [-]
    planned, real
        Means over those seen, by the tables: days [d], yield [kg], loss (share of the plants: the
        table's, and with the lost parts [-]), growth (gain [g]), survival (deaths [-]) and fcr
        [kg kg⁻¹]; None when none is seen.
    bias
        Mean of real over planned, less 1: above 0 when it took longer or gave more. [-]
    error_before, error_after
        Mean size of real over foretold, less 1: by the tables, and with what all other records
        teach. [-]
    factor, sd_log
        As learned; the second is the standard deviation of its log. [-]
    """

    figure: Figure
    crop: str
    method: str
    n: int
    seen: int
    planned: float | None
    real: float | None
    bias: float | None
    error_before: float | None
    error_after: float | None
    factor: float
    sd_log: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """One record: planned and real, the real over the planned, and the factor without it."""

    crop: str
    method: str
    planned: float
    real: float
    ratio: float
    foretold: float
    seen: bool = True


def rows(
    factors: Factors,
    observations: Observations,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
) -> tuple[LearnedRow, ...]:
    """Return a row for each figure of each crop and method, and of each species, with records.

    Parameters
    ----------
    factors
        What `learn` made of the same observations and tables.
    """
    pairs = _pairs(known(observations, crops, fish), factors, crops, fish)
    found: list[LearnedRow] = []
    for figure, group in pairs.items():
        for crop, method in sorted({(pair.crop, pair.method) for pair in group}):
            mine = [pair for pair in group if (pair.crop, pair.method) == (crop, method)]
            factor = _factor(factors, figure, crop, method)
            found.append(_row(figure, crop, method, mine, factor))
    return tuple(found)


def _row(figure: Figure, crop: str, method: str, pairs: list[_Pair], factor: Factor) -> LearnedRow:
    seen = [pair for pair in pairs if pair.seen]
    return LearnedRow(
        figure=figure,
        crop=crop,
        method=method,
        n=len(pairs),
        seen=len(seen),
        planned=fmean(pair.planned for pair in seen) if seen else None,
        real=fmean(pair.real for pair in seen) if seen else None,
        bias=fmean(pair.ratio - 1 for pair in seen) if seen else None,
        error_before=fmean(abs(pair.ratio - 1) for pair in seen) if seen else None,
        error_after=fmean(abs(p.ratio / p.foretold - 1) for p in seen) if seen else None,
        factor=factor.factor,
        sd_log=factor.sd_log,
    )


def _factor(factors: Factors, figure: Figure, crop: str, method: str) -> Factor:
    match figure:
        case "days":
            return factors.days_of(crop, method)
        case "yield":
            return factors.yield_of(crop, method)
        case "loss":
            return factors.loss_of(crop, method)
        case "growth":
            return factors.growth_of(crop)
        case "survival":
            return factors.survival_of(crop)
        case "fcr":
            return factors.fcr_of(crop)


def _pairs(
    told: Observations, factors: Factors, crops: Mapping[str, Crop], fish: Mapping[str, Fish]
) -> dict[Figure, list[_Pair]]:
    found = fits(told, crops, fish, factors.priors)
    return {
        "days": [
            _Pair(
                crop=o.crop,
                method=o.method,
                planned=o.planned_days,
                real=o.middle_days,
                ratio=o.middle_days / o.planned_days,
                foretold=exp(
                    max(other, floor_of(found, (o.crop, o.method), crops[o.crop].feed_rate_class))
                ),
                seen=not o.censored,
            )
            for o, other in zip(told.days, found.days.without, strict=True)
        ],
        "yield": [
            _Pair(
                crop=o.crop,
                method=o.method,
                planned=o.planned_kg,
                real=o.real_kg,
                ratio=o.real_kg / o.planned_kg,
                foretold=exp(other),
            )
            for o, other in zip(told.yields, found.yields.without, strict=True)
        ],
        "loss": list(_losses(told, found.losses.without, crops)),
        "growth": [
            _Pair(
                crop=o.species,
                method="",
                planned=o.planned_gain_g,
                real=o.real_gain_g,
                ratio=exp(growth_log(o)),
                foretold=exp(other),
            )
            for o, other in zip(told.growth, found.growth.without, strict=True)
        ],
        "survival": [
            _Pair(
                crop=o.species,
                method="",
                planned=o.expected,
                real=o.dead,
                ratio=o.dead / o.expected,
                foretold=max(LEAST_RATE, 1 + other),
            )
            for o, other in zip(told.survival, found.survival.without, strict=True)
        ],
        "fcr": [
            _Pair(
                crop=o.species,
                method="",
                planned=fish[o.species].fcr,
                real=o.feed_kg / o.gain_kg,
                ratio=o.feed_kg / o.gain_kg / fish[o.species].fcr,
                foretold=exp(other),
            )
            for o, other in zip(told.fcr, found.fcr.without, strict=True)
        ],
    }


def _losses(
    told: Observations, without: tuple[float, ...], crops: Mapping[str, Crop]
) -> Iterator[_Pair]:
    """Yield shares of plants lost: in whole parts, and the table's of the rest."""
    for o, other in zip(told.losses, without, strict=True):
        table = crops[o.crop].loss_pct / 100
        real = table + (1 - table) * min(1.0, o.lost / o.plants)
        least = max(table, LEAST_LOSS)
        yield _Pair(
            crop=o.crop,
            method=o.method,
            planned=table,
            real=real,
            ratio=1 + (real - table) / least,
            foretold=max(LEAST_RATE, 1 + other),
        )
