"""Simulated farms: the small farm of the tests with a list of sowings, and a truth for each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from planner import farmfile, problem
from planner.environment import Environment, daily
from planner.farmfile import Inputs
from planner.forecast.selling import sell
from planner.handplan import hand_plan
from planner.horizon import monday_of
from planner.spread import load_spread
from tests.farms import write_small_farm
from tests.forecasts import Case, case_of
from tests.skill.follow import Item, sowings
from tests.skill.grower import Batch, cuts
from tests.skill.measures import YEAR_MONTHS, Grown, Ranged, grown, ranges
from tests.skill.nature import Nature
from tests.skill.season import House, shares

MORE_PLACES = 6  # times the small farm's: the list of sowings asks nobody for room
WEEKS, TAIL_WEEKS = 32, 8
SEASONS = 2 * YEAR_MONTHS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """What all simulated farms have in common."""

    inputs: Inputs
    environment: Environment
    items: Mapping[str, Item]
    planned: Case


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """Two seasons of one farm.

    Attributes
    ----------
    cut_kg
        What was really cut, by crop and Monday. [kg]
    """

    ranged: Sequence[Ranged]
    grown: Sequence[Grown]
    cut_kg: Mapping[tuple[str, date], float]


def world() -> World:
    """Return the small farm, planned by hand for its orders, and with its list of sowings."""
    with TemporaryDirectory() as folder:
        inputs = farmfile.read_farm(write_small_farm(Path(folder) / "farm"))
    made_on = inputs.farm.plan_date
    assert made_on is not None
    season = problem.build(inputs.farm, inputs.crops, inputs.fish, inputs.station, made_on)
    farm = inputs.farm
    rules = {"horizon_weeks": WEEKS, "tail_weeks": TAIL_WEEKS}
    zones = [zone.model_copy(update={"places": MORE_PLACES * zone.places}) for zone in farm.zones]
    roomy = farm.model_copy(
        update={"zones": tuple(zones), "rules": farm.rules.model_copy(update=rules)}
    )
    first = made_on - timedelta(weeks=26)
    return World(
        inputs=replace(inputs, farm=roomy),
        environment=daily(farm, inputs.station, first, 4 * 365 + 200),
        items={item.id: item for item in sowings(season)},
        planned=case_of(season, hand_plan(season)),
    )


def live(
    here: World,
    seed: int,
    *,
    size: float = 1.0,
    every: int = 1,
    notes_ripe: float = 1.0,
    puts_off: bool = True,
    draws: int = 300,
) -> Lived:
    """Let one farm live, foretelling every month.

    Parameters
    ----------
    size
        Of the truth's spread over the sizes that the forecast takes. [-]
    every
        Months from one foretelling, and plan, to the next.
    notes_ripe
        Share of the batches of which the grower writes down when they are ripe. [-]
    puts_off
        Whether the grower writes down that a cut which was due waits, as it is not ripe.
    """
    house = House(
        inputs=here.inputs,
        nature=Nature(seed, here.environment, load_spread(), size),
        items=here.items,
        empty=here.planned.plan,
        every=every,
        draws=draws,
        notes_ripe=notes_ripe,
        puts_off=puts_off,
    )
    ranged: list[Ranged] = []
    found: list[Grown] = []
    for told in house.months(SEASONS):
        ranged += ranges(house, told)
        found += grown(house, told)
    cut_kg: dict[tuple[str, date], float] = {}
    for name, made in house.past.items():
        for cut in made:
            key = house.batches[name].crop.id, monday_of(cut.day)
            cut_kg[key] = cut_kg.get(key, 0.0) + cut.kg
    return Lived(ranged=ranged, grown=found, cut_kg=cut_kg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """One order week of one farm: the chance foretold before any record, and whether it was met."""

    chance: float
    met: bool


def order_chances(here: World, seeds: Sequence[int], *, size: float = 1.0) -> list[Chance]:
    """Return the chances of the orders of the plan by hand, and what came of them on each farm.

    The grower hands out what is really cut by the rule that the forecast reckons with: orders by
    priority, what is left over to those that are short.
    """
    case = here.planned
    chance = case.forecast(draws=1000).chance
    found: list[Chance] = []
    for seed in seeds:
        nature = Nature(seed, here.environment, load_spread(), size)
        real = _real_kg(case, here.inputs, nature)
        sales = sell(case.problem, case.plan, real)
        for number, order in enumerate(case.problem.orders):
            fish = any(crop in case.problem.fish for crop in order.crops)
            if number in chance and not fish:
                found.append(Chance(chance=chance[number], met=bool(sales.met[number][0])))
    return found


def _real_kg(case: Case, inputs: Inputs, nature: Nature) -> dict[str, NDArray[np.float64]]:
    season, plan = case.problem, case.plan
    real = {name: np.zeros((season.weeks, 1)) for name in season.produce}
    for (number, week), kg in plan.harvest_kg.items():  # beyond the horizon as planned
        if week >= season.horizon.weeks:
            real[season.cut_classes[number][0]][week] += kg
    for lot in case.lots:
        option = lot.option
        row = None if option.standing is None else season.farm.standing[option.standing]
        batch = Batch(
            key=lot.id,
            crop=inputs.crops[option.crop],
            zone=season.farm.zones[option.zone],
            set_out=option.set_out,
            plants=option.plants * lot.parts,
            from_tray=row is None and not inputs.crops[option.crop].direct_sow,
        )
        days = sorted((day, kg) for (source, day), kg in case.flows.cut.items() if source == lot.id)
        begun = None if row is None else row.first_cut
        for cut in cuts(nature, batch, shares(lot, batch.crop, days), (), begun):
            week = season.horizon.week_of(cut.day)
            if 0 <= week < season.horizon.weeks:
                real[option.crop][week] += cut.kg
    return real
