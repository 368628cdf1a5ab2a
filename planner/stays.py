"""A stay of fish in a tank: followed by day, and the option that it is when taken at some days."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner.calendarrules import FISH_WEEKDAY
from planner.farm import Farm, Tank
from planner.fish import Course, days_to_market, lethal, weeks_below_feeding
from planner.horizon import Horizon
from planner.nitrogen import feed_nitrogen, supply_g
from planner.tables import Fish

Series = NDArray[np.float64]

HEAVIEST = 1.5  # times market weight: the growth model holds no further
SPREADS = (1, 3, 6)  # weeks over which a cohort is taken
LONGEST_WEEKS = 104
COLD_WEEKS = 4
LEAST_SALEABLE = 0.8  # of market weight; lighter fish taken out bring nothing (judgement)


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """Fish taken out of a tank: the week, the day, their share of the fish stocked, weights."""

    week: int
    day: date
    share: float
    mean_g: float
    saleable: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CohortOption:
    """One way for a tank to be used; series are for one fish as stocked, by week.

    Attributes
    ----------
    at_hand
        Number of the cohort in the farm, None for one that is not in the house.
    ordered
        Number of the farm's order that is under way, None for one at hand or still to be bought.
    start, stop
        First week the tank is held (negative when it is already) and first week free again.
    alive, mean_g
        On each Monday, 0 outside the stay. [-], [g]
    feed_g, feed_n_g, gas_n_g, solids_n_g, retained_n_g, supply_n_g, tan_g
        Of each week. [g fish⁻¹ week⁻¹]
    kg
        Saleable live weight taken each week. [kg fish⁻¹]
    most_fish
        Fish a tank can be stocked with, by density. [-]
    tail_kg
        Live weight after the tail. [kg fish⁻¹]
    """

    species: str
    tank: int
    at_hand: int | None
    offer: int | None
    count: int  # fish at hand, 0 for a new cohort
    stock: date
    start: int
    stop: int
    takes: tuple[Take, ...]
    alive: Series
    mean_g: Series
    feed_g: Series
    feed_n_g: Series
    dissolved_n_g: Series
    solids_n_g: Series
    supply_n_g: Series
    tan_g: Series
    kg: Series
    most_fish: int
    tail_kg: float
    fingerling_price: float
    over_density_weeks: int
    cold: bool
    ordered: int | None = None


def taken_from(
    horizon: Horizon, grown: Course, fish: Fish, first_day: date, week: int, spread: int
) -> tuple[Take, ...]:
    """Plan equal numbers out of the tank in `spread` weeks from `week`."""
    left = 1.0
    found = []
    previous = 1.0
    for number in range(spread):
        day = _fish_day(horizon, week + number)
        at = (day - first_day).days
        left *= grown.alive[at] / previous
        previous = float(grown.alive[at])
        share = left / (spread - number)
        left -= share
        weight = float(grown.weight_g[at])
        found.append(
            Take(
                week=week + number,
                day=day,
                share=share,
                mean_g=weight,
                saleable=weight >= LEAST_SALEABLE * fish.market_g,
            )
        )
    return tuple(found)


def _fish_day(horizon: Horizon, week: int) -> date:
    """Return the day on which fish are stocked or taken in a week; never before the plan date."""
    day = horizon.monday(week) + timedelta(days=FISH_WEEKDAY)
    return max(day, horizon.plan_date) if week == 0 else day


def _held(grown: Course, takes: tuple[Take, ...], first_day: date, days: int) -> Series:
    """Return the share of the stocked fish in the tank at the start of each day."""
    held = grown.alive[:days].copy()
    factor = 1.0
    for take in takes:
        at = (take.day - first_day).days
        if at >= days:
            break
        before = grown.alive[at] * factor
        factor *= max(0.0, 1 - take.share / before) if before > 0 else 0.0
        held[at:] = grown.alive[at:days] * factor
    if takes and (takes[-1].day - first_day).days < days:
        held[(takes[-1].day - first_day).days :] = 0.0
    return held


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stay:
    """Fish of one origin in one kind of tank, followed from `first_day`."""

    farm: Farm
    horizon: Horizon
    fish: Fish
    tank_number: int
    tank: Tank
    first_day: date
    grown: Course
    water_c: Series
    at_hand: int | None = None
    count: int = 0
    offer: int | None = None

    def option(self, takes: tuple[Take, ...]) -> CohortOption:
        """Make the option in which the fish are taken as `takes` says; none: they stay on."""
        farm, horizon, fish = self.farm, self.horizon, self.fish
        weeks = horizon.all_weeks
        offset = (self.first_day - horizon.start).days
        days = min(len(self.grown.feed_g), weeks * 7 - offset)
        held = _held(self.grown, takes, self.first_day, days)
        per_fish = held / self.grown.alive[:days]
        feed, gain = self.grown.feed_g[:days] * per_fish, self.grown.gain_g[:days] * per_fish
        week_of_day = (np.arange(days) + offset) // 7
        inside = (week_of_day >= 0) & (week_of_day < weeks)

        def weekly(daily: Series) -> Series:
            sums = np.bincount(week_of_day[inside], weights=daily[inside], minlength=weeks)
            return np.round(sums, 5)

        protein = fish.feed_protein_growout_pct / 100
        water = farm.water
        split = feed_nitrogen(
            weekly(feed), weekly(gain), protein, fish.body_n_fraction, water.solid_share
        )
        supply = supply_g(
            split.dissolved, split.solids, water.gas_loss, water.solids_kept, water.mineralised
        )
        alive, mean_g, kilograms = np.zeros(weeks), np.zeros(weeks), np.zeros(weeks)
        for week in range(weeks):
            day = (horizon.monday(week) - self.first_day).days
            if 0 <= day < days:
                alive[week] = held[day]
                mean_g[week] = self.grown.weight_g[day] if held[day] > 0 else 0.0
        for take in takes:
            if take.week < weeks and take.saleable:
                kilograms[take.week] += take.share * take.mean_g / 1000
        most_kg = self._most_kg()
        biomass_kg = self._biomass_kg(takes, held)
        today = max(0, (horizon.plan_date - self.first_day).days)
        peak_kg = float(biomass_kg[today:].max(initial=1e-6))
        crowded = biomass_kg * self.count > most_kg + 1e-9
        over = np.unique(week_of_day[today:][crowded[today:]]).size
        gone = bool(takes) and takes[-1].week < weeks
        last = (takes[-1].day - self.first_day).days if gone else days
        if gone:
            stop = takes[-1].week + 1 + (takes[-1].day.weekday() > FISH_WEEKDAY)
        else:  # they must still fit when they reach market weight after the tail
            stop = weeks
            ripe_kg = fish.market_g * fish.survival_growout_fraction / 1000
            peak_kg = max(peak_kg, 0.0 if self.count else ripe_kg)
        return CohortOption(
            species=fish.id,
            tank=self.tank_number,
            at_hand=self.at_hand,
            offer=self.offer,
            count=self.count,
            stock=self.first_day,
            start=self._first_week,
            stop=min(stop, weeks),
            takes=takes,
            alive=np.round(alive, 6),
            mean_g=np.round(mean_g, 3),
            feed_g=weekly(feed),
            feed_n_g=split.feed,
            dissolved_n_g=split.dissolved,
            solids_n_g=split.solids,
            supply_n_g=supply,
            tan_g=split.tan,
            kg=np.round(kilograms, 6),
            most_fish=int(most_kg / peak_kg + 1e-9),
            tail_kg=0.0
            if gone
            else float(np.round(held[-1] * self.grown.weight_g[days] / 1000, 6)),
            fingerling_price=0.0 if self.offer is None else farm.fingerlings[self.offer].price,
            over_density_weeks=over,
            cold=weeks_below_feeding(fish, self.water_c[:last]) > COLD_WEEKS,
        )

    @property
    def _first_week(self) -> int:
        """Week from which the tank is held: before fish day it must be free since the last."""
        coming = self.at_hand is None and self.first_day.weekday() < FISH_WEEKDAY
        return self.horizon.week_of(self.first_day) - coming

    def _most_kg(self) -> float:
        density = self.tank.max_density_kg_m3
        most = self.fish.density_max_kg_m3 if density is None else density
        return most * self.tank.volume_m3

    def _biomass_kg(self, takes: tuple[Take, ...], held: Series) -> Series:
        """Most that stands on each day for one fish as stocked: before any are taken that day."""
        grown = self.grown
        full = held.copy()
        for take in takes:
            at = (take.day - self.first_day).days
            if at < len(held):
                full[at] = held[at - 1] * grown.alive[at] / grown.alive[at - 1] if at else 1.0
        return full * grown.weight_g[: len(held)] / 1000

    def before_crowded(self) -> Iterator[tuple[Take, ...]]:
        """Yield ways to begin taking the fish at hand on the last fish day that is not too late.

        Nothing when they are over the tank's density before any fish day, or not within the weights
        that the growth model holds for.
        """
        horizon, weeks = self.horizon, self.horizon.all_weeks
        days = min(len(self.grown.feed_g), (horizon.monday(weeks) - self.first_day).days)
        biomass_kg = self._biomass_kg((), self.grown.alive[:days]) * self.count
        crowded = np.flatnonzero(biomass_kg > self._most_kg() + 1e-9)
        if not crowded.size:
            return
        too_late = self.first_day + timedelta(days=int(crowded[0]))
        week = horizon.week_of(too_late)
        week -= _fish_day(horizon, max(0, week)) >= too_late
        if week < 0:
            return
        heaviest_g = HEAVIEST * self.fish.market_g
        for spread in SPREADS:
            if week + spread > weeks:
                return
            takes = taken_from(horizon, self.grown, self.fish, self.first_day, week, spread)
            if takes[-1].mean_g <= heaviest_g:
                yield takes

    def survives(self, until: date) -> bool:
        """Whether the water is never lethal from the first day to `until`."""
        return not lethal(self.fish, self.water_c[: max(1, (until - self.first_day).days)])

    def market_week(self) -> int | None:
        """First week on whose fish day the fish have reached market weight."""
        day = days_to_market(self.fish, self.grown.weight_g)
        if day is None:
            return None
        reached = self.first_day + timedelta(days=day)
        week = max(0, self.horizon.week_of(reached))
        return week if _fish_day(self.horizon, week) >= reached else week + 1

    def schedules(self, waits: tuple[int, ...]) -> Iterator[tuple[Take, ...]]:
        """Yield the ways to take the fish that end within the tail, and staying on past it."""
        horizon, weeks = self.horizon, self.horizon.all_weeks
        market = self.market_week()
        followed = (horizon.monday(weeks) - self.first_day).days <= len(self.grown.feed_g)
        if market is None:
            if followed:
                yield ()
            return
        stays = market >= weeks
        for wait in waits:
            for spread in SPREADS:
                last = market + wait + spread - 1
                if last >= weeks:
                    stays = stays or wait == 0
                    continue
                at = (_fish_day(horizon, last) - self.first_day).days
                if at >= len(self.grown.feed_g):
                    continue
                heavy = self.grown.weight_g[at] > HEAVIEST * self.fish.market_g
                if heavy and not (wait == 0 and spread == 1):
                    continue
                yield taken_from(
                    horizon, self.grown, self.fish, self.first_day, market + wait, spread
                )
        if stays and followed:
            yield ()
