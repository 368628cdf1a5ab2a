"""What was foretold against what came: one row for each range, one for each batch."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner.environment import Environment, zone_air_c
from planner.farm import Zone
from planner.forecast.growing import NEVER
from planner.tables import Crop
from tests.skill.grower import RealCut, ripe_on
from tests.skill.nature import table_model
from tests.skill.oracle import factor_days, factor_kg, lasting
from tests.skill.season import House, Told, shares

LOW, HIGH = 0.1, 0.9
YEAR_MONTHS = 13
SAME = 1e-6
FISH_WEEKS = (2, 4, 8, 12, 20)
SHOWN_KG = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranged:
    """One range of 80 % and what came.

    Attributes
    ----------
    kind
        `kg` of a crop and week, `date` of a first cut, `yield` of a batch, `fish` mean weight.
    year
        0: foretold before any record; 1: in the first season; 2: in the second.
    ahead_weeks
        From the day of foretelling.
    week
        The Monday of what is foretold.
    within
        1 inside, 0 outside; where many draws are the very number that came, their share inside.
    below, above
        The same, for each side.
    """

    kind: str
    year: int
    crop: str
    fruit: bool
    ahead_weeks: int
    week: date
    within: float
    below: float
    above: float
    plain: bool
    middle: float
    real: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown:
    """One batch of either season: how long it took and what it gave, foretold and real.

    Days are from setting out to ripeness, `noted_days` to what the grower wrote down: ripeness, or
    else the first cut; kilograms are of a plant and planned cut. `factor_` is by the hidden
    factors, `lasting_` by all but luck and weather.
    """

    year: int
    crop: str
    zone: str
    once: bool
    set_out: date
    real_days: float
    noted_days: float
    learned_days: float
    table_days: float
    packet_days: float
    degree_days: float
    factor_days: float
    lasting_days: float
    real_kg: float
    learned_kg: float
    table_kg: float
    factor_kg: float
    lasting_kg: float


def against(draws: NDArray[np.float64], real: float) -> tuple[float, float, float]:
    """Return how far a number lies within the range of its draws, below it and above it.

    Where draws equal it, it stands for all places that they take, so that a range of draws from
    the same truth holds it in 80 of 100 cases, whether or not numbers repeat.
    """
    low = float((draws < real - SAME).mean())
    high = float((draws <= real + SAME).mean())
    if high - low < SAME:
        return float(LOW <= low <= HIGH), float(low < LOW), float(low > HIGH)
    below = max(0.0, min(high, LOW) - low) / (high - low)
    above = max(0.0, high - max(low, HIGH)) / (high - low)
    return 1 - below - above, below, above


def _ranged(
    told: Told, kind: str, crop: str, ahead: int, draws: NDArray[np.float64], real: float
) -> Ranged:
    within, below, above = against(draws, real)
    low, middle, high = np.quantile(draws, [LOW, 0.5, HIGH])
    crops = told.case.problem.crops
    return Ranged(
        kind=kind,
        year=0 if told.month == 0 else 1 + (told.month >= YEAR_MONTHS),
        crop=crop,
        fruit=crop in crops and crops[crop].feed_rate_class == "fruiting",
        ahead_weeks=ahead,
        week=told.case.problem.horizon.monday(ahead),
        within=within,
        below=below,
        above=above,
        plain=bool(low - SAME <= real <= high + SAME),
        middle=float(middle),
        real=real,
    )


def ranges(house: House, told: Told) -> Iterator[Ranged]:
    """Yield every range that was foretold on a day."""
    season = told.case.problem
    start, weeks = season.horizon.start, season.horizon.weeks
    real_kg = weekly_kg(told, weeks)
    for crop, kg in real_kg.items():
        for week in range(weeks):
            draws = told.cut_kg[crop][week]
            if kg[week] > SHOWN_KG or np.quantile(draws, HIGH) > SHOWN_KG:
                yield _ranged(told, "kg", crop, week, draws, float(kg[week]))
    for lot in told.case.lots:
        found, cuts = told.drawn.found.get(lot.id), told.real[lot.id]
        if found is None or told.past[lot.id] or not cuts or not found.kg:
            continue
        first = (cuts[0].day - start).days
        if np.median(found.first_day) < NEVER and first < 7 * (weeks - 4):
            draws = found.first_day.astype(np.float64)
            yield _ranged(told, "date", lot.option.crop, first // 7, draws, float(first))
        if (lot.option.clear - start).days <= 7 * (weeks - 2):
            draws = np.sum([kg for kg in found.kg.values()], axis=0)
            total = sum(cut.kg for cut in cuts)
            yield _ranged(told, "yield", lot.option.crop, first // 7, draws, total)
    yield from _fish(house, told)


def _fish(house: House, told: Told) -> Iterator[Ranged]:
    season = told.case.problem
    for school in told.case.schools:
        for week in FISH_WEEKS:
            band = told.mean_g[school.id].get(week)
            day = season.horizon.monday(week)
            if band is None or day < school.option.stock + timedelta(weeks=2):
                continue
            real, _ = house.real_g(season, school, day)
            low, middle, high = band
            yield Ranged(
                kind="fish",
                year=0 if told.month == 0 else 1 + (told.month >= YEAR_MONTHS),
                crop=school.option.species,
                fruit=False,
                ahead_weeks=week,
                week=day,
                within=float(low <= real <= high),
                below=float(real < low),
                above=float(real > high),
                plain=bool(low <= real <= high),
                middle=middle,
                real=real,
            )


def weekly_kg(told: Told, weeks: int) -> dict[str, NDArray[np.float64]]:
    """Return what will really be cut by crop and week, from the day of foretelling on. [kg]"""
    start = told.case.problem.horizon.start
    found: dict[str, NDArray[np.float64]] = {}
    for lot in told.case.lots:
        kg = found.setdefault(lot.option.crop, np.zeros(weeks))
        for cut in told.real[lot.id]:
            week = (cut.day - start).days // 7
            if 0 <= week < weeks:
                kg[week] += cut.kg
    return found


def grown(house: House, told: Told) -> Iterator[Grown]:
    """Yield the batches that are set out before the next foretelling."""
    season = told.case.problem
    start = season.horizon.plan_date
    for lot in told.case.lots:
        option = lot.option
        ahead = (option.set_out - start).days
        if not 0 <= ahead < 28 * house.every or not told.real[lot.id]:
            continue
        batch, zone = told.batches[lot.id], season.farm.zones[option.zone]
        table = batch.crop
        here = season.crops_in[zone.method.value][table.id]
        model = table_model(table, season.environment, zone)
        at = season.environment.index(option.set_out)
        growth = model.growth(at)
        cuts = max(1, len(lot.harvest_kg))
        learned_kg = sum(lot.harvest_kg.values()) / batch.plants / cuts
        ratio = table.yield_kg_per_plant * (1 - table.loss_pct / 100)
        ratio /= here.yield_kg_per_plant * (1 - here.loss_pct / 100)
        if growth is None or learned_kg <= 0:
            continue
        planned = sorted(
            (d, kg) for (source, d), kg in told.case.flows.cut.items() if source == lot.id
        )
        best = lasting(house.other_years, batch, shares(lot, table, planned))
        yield Grown(
            year=1 + (told.month >= YEAR_MONTHS),
            crop=table.id,
            zone=zone.name,
            once=table.harvest_kind == "once",
            set_out=option.set_out,
            real_days=(ripe_on(house.nature, batch) - option.set_out).days,
            noted_days=(house.noted_on(batch, told.real[lot.id][0].day) - option.set_out).days,
            learned_days=(option.ripe - option.set_out).days,
            table_days=growth.ripe_day - at,
            packet_days=table.days_to_harvest,
            degree_days=degree_days(table, zone, at, season.environment),
            factor_days=factor_days(house.nature, batch, model, at),
            lasting_days=best.days,
            real_kg=_all_kg(told.real[lot.id]) / batch.plants / cuts,
            learned_kg=learned_kg,
            table_kg=learned_kg * ratio,
            factor_kg=learned_kg * ratio * factor_kg(house.nature, batch),
            lasting_kg=best.kg / batch.plants / cuts,
        )


def _all_kg(cuts: Sequence[RealCut]) -> float:
    return sum(cut.kg for cut in cuts)


def degree_days(crop: Crop, zone: Zone, at: int, environment: Environment) -> float:
    """Return the days to harvest by warmth alone above the table's base temperature."""
    above = np.maximum(0.0, zone_air_c(environment, zone)[at:] - crop.base_temp_c)
    wanted = crop.days_to_harvest * (crop.ref_temp_c - crop.base_temp_c)
    return float(np.searchsorted(np.cumsum(above), wanted) + 1)
