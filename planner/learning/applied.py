"""The tables with what was learned in them."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from planner.learning.factors import CropMethod, Factors
from planner.learning.learn import LEAST_LOSS
from planner.tables import Crop, Fish

LONGEST_DAYS = 730
MOST_YIELD_KG = 100.0
MOST_UPTAKE_G = 500.0
MOST_LOSS_PCT = 95.0
MOST_TGC = 10.0
LEAST_FCR, MOST_FCR = 0.3, 10.0


def applied(crops: Mapping[str, Crop], factors: Factors, method: str) -> Mapping[str, Crop]:
    """Return the crops as this house grows them in a growing method.

    Days to harvest stay whole days, at most half a day off; nitrogen taken up goes with the yield,
    as in a grower's own rows. Where nothing is learned a row is the very same.
    """
    return MappingProxyType({name: _crop(row, factors, method) for name, row in crops.items()})


def applied_fish(fish: Mapping[str, Fish], factors: Factors) -> Mapping[str, Fish]:
    """Return the fish as they do in this house: growth, deaths and feed conversion."""
    return MappingProxyType({name: _fish(row, factors) for name, row in fish.items()})


def used(
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    factors: Factors,
    grown: Iterable[CropMethod],
    species: Iterable[str],
) -> dict[str, dict[str, float]]:
    """Return the factors that `applied` and `applied_fish` put in, for a plan's key `learned`.

    By `crop/method` days, yield and loss; by species growth, survival (of the death rate) and fcr;
    after rounding, so that they can be taken out exactly. What is 1 in all is left out.

    Parameters
    ----------
    crops, fish
        The tables before anything is learned.
    grown, species
        Crops with their methods, and fish, that the plan uses.
    """
    found: dict[str, dict[str, float]] = {}
    for name, method in sorted(set(grown)):
        before, after = crops[name], _crop(crops[name], factors, method)
        found[f"{name}/{method}"] = {
            "days": after.days_to_harvest / before.days_to_harvest,
            "yield": after.yield_kg_per_plant / before.yield_kg_per_plant,
            "loss": after.loss_pct / before.loss_pct if before.loss_pct > 0 else 1.0,
        }
    for name in sorted(set(species)):
        found[name] = {
            "growth": factors.growth_of(name).factor,
            "survival": factors.survival_of(name).factor,
            "fcr": factors.fcr_of(name).factor,
        }
    return {key: by for key, by in found.items() if any(f != 1 for f in by.values())}


def _rounded(value: float) -> float:
    """Return a value to six figures, as a table would print it."""
    return float(f"{value:.6g}")


def _crop(row: Crop, factors: Factors, method: str) -> Crop:
    days = factors.days_of(row.id, method)
    yields = factors.yield_of(row.id, method)
    losses = factors.loss_of(row.id, method)
    if days.mean_log == yields.mean_log == losses.mean_log == 0:
        return row
    loss_pct = row.loss_pct
    if losses.mean_log != 0:
        loss_pct += max(loss_pct, 100 * LEAST_LOSS) * (losses.factor - 1)
    return replace(
        row,
        days_to_harvest=min(LONGEST_DAYS, max(1, round(row.days_to_harvest * days.factor))),
        yield_kg_per_plant=_most(row.yield_kg_per_plant, yields.factor, MOST_YIELD_KG),
        n_uptake_g_per_plant=_most(row.n_uptake_g_per_plant, yields.factor, MOST_UPTAKE_G),
        loss_pct=_rounded(min(MOST_LOSS_PCT, max(0.0, loss_pct))),
    )


def _most(value: float, factor: float, most: float) -> float:
    return value if factor == 1 else _rounded(min(most, value * factor))


def _fish(row: Fish, factors: Factors) -> Fish:
    growth, deaths = factors.growth_of(row.id), factors.survival_of(row.id)
    conversion = factors.fcr_of(row.id)
    if growth.mean_log == deaths.mean_log == conversion.mean_log == 0:
        return row
    tgc = row.tgc_per_1000_degree_days
    return replace(
        row,
        tgc_per_1000_degree_days=None if tgc is None else min(MOST_TGC, tgc * growth.factor),
        survival_growout_fraction=row.survival_growout_fraction**deaths.factor,
        fcr=min(MOST_FCR, max(LEAST_FCR, row.fcr * conversion.factor)),
    )
