"""What one batch gives in each draw: how many plants live, when it is ripe, and how much is cut.

A cut that is not ripe in its week is made in the first later week that it is, up to the week that
follows the batch's last one; what is not ripe by then is lost. What lacks a few days of ripeness is
cut all the same, lighter. Cuts are not made earlier than planned: a crop cut once that was ripe
early waits, and past its harvest window loses an equal share a day until twice as many days have
gone (judgement); leaf that waits goes on growing. Regrowth and fruit come faster or slower with
growth; what a late first cut takes of their time is lost to them.

Heads are sold by count: of all that makes a plant lighter only a share shows in how many are sold,
and there are never more of them than plants.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from planner.demand import cut_days
from planner.forecast.factors import Sizes
from planner.forecast.growing import NEVER, Clock, Days
from planner.forecast.streams import Streams, shares
from planner.forecast.weather import Weather
from planner.lots import Lot
from planner.problem import SeasonProblem
from planner.spread import Spread
from planner.tables import NURSERY_SUCCESS, Crop, cells_for

Series = NDArray[np.float64]

LEAST_KG = 1e-6
UNRIPE_DAYS = 3  # short of ripeness at which a crop is cut all the same; judgement
UNFIT_SHARE = 0.5  # of the table's losses that are heads too small to sell; judgement
OVERRIPE_WINDOWS = 2  # harvest windows past its own in which a crop is lost; judgement
LIGHTER_A_DAY = 0.06  # of a plant's weight, for each of them; judgement
MOST_MORE = 0.4  # of a cut of leaf, that stands on when it waits; judgement
PICK_DAYS = 7  # a pick takes what ripened in the days that begin with it


@dataclass(frozen=True, slots=True, eq=False)
class Harvest:
    """What a lot gives; all by draw.

    Attributes
    ----------
    kg
        By week in which anything may be cut. [kg]
    first_day
        Day of its first cut, from the horizon's first Monday; `NEVER` where nothing is cut.
    uptake
        Nitrogen taken up over the plan's, the weather aside. [-]
    """

    kg: Mapping[int, Series]
    first_day: Days
    uptake: Series


@dataclass(frozen=True, slots=True, eq=False)
class Bed:
    """What all lots of one crop and method share in a draw.

    Attributes
    ----------
    counted
        Share of a plant's weight that shows in what is sold: 1 but for heads. [-]
    days, yields, losses
        Logs of how days to harvest, kilograms a plant and losses differ from the table's. [-]
    """

    crop: Crop
    counted: float
    clock: Clock
    days: Series
    yields: Series
    losses: Series
    weekday: int


def bed(
    problem: SeasonProblem, crop: Crop, method: str, clock: Clock, streams: Streams, sizes: Sizes
) -> Bed:
    """Draw what all lots of a crop and method share."""
    name = f"{crop.id}/{method}"
    head = crop.harvest_kind == "once" and crop.yield_unit in {"head", "each"}
    counted = sizes.spread.counted_share if head else 1.0
    # records of heads are counts already: what was learned of them is not to be halved again
    learned = sizes.yields(crop.id, method)
    most = max(learned, sizes.factors.priors.yields.sd)
    yields = min(learned / counted, most) if counted > 0 else learned
    return Bed(
        crop=crop,
        counted=counted,
        clock=clock,
        days=streams.normal(f"days/{name}", sizes.days(crop.id, method)),
        yields=streams.normal(f"yield/{name}", yields),
        losses=streams.normal(f"losses/{name}", sizes.losses(crop.id, method)),
        weekday=cut_days(problem.farm, crop.id).first_weekday,
    )


def harvest(
    problem: SeasonProblem,
    lot: Lot,
    here: Bed,
    weather: Weather,
    streams: Streams,
    sizes: Sizes,
    first_cut: date | None,
) -> Harvest:
    """Draw the harvests of one lot.

    Parameters
    ----------
    first_cut
        Day of the first cut that the plan names, where it names one.
    """
    spread = sizes.spread
    stream = streams.of(f"batch/{lot.id}")
    slower, heavier = stream.standard_normal((2, streams.draws))
    speed = np.exp(-(here.days + slower * spread.days_batch))
    heavier = here.yields + heavier * spread.yield_batch
    plants = _plants(lot, here, stream, spread)
    fit = np.exp(heavier * here.counted)
    if here.counted < 1:  # no more heads than plants
        fit = np.minimum(fit, 1 + UNFIT_SHARE * here.crop.loss_pct / 100)
    weight = fit * plants
    ripe = _ripe(problem, lot, here, speed)
    week_ripe = _first_week(problem, ripe - UNRIPE_DAYS, here.weekday)
    kg = _cuts(problem, lot, here, weather, ripe, week_ripe, speed, weight, streams, spread)
    return Harvest(
        kg=kg, first_day=_first_day(problem, kg, here, ripe, first_cut), uptake=speed * plants
    )


def _plants(lot: Lot, here: Bed, stream: np.random.Generator, spread: Spread) -> Series:
    """Plants that are cut over those that the plan reckons with, by draw.

    The table's germination is the least that seed is sold with, so that what comes up lies on
    average half way from it to all (judgement).
    """
    crop, draws = here.crop, len(here.losses)
    plants = lot.option.plants * lot.parts
    kept = 1 - crop.loss_pct / 100
    lost = np.minimum(0.95, crop.loss_pct / 100 * np.exp(here.losses))
    if spread.loss_batch > 0 and crop.loss_pct > 0:
        lost = shares(stream, lost, spread.loss_batch * lost, plants, draws)
    alive = (1 - lost) / kept
    if spread.germination > 0 and lot.option.standing is None and not crop.direct_sow:
        cells = cells_for(crop, plants)
        fails = ((1 - crop.germination_rate_pct / 100) / 2) ** max(1, crop.seeds_per_cell)
        up = shares(stream, NURSERY_SUCCESS * (1 - fails), spread.germination, cells, draws)
        alive = alive * np.minimum(1.0, up * cells / max(plants, 1))
    return np.asarray(alive)


def _ripe(problem: SeasonProblem, lot: Lot, here: Bed, speed: Series) -> Days:
    """Day on which the first of the lot's cuts is ripe, by draw."""
    option, horizon = lot.option, problem.horizon
    planned = option.cuts[0].ripe if option.cuts else option.ripe
    day = (planned - horizon.start).days
    today = (horizon.plan_date - horizon.start).days
    origin = (option.set_out - horizon.start).days
    if option.standing is None:
        return here.clock.ripe(origin, day, speed)
    batch = problem.farm.standing[option.standing]
    if batch.first_cut is not None or batch.ripe is not None:  # the grower has seen it
        return here.clock.ripe(min(today, day), day, speed)
    goal = here.clock.at(origin) + here.crop.days_to_harvest - 1e-9
    by_model = here.clock.first + int(np.searchsorted(here.clock.planned, goal))
    return np.maximum(
        here.clock.ripe(origin, min(day, by_model), speed), day if by_model < day else -NEVER
    )


