"""The season's variables and rules as a linear model; one method a rule."""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from planner.changes import Group
from planner.plan import RESERVE_PRICE
from planner.problem import SeasonProblem
from planner.season.linear import Builder, LinearModel

Rows = NDArray[np.int64]


class SeasonRows:
    """Builds the linear model of a `SeasonProblem`; columns are kept by what they decide.

    Whole numbers: `sown` (parts by batch option), `tanks` and `stocked` (by cohort option; fish at
    hand are moved by their tank alone). All else are quantities that follow.

    Limits, by week: `held` (columns: parts held, by zone), `cells` (columns: nursery cells in use),
    `hours`, `ammonia`, `water` (rows: its nitrogen balance) and `nitrate_most` (rows), `tank_rows`
    (by tank), `outside` (columns: nitrate under and over its band, and what the water lacks), and
    `short` (columns, by order).
    """

    def __init__(self, problem: SeasonProblem) -> None:
        self._problem = problem
        self._weeks = range(problem.weeks)
        self._build = Builder()
        self._build.rule = "hours of work"
        self.hours = self._week_rows(high=problem.farm.labour.hours_week)
        self._build.rule = "fish in a tank"
        self.sown = self._sown()
        self.tanks, self.stocked = self._stocked()
        self.harvest_kg: dict[tuple[int, int], int] = {}
        self.order_kg: dict[tuple[int, str], int] = {}
        self.outlet_kg: dict[tuple[int, int], int] = {}
        self.cooler_kg: dict[tuple[str, int], int] = {}
        self.reserve_kg: dict[tuple[int, str], int] = {}
        self.short: list[int] = []
        self.held: list[Rows] = []
        self.tank_rows: list[Rows] = []
        for rule, add in (
            ("produce", self._produce_goes_out),
            ("orders", self._orders_are_filled),
            ("places in the zones", self._places_are_enough),
            ("batches in the house", self._standing_batches_follow_one_course),
            ("nursery cells", self._nursery_is_enough),
            ("hours of work", self._hours_are_enough),
            ("tanks and the fish at hand", self._tanks_are_enough),
            ("the biofilter", self._biofilter_keeps_up),
            ("the highest nitrate that the fish bear", self._nitrate_stays_in_its_band),
            ("what grows after the tail", self._growing_after_the_tail_counts),
            ("changes to the plan before", self._changes_cost),
            ("reserves", self._reserves_stand_ready),
        ):
            self._build.rule = rule
            add()
        self.model: LinearModel = self._build.done()

    def _sown(self) -> list[int]:
        """Parts that follow each batch option."""
        farm, problem = self._problem.farm, self._problem
        columns = []
        for number, option in enumerate(problem.batches):
            most = farm.zones[option.zone].all_parts
            if option.standing is not None:
                most = farm.standing[option.standing].parts
            cost = option.seed_cost + float(problem.discard_cost[number])
            cost += float(option.labour_h.sum()) * farm.labour.price_hour
            cost += float(problem.changes.new_part_cost[number])
            columns.append(self._build.variable(high=most, worth=-cost, whole=True))
        return columns

    def _stocked(self) -> tuple[list[int], list[int | None]]:
        """Tanks and fish that follow each cohort option."""
        problem, farm = self._problem, self._problem.farm
        tanks: list[int] = []
        stocked: list[int | None] = []
        for number, option in enumerate(problem.cohorts):
            worth = self._fish_worth(number)
            if option.at_hand is not None:
                worth = worth * option.count - float(problem.changes.taken_cost[number])
                tanks.append(self._build.variable(high=1, worth=worth, whole=True))
                stocked.append(None)
                continue
            places = farm.tanks[option.tank].places
            tanks.append(self._build.variable(high=places, whole=True))
            worth -= float(problem.changes.new_fish_cost[number])
            fish = self._build.variable(high=option.most_fish * places, worth=worth, whole=True)
            stocked.append(fish)
            least = farm.fingerlings[option.offer or 0].least_count if option.ordered is None else 1
            row = self._build.row(high=0)
            self._build.term(row, fish)
            self._build.term(row, tanks[-1], -option.most_fish)
            row = self._build.row(low=0)
            self._build.term(row, fish)
            self._build.term(row, tanks[-1], -least)
        for coming, ordered in enumerate(farm.ordered):
            row = self._build.row(high=ordered.count)
            for option, young in zip(problem.cohorts, stocked, strict=True):
                if option.ordered == coming and young is not None:
                    self._build.term(row, young)
        return tanks, stocked

    def _fish_worth(self, number: int) -> float:
        """What one stocked fish of an option costs and is worth after the tail. [money]"""
        problem, farm = self._problem, self._problem.farm
        option = problem.cohorts[number]
        hours = float(option.kg.sum()) * problem.harvest_h_kg[option.species]
        return (
            farm.weights.tail_value * problem.tail_price_kg[option.species] * option.tail_kg
            - option.fingerling_price
            - float(option.feed_g.sum()) / 1000 * farm.prices.feed_kg
            - hours * farm.labour.price_hour
        )

    def fish_columns(self) -> Iterator[tuple[int, int, float]]:
        """Yield option number, column and fish per unit of that column."""
        for number, option in enumerate(self._problem.cohorts):
            fish = self.stocked[number]
            if fish is None:
                yield number, self.tanks[number], float(option.count)
            else:
                yield number, fish, 1.0

    def _add_fish(self, rows: Rows, series: str, factor: float = 1.0) -> None:
        """Add a weekly series of every cohort option to one row a week."""
        for number, column, fish in self.fish_columns():
            values = getattr(self._problem.cohorts[number], series)
            self._build.add(rows, column, values * fish * factor)

    def _week_rows(self, low: float = -np.inf, high: float = np.inf) -> Rows:
        return np.array([self._build.row(low, high) for _ in self._weeks], dtype=np.int64)

    def _stock_rows(self, most: float) -> tuple[Rows, Rows]:
        """Add a stock of places that is carried from week to week: held = before + in − out.

        Written so, a batch stands in two rows and not in one for each week that it holds. Returns
        the rows and the columns of what is held.
        """
        rows = self._week_rows(0, 0)
        held = np.array([self._build.variable(high=most) for _ in rows], dtype=np.int64)
        for row, now in zip(rows, held, strict=True):
            self._build.term(row, now, -1)
        for row, before in zip(rows[1:], held[:-1], strict=True):
            self._build.term(row, before)
        return rows, held

    def _hold(self, rows: Rows, column: int, start: int, stop: int, size: float) -> None:
        """A column takes `size` of a stock from week `start` up to, not including, `stop`."""
        if max(0, start) < stop:
            self._build.term(rows[max(0, start)], column, size)
            if stop < len(rows):
                self._build.term(rows[stop], column, -size)

    def _produce_goes_out(self) -> None:
        """Cut + from the cooler = orders + outlets + to the cooler + wasted. [kg]"""
        problem = self._problem
        species = {cohort.species for cohort in problem.cohorts}
        waste = -problem.farm.weights.waste_kg
        self._balance = {name: self._week_rows(0, 0) for name in problem.produce}
        self._fresh: dict[str, Rows] = {}
        for name, rows in self._balance.items():
            for week in self._weeks if name in species else ():  # crops can be left uncut
                self._build.term(rows[week], self._build.variable(worth=waste), -1)
            if problem.shelf_weeks[name] < 1:
                continue
            self._fresh[name] = self._week_rows(high=0)
            for week in self._weeks[:-1]:
                kept = self._build.variable()
                self.cooler_kg[name, week] = kept
                self._build.term(rows[week], kept, -1)
                self._build.term(rows[week + 1], kept)
                self._build.term(self._fresh[name][week], kept)
        self._ripe_is_cut()
        for number, column, fish in self.fish_columns():
            cohort = problem.cohorts[number]
            for at in np.flatnonzero(cohort.kg).tolist():
                self._harvest(cohort.species, at, column, float(cohort.kg[at]) * fish)
        for number, outlet in enumerate(problem.outlets):
            if outlet.most_week_kg <= 0:
                continue
            for week in self._weeks:
                sold = self._build.variable(high=outlet.most_week_kg, worth=outlet.price_kg)
                self.outlet_kg[number, week] = sold
                self._build.term(self._balance[outlet.crop][week], sold, -1)

    def _harvest(self, name: str, week: int, column: int, kilograms: float) -> None:
        """What is cut comes in, and may be kept for as many weeks as it is good."""
        self._build.term(self._balance[name][week], column, kilograms)
        if name in self._fresh:
            good = range(week, min(week + self._problem.shelf_weeks[name], len(self._weeks)))
            rows = [self._fresh[name][w] for w in good]
            self._build.add(rows, column, [-kilograms] * len(rows))

    def _ripe_is_cut(self) -> None:
        """What is ripe is cut in any of its weeks, or left uncut. [kg]"""
        problem, price = self._problem, self._problem.farm.labour.price_hour
        rows = {}
        for number, (name, first, last) in enumerate(problem.cut_classes):
            row = rows[name, first, last] = self._build.row(high=0)
            hours = problem.harvest_h_kg[name]
            for week in range(first, last + 1):
                column = self._build.variable(worth=-hours * price)
                self.harvest_kg[number, week] = column
                self._build.term(row, column)
                self._build.term(self.hours[week], column, hours)
                self._harvest(name, week, column, 1.0)
        for column, option in zip(self.sown, problem.batches, strict=True):
            self._build.add(
                [rows[option.crop, cut.first, cut.last] for cut in option.cuts],
                column,
                [-cut.kg for cut in option.cuts],
            )

    def _orders_are_filled(self) -> None:
        """No line gets more than it ordered; what it lacks beyond the tolerance is charged."""
        for number, order in enumerate(self._problem.orders):
            single = len(order.crops) == 1  # its upper bound is enough
            most = None if single else self._build.row(high=order.ordered)
            least = self._build.row(low=order.least)
            short = self._build.variable(high=order.least, worth=-order.shortage_price)
            self.short.append(short)
            self._build.term(least, short)
            for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
                sold = self._build.variable(high=order.ordered * weight, worth=order.price / weight)
                self.order_kg[number, crop] = sold
                self._build.term(self._balance[crop][order.week], sold, -1)
                if most is not None:
                    self._build.term(most, sold, 1 / weight)
                self._build.term(least, sold, 1 / weight)

    def _places_are_enough(self) -> None:
        """Parts held, sanitation included, are no more than each zone has."""
        stocks = []
        for zone in self._problem.farm.zones:
            rows, held = self._stock_rows(zone.all_parts)
            stocks.append(rows)
            self.held.append(held)
        for column, option in zip(self.sown, self._problem.batches, strict=True):
            self._hold(stocks[option.zone], column, option.start, option.stop, 1.0)

    def _standing_batches_follow_one_course(self) -> None:
        """Parts that stand are all accounted for; seedlings may be thrown away."""
        for options, parts, stands in self._problem.batch_groups:
            row = self._build.row(low=parts if stands else 0, high=parts)
            for number in options:
                self._build.term(row, self.sown[number])

    def _nursery_is_enough(self) -> None:
        """Cells in use are no more than the nursery has."""
        stock, self.cells = self._stock_rows(self._problem.farm.nursery.cells)
        for column, option in zip(self.sown, self._problem.batches, strict=True):
            if option.nursery is not None:
                first, last = option.nursery
                self._hold(stock, column, first, last + 1, float(option.cells))

    def _hours_are_enough(self) -> None:
        """Hours of work are no more than there are."""
        for column, option in zip(self.sown, self._problem.batches, strict=True):
            self._build.add(self.hours, column, option.labour_h)
        for number, column, fish in self.fish_columns():
            cohort = self._problem.cohorts[number]
            hours = self._problem.harvest_h_kg[cohort.species]
            self._build.add(self.hours, column, cohort.kg * hours * fish)

    def _tanks_are_enough(self) -> None:
        """Tanks held are no more than there are, and fish at hand follow one course."""
        self.tank_rows = [self._week_rows(high=tank.places) for tank in self._problem.farm.tanks]
        for column, option in zip(self.tanks, self._problem.cohorts, strict=True):
            held = self.tank_rows[option.tank][max(0, option.start) : option.stop]
            self._build.add(held, column, np.ones(len(held)))
        for group in self._problem.cohort_groups:
            row = self._build.row(1, 1)
            for number in group:
                self._build.term(row, self.tanks[number])

    def _biofilter_keeps_up(self) -> None:
        """Ammonia made in a day is no more than the biofilter turns over. [g TAN d⁻¹]"""
        self.ammonia = np.array(
            [self._build.row(high=float(most)) for most in self._problem.biofilter_g_day],
            dtype=np.int64,
        )
        self._add_fish(self.ammonia, "tan_g", 1 / 7)

    def _nitrate_stays_in_its_band(self) -> None:
        """pool(t) = pool(t−1)·(1 − loss) + supply − uptake + deficit; out of the band costs."""
        problem, water = self._problem, self._problem.farm.water
        price, volume = problem.farm.weights.nitrate_mg_l_week, water.volume_m3
        keep = 1 - water.pool_loss_week
        self.water = rows = self._week_rows(0, 0)
        nitrate_most, outside = [], []
        before = None
        for week in self._weeks:
            row = rows[week]
            pool = self._build.variable()
            most = self._build.row(high=float(problem.nitrate_max_g[week]))
            self._build.term(most, pool)
            nitrate_most.append(most)
            over = self._build.variable(worth=-price)
            under = self._build.variable(worth=-price)
            deficit = self._build.variable(worth=-float(problem.deficit_price_g[week]))
            outside.append((under, over, deficit))
            self._build.term(row, pool)
            self._build.term(row, deficit, -1)
            if before is None:
                before = self._build.variable(low=problem.start_pool_g, high=problem.start_pool_g)
            self._build.term(row, before, -keep)
            high = self._build.row(high=water.band_high_mg_l)
            self._build.term(high, pool, 1 / volume)
            self._build.term(high, over, -1)
            low = self._build.row(low=water.band_low_mg_l)
            self._build.term(low, pool, 1 / volume)
            self._build.term(low, under)
            before = pool
        self.nitrate_most: Rows = np.array(nitrate_most, dtype=np.int64)
        self.outside: Rows = np.array(outside, dtype=np.int64)
        for column, option in zip(self.sown, problem.batches, strict=True):
            self._build.add(rows, column, option.uptake_g_n)
        self._add_fish(rows, "supply_n_g", -1)

    def _growing_after_the_tail_counts(self) -> None:
        """What stands after the tail counts by the share grown, at most what orders would take."""
        problem = self._problem
        rows = {}
        for name in problem.produce:
            price = problem.farm.weights.tail_value * problem.tail_price_kg[name]
            most = problem.tail_most_kg.get(name, 0.0)
            if name not in problem.crops or most <= 0 or price <= 0:
                continue
            rows[name] = self._build.row(high=0)
            self._build.term(rows[name], self._build.variable(high=most, worth=price))
        for column, option in zip(self.sown, problem.batches, strict=True):
            if option.tail_kg > 0 and option.crop in rows:
                self._build.term(rows[option.crop], column, -option.tail_kg)

    def _changes_cost(self) -> None:
        """A start of the plan in force is charged for each part or fish more or less."""
        changes = self._problem.changes
        columns: tuple[tuple[tuple[Group, ...], list[int]], ...] = (
            (changes.parts, self.sown),
            (changes.fish, [-1 if column is None else column for column in self.stocked]),
        )
        for groups, column_of in columns:
            for group in groups:
                less = self._build.variable(high=group.before, worth=-group.price)
                more = self._build.variable(worth=-group.price)
                row = self._build.row(group.before, group.before)
                self._build.term(row, less)
                self._build.term(row, more, -1)
                for number in group.options:
                    self._build.term(row, column_of[number])

    def _reserves_stand_ready(self) -> None:
        """What is held ready for orders of a week goes to an outlet or to nobody. [kg]"""
        problem, waste = self._problem, self._problem.farm.weights.waste_kg
        outlets: dict[tuple[str, int], list[int]] = defaultdict(list)
        for (number, week), column in self.outlet_kg.items():
            outlets[problem.outlets[number].crop, week].append(column)
        ready: dict[tuple[str, int], int] = {}
        for number, order in enumerate(problem.orders):
            if order.reserve <= 0:
                continue
            row = self._build.row(low=order.reserve)
            price = order.shortage_price * RESERVE_PRICE
            self._build.term(row, self._build.variable(high=order.reserve, worth=-price))
            for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
                held = self._build.variable(high=order.reserve * weight)
                self.reserve_kg[number, crop] = held
                self._build.term(row, held, 1 / weight)
                if (crop, order.week) not in ready:
                    ready[crop, order.week] = self._build.row(high=0)
                    unsold = self._build.variable(worth=-waste)
                    self._build.term(self._balance[crop][order.week], unsold, -1)
                    for column in (unsold, *outlets[crop, order.week]):
                        self._build.term(ready[crop, order.week], column, -1)
                self._build.term(ready[crop, order.week], held)
