"""Cohort options: every way in which a tank may be stocked, fed and emptied.

An option is one species stocked in one week and taken whole in a week, or in equal numbers over a
few weeks from market weight. The season model decides how many tanks follow each, and with how
many fish. Cohorts at hand have options too: when to take them. Fish that are ordered come on their
day, into any tank that is free.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner.calendarrules import FISH_WEEKDAY
from planner.environment import Environment
from planner.farm import CohortAtHand, Farm, Fingerlings
from planner.fish import course
from planner.horizon import Horizon
from planner.stays import LONGEST_WEEKS, CohortOption, Stay, Take, taken_from
from planner.tables import Fish

Series = NDArray[np.float64]

WAITS = (0, 3, 6)  # weeks after market weight at which taking may begin
WAITS_AT_HAND = (0, 1, 2, 3, 4, 6, 8, 10, 13, 16)


def _water(environment: Environment, first: date, days: int) -> Series:
    at = environment.index(first)
    return environment.water_c[at : at + days]


def _new(
    farm: Farm, horizon: Horizon, environment: Environment, fish: Fish, number: int
) -> Iterator[CohortOption]:
    offer: Fingerlings = farm.fingerlings[number]
    for tank_number in range(len(farm.tanks)):
        for week in range(horizon.all_weeks):
            first = horizon.monday(week) + timedelta(days=FISH_WEEKDAY)
            ordered_by = horizon.plan_date + timedelta(weeks=offer.lead_weeks)
            if first < ordered_by or first.month not in offer.months:
                continue
            stay = _bought(farm, horizon, environment, fish, number, tank_number, first)
            for option in _lived(stay, stay.schedules(WAITS)):
                if option.most_fish >= offer.least_count:
                    yield option


def _ordered(
    farm: Farm, horizon: Horizon, environment: Environment, fish: Fish, number: int
) -> Iterator[CohortOption]:
    """Fish of an order that is under way, into any kind of tank, no more than are ordered."""
    ordered = farm.ordered[number]
    if ordered.day >= horizon.monday(horizon.all_weeks):
        return
    offers = [n for n, o in enumerate(farm.fingerlings) if o.species == ordered.species]
    offer = min(offers, key=lambda n: abs(farm.fingerlings[n].weight_g - ordered.mean_g))
    for tank_number in range(len(farm.tanks)):
        stay = _bought(farm, horizon, environment, fish, offer, tank_number, ordered.day)
        for option in _lived(stay, stay.schedules(WAITS)):
            if option.most_fish > 0:
                most = min(option.most_fish, ordered.count)
                yield replace(option, ordered=number, most_fish=most)


def _bought(
    farm: Farm,
    horizon: Horizon,
    environment: Environment,
    fish: Fish,
    offer: int,
    tank_number: int,
    first: date,
) -> Stay:
    water_c = _water(environment, first, LONGEST_WEEKS * 7)
    return Stay(
        farm=farm,
        horizon=horizon,
        fish=fish,
        tank_number=tank_number,
        tank=farm.tanks[tank_number],
        first_day=first,
        grown=course(fish, farm.fingerlings[offer].weight_g, water_c),
        water_c=water_c,
        offer=offer,
    )


def _lived(stay: Stay, ways: Iterable[tuple[Take, ...]]) -> Iterator[CohortOption]:
    """The options of the ways in which the water is never lethal before the last fish is out."""
    horizon = stay.horizon
    for takes in ways:
        if stay.survives(takes[-1].day if takes else horizon.monday(horizon.all_weeks)):
            yield stay.option(takes)


def _at_hand(
    farm: Farm, horizon: Horizon, environment: Environment, fish: Fish, number: int
) -> Iterator[CohortOption]:
    cohort: CohortAtHand = farm.cohorts[number]
    tank_number = next(n for n, tank in enumerate(farm.tanks) if cohort.tank in tank.tank_names)
    until_end = (horizon.monday(horizon.all_weeks + 1) - cohort.as_of).days
    water_c = _water(environment, cohort.as_of, max(LONGEST_WEEKS * 7, until_end))
    stay = Stay(
        farm=farm,
        horizon=horizon,
        fish=fish,
        tank_number=tank_number,
        tank=farm.tanks[tank_number],
        first_day=cohort.as_of,
        grown=course(fish, cohort.mean_g, water_c),
        water_c=water_c,
        at_hand=number,
        count=cohort.count,
    )
    ways = list(stay.schedules(WAITS_AT_HAND))
    ways += [takes for takes in stay.before_crowded() if takes not in ways]
    found = list(_lived(stay, ways))
    # the earliest remedy: out of the tank at the first fish day, whatever the weight
    earliest = taken_from(horizon, stay.grown, fish, cohort.as_of, 0, 1)
    remedy = stay.option(earliest)
    fits = [option for option in found if option.over_density_weeks == 0]
    if not fits:
        least = min((o.over_density_weeks for o in found), default=None)
        fits = [o for o in found if o.over_density_weeks == least] if least is not None else []
        if least is not None and remedy.over_density_weeks < least:
            fits = []
    yield from fits
    if not any(option.takes == earliest for option in fits):
        yield remedy


def cohort_options(
    farm: Farm, horizon: Horizon, fish: Mapping[str, Fish], environment: Environment
) -> tuple[CohortOption, ...]:
    """Return every option of fish at hand, of fish on order and of new ones, in a fixed order."""
    found: list[CohortOption] = []
    for number, cohort in enumerate(farm.cohorts):
        found.extend(_at_hand(farm, horizon, environment, fish[cohort.species], number))
    for number, ordered in enumerate(farm.ordered):
        found.extend(_ordered(farm, horizon, environment, fish[ordered.species], number))
    for number, offer in enumerate(farm.fingerlings):
        found.extend(_new(farm, horizon, environment, fish[offer.species], number))
    return tuple(found)
