"""How a grower takes and stocks fish: at market weight, tanks one after the other."""

import math
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from planner.farm import Fingerlings
from planner.fish import growout_days
from planner.handplan.book import NEAR, Book
from planner.handplan.habits import feed_wanted_g_day
from planner.nitrogen import balance
from planner.plan import TOLERANCE

Series = NDArray[np.float64]

STAYS_ON = 0.1  # fish kept past the tail count as so far from market weight; judgement
YEAR_DAYS = 365
REST_WEEKS = 1  # of a tank between two cohorts


class Stocking:
    """Takes the fish at hand and stocks new ones, so that no hard rule is broken."""

    def __init__(self, book: Book) -> None:
        problem = book.problem
        self._book = book
        self._problem = problem
        self._supply_g: Series = np.zeros(problem.weeks)
        self._uptake_g: Series = np.zeros(problem.weeks)
        self._tan_g: Series = np.zeros(problem.weeks)
        self._reserved_h: Series = np.zeros(problem.weeks)
        self._takers: dict[tuple[str, int], list[tuple[float, float]]] = defaultdict(list)
        for order in problem.orders:
            each_kg = order.kg_per_unit[0]
            taker = (order.price / each_kg, order.ordered * each_kg)
            self._takers[order.crops[0], order.week].append(taker)
        for outlet in problem.outlets:
            for week in range(problem.weeks):
                self._takers[outlet.crop, week].append((outlet.price_kg, outlet.most_week_kg))

    def reserve_hours(self) -> None:
        """Keep the hours in which the fish at hand will be taken free of sowing."""
        for group in self._problem.cohort_groups:
            n = self._by_wish(group, self._problem.cohorts[group[0]].count)[0]
            self._reserved_h += self._hours(n) * self._problem.cohorts[n].count
        self._book.hours -= self._reserved_h

    def take_at_hand(self) -> None:
        """Take each cohort at hand as near to market weight as the rules allow."""
        problem, book = self._problem, self._book
        book.hours += self._reserved_h
        for n in np.flatnonzero(book.parts).tolist():
            self._uptake_g += problem.batches[n].uptake_g_n * book.parts[n]
        soonest = [
            min(group, key=lambda n: float(problem.cohorts[n].tan_g.sum()))
            for group in problem.cohort_groups
        ]
        for n in soonest:
            self._add(n, 1, problem.cohorts[n].count)
        for group, n in zip(problem.cohort_groups, soonest, strict=True):
            count = problem.cohorts[n].count
            self._add(n, -1, -count)
            ways = self._by_wish(group, count)
            self._add(next((way for way in ways if self._most(way, count) == count), n), 1, count)

    def take_in_ordered(self) -> None:
        """Put the fish that are on order into a tank that is free when they come."""
        cohorts, tanks = self._problem.cohorts, self._problem.farm.tanks
        for number, ordered in enumerate(self._problem.farm.ordered):
            ways = [n for n, option in enumerate(cohorts) if option.ordered == number]
            for n in self._by_wish(ways, ordered.count):
                option = cohorts[n]
                weeks = range(max(0, option.start), option.stop)
                free = tanks[option.tank].places - max(self._held(option.tank, w) for w in weeks)
                fish = self._most(n, option.most_fish) if free > 0 else 0
                if fish > 0:
                    self._add(n, 1, fish)
                    break

    def stock(self) -> None:
        """Stock new fish week by week, evenly staggered, for the handbook's feed."""
        farm = self._problem.farm
        ways: dict[tuple[int, int, int], list[int]] = defaultdict(list)
        for n, option in enumerate(self._problem.cohorts):
            if option.offer is not None and option.ordered is None:
                ways[option.offer, option.tank, option.start].append(n)
        offers = sorted({(offer, tank) for offer, tank, _ in ways})
        kinds = self._tanks_by_species(offers)
        rate: dict[str, float] = defaultdict(float)  # tanks a week
        for (_, species), tanks in kinds.items():
            offer = next(o for o in farm.fingerlings if o.species == species)
            rate[species] += tanks / (self._growing_days(offer) / 7 + REST_WEEKS)
        due = dict.fromkeys(rate, 1.0)
        for week in range(self._problem.weeks):
            if self._nitrate_mg_l(week - 1) <= farm.water.band_high_mg_l:
                for number, tank in offers:
                    species = farm.fingerlings[number].species
                    options = ways.get((number, tank, week), [])
                    most = min(
                        kinds.get((tank, species), 0) - self._held(tank, week, species),
                        math.floor(due[species] + NEAR) if species in due else 0,
                    )
                    if options and most > 0:
                        due[species] -= self._stock(options, most)
            due = {species: min(due[species] + rate[species], 1 + rate[species]) for species in due}

    def _stock(self, options: list[int], most: int) -> int:
        """Stock up to `most` tanks by the best option; return how many."""
        farm = self._problem.farm
        first = self._problem.cohorts[options[0]]
        offer = farm.fingerlings[first.offer or 0]
        each = max(self._wanted_fish(offer, farm.tanks[first.tank].volume_m3), offer.least_count)
        n = self._by_wish(options, each)[0]
        option = self._problem.cohorts[n]
        each = min(each, option.most_fish)
        held = max(self._held(option.tank, week) for week in range(option.start, option.stop))
        tanks = min(most, farm.tanks[option.tank].places - held)
        fish = self._most(n, each * tanks)
        tanks = max(0, min(tanks, fish // offer.least_count))
        if tanks > 0:
            self._add(n, tanks, min(fish, each * tanks))
        return tanks

    def _tanks_by_species(self, offers: list[tuple[int, int]]) -> dict[tuple[int, str], int]:
        """Tanks of a kind that hold a species: the one that is in them, else the first on offer."""
        farm = self._problem.farm
        kinds: dict[tuple[int, str], int] = defaultdict(int)
        for tank, row in enumerate(farm.tanks):
            offered = [farm.fingerlings[n].species for n, where in offers if where == tank]
            if not offered:
                continue
            inside = [c.species for c in farm.cohorts if c.tank in row.tank_names]
            kept = [species for species in inside if species in offered]
            for species in kept:
                kinds[tank, species] += 1
            if row.places > len(kept):
                kinds[tank, offered[0]] += row.places - len(kept)
        return dict(kinds)

    def _growing_days(self, offer: Fingerlings) -> float:
        """Days to market weight at the year's mean warmth. [d]"""
        fish = self._problem.fish[offer.species]
        first = self._problem.day_of_start
        water_c = self._problem.environment.water_c[first : first + YEAR_DAYS]
        start_g = min(offer.weight_g, 0.9 * fish.market_g)
        rise = np.cbrt(fish.market_g) - np.cbrt([start_g, fish.fingerling_g])
        return float(growout_days(fish, water_c) * rise[0] / rise[1])

    def _wanted_fish(self, offer: Fingerlings, volume_m3: float) -> int:
        """Fish for one tank that eat its share of the handbook's feed on the mean of their stay."""
        farm, fish = self._problem.farm, self._problem.fish[offer.species]
        all_m3 = sum(tank.volume_m3 * tank.places for tank in farm.tanks)
        gain_g = fish.market_g - min(offer.weight_g, 0.9 * fish.market_g)
        alive = (1 + fish.survival_growout_fraction) / 2
        each_g_day = alive * fish.fcr * gain_g / self._growing_days(offer)
        return math.ceil(feed_wanted_g_day(farm) * volume_m3 / all_m3 / each_g_day)

    def _by_wish(self, options: tuple[int, ...] | list[int], count: int) -> list[int]:
        """Sort options: begun nearest market weight, then by what `count` fish bring when sold."""

        def off(n: int) -> tuple[float, float, int, int]:
            option = self._problem.cohorts[n]
            if not option.takes:
                return STAYS_ON, 0.0, 0, n
            weight = option.takes[0].mean_g / self._problem.fish[option.species].market_g
            money = sum(
                self._brings(option.species, week, float(option.kg[week]) * count)
                for week in np.flatnonzero(option.kg).tolist()
            )
            return round(abs(weight - 1), 2), -round(money, 2), len(option.takes), n

        return sorted(options, key=off)

    def _brings(self, species: str, week: int, kg: float) -> float:
        """What fish bring in a week, the best price first. [money]"""
        money = 0.0
        for price_kg, most_kg in sorted(self._takers[species, week], reverse=True):
            money += price_kg * min(kg, most_kg)
            kg -= min(kg, most_kg)
        return money

    def _hours(self, n: int) -> Series:
        """Work to take the fish of an option. [h fish⁻¹]"""
        option = self._problem.cohorts[n]
        return option.kg * self._problem.harvest_h_kg[option.species]

    def _add(self, n: int, tanks: int, fish: int) -> None:
        option = self._problem.cohorts[n]
        self._book.tanks[n] += tanks
        self._book.fish[n] += fish
        self._book.hours -= self._hours(n) * fish
        self._supply_g += option.supply_n_g * fish
        self._tan_g += option.tan_g * fish

    def _held(self, tank: int, week: int, species: str | None = None) -> int:
        """Tanks of a kind in use in a week, of one species or of all."""
        cohorts = self._problem.cohorts
        return sum(
            int(self._book.tanks[n])
            for n in np.flatnonzero(self._book.tanks).tolist()
            if cohorts[n].tank == tank
            and max(0, cohorts[n].start) <= week < cohorts[n].stop
            and species in (None, cohorts[n].species)
        )

    def _pool_g(self, more_g: Series) -> Series:
        water = self._problem.farm.water
        supply = np.maximum(0, self._supply_g + more_g)
        return balance(
            self._problem.start_pool_g,
            supply,
            self._uptake_g,
            water.pool_loss_week,
            water.volume_m3,
        ).pool_g

    def _nitrate_mg_l(self, week: int) -> float:
        """What a test shows at the end of a week. [mg N/L]"""
        pool_g = self._pool_g(np.zeros(self._problem.weeks))
        grams = self._problem.start_pool_g if week < 0 else float(pool_g[week])
        return grams / self._problem.farm.water.volume_m3

    def _most(self, n: int, count: int) -> int:
        """How many of `count` fish the hours, the biofilter and the nitrate limit bear."""
        problem, option = self._problem, self._problem.cohorts[n]
        most = float(count)
        for used, left in (
            (self._hours(n), self._book.hours),
            (option.tan_g / 7, _slack(problem.biofilter_g_day) - self._tan_g / 7),
        ):
            busy = used > 0
            most = min(most, float((left[busy] / used[busy]).min(initial=np.inf)))
        low, high = 0, max(0, math.floor(most + NEAR))
        limit_g = _slack(problem.nitrate_max_g)
        while low < high:
            middle = (low + high + 1) // 2
            if (self._pool_g(option.supply_n_g * middle) <= limit_g).all():
                low = middle
            else:
                high = middle - 1
        return low


def _slack(limit: Series) -> Series:
    """A limit and half of what rounding may add to it."""
    return np.asarray(limit + TOLERANCE / 2 * np.maximum(1.0, np.abs(limit)))