def _first_week(problem: SeasonProblem, ripe: Days, weekday: int) -> Days:
    """First week whose deliveries a crop ripe on a day serves."""
    today = (problem.horizon.plan_date - problem.horizon.start).days
    week = -((weekday - ripe) // 7)
    return np.where(ripe <= max(weekday, today), 0, week)


def _cuts(
    problem: SeasonProblem,
    lot: Lot,
    here: Bed,
    weather: Weather,
    ripe: Days,
    week_ripe: Days,
    speed: Series,
    weight: Series,
    streams: Streams,
    spread: Spread,
) -> dict[int, Series]:
    """Kilograms by week and draw."""
    horizon, crop = problem.horizon, here.crop
    today = (horizon.plan_date - horizon.start).days
    ripe_days = sorted({(cut.ripe - horizon.start).days for cut in lot.option.cuts})
    latest = min(horizon.weeks - 1, horizon.week_of(lot.option.clear))
    found: dict[int, Series] = {}

    def add(week: int, kg: Series) -> None:
        found[week] = found[week] + kg if week in found else kg

    for week, planned_kg in sorted(lot.harvest_kg.items()):
        if week >= horizon.weeks:
            continue
        day = (lot.ripe_in[week] - horizon.start).days
        kg = planned_kg * weight
        if crop.harvest_kind != "once":
            kg = kg * np.exp(streams.normal(f"cut/{lot.id}/{week}", spread.yield_cut))
        if crop.harvest_kind == "picking":
            share = np.clip((day + PICK_DAYS - ripe) / PICK_DAYS, 0.0, 1.0)
            add(week, kg * speed * here.clock.pace(day, day + PICK_DAYS) * share)
            continue
        number = ripe_days.index(day)
        if number > 0:
            before = ripe_days[number - 1]
            share = np.clip((day - np.maximum(before, ripe)) / (day - before), 0.0, 1.0)
            add(week, kg * speed * here.clock.pace(before, day) * share)
            continue
        kg = kg * weather.slow[week] ** here.counted
        if crop.harvest_kind == "once":
            kg = kg * (1 - _overripe(crop, 7 * week + here.weekday, day, ripe))
        target = np.maximum(week, week_ripe)
        cut = np.maximum(7 * target + here.weekday, today)
        lacks = np.maximum(0, ripe - cut)
        if crop.harvest_kind != "once":
            kg = kg * _stood(here, day, cut - ripe, max(7 * week + here.weekday, today) - day)
        kg = kg * (1 - np.minimum(lacks, UNRIPE_DAYS) * (LIGHTER_A_DAY * here.counted))
        for late in np.unique(target[target <= latest]):
            add(int(late), np.where(target == late, kg, 0.0))
    return found


def _overripe(crop: Crop, cut: int, planned: int, ripe: Days) -> Series:
    """Share lost of a crop that is cut on a day when it has been ripe for too long."""
    window = max(crop.harvest_window_days, cut - planned)
    over = (cut - ripe - window) / (OVERRIPE_WINDOWS * max(crop.harvest_window_days, 1))
    return np.asarray(np.clip(over, 0.0, 1.0))


def _stood(here: Bed, planned: int, waited: Days, usual: int) -> Series:
    """Leaf of a first cut over the plan's: it goes on growing while it waits to be cut.

    Parameters
    ----------
    waited, usual
        Days from ripeness to the cut, by draw and by the plan. [d]
    """
    every = max(1, here.crop.regrowth_interval_days)
    a_day = (here.clock.at(planned + PICK_DAYS) - here.clock.at(planned)) / PICK_DAYS / every
    more = (np.maximum(0, waited) - max(0, usual)) * a_day
    return np.asarray(np.clip(1 + more, 1 - MOST_MORE, 1 + MOST_MORE))


def _first_day(
    problem: SeasonProblem,
    kg: Mapping[int, Series],
    here: Bed,
    ripe: Days,
    first_cut: date | None,
) -> Days:
    """Day of the first cut of each draw."""
    found = np.full(len(ripe), NEVER, dtype=np.int64)
    named = None if first_cut is None else (first_cut - problem.horizon.start).days
    for week in sorted(kg, reverse=True):
        usual = 7 * week + here.weekday
        if named is not None and named // 7 == week:
            usual = named
        day = np.clip(ripe, usual, max(usual, 7 * week + 6))
        found = np.where(kg[week] > LEAST_KG, day, found)
    return found
