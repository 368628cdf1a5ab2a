"""The season as a problem: options to choose from, what limits them, what they are worth.

No solver here. Whatever the season model and `plan.violations` need is in `SeasonProblem`, already
rounded, so that both see the same numbers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner import changes as changing
from planner import demand
from planner.batches import BatchOption, batch_options, harvest_hours_kg
from planner.changes import Changes, Earlier
from planner.cohorts import cohort_options
from planner.demand import OrderWeek
from planner.environment import Environment, daily, weekly_mean
from planner.errors import ImpossiblePlanError
from planner.farm import Farm, Outlet
from planner.horizon import Horizon
from planner.nitrogen import balance
from planner.stays import CohortOption
from planner.tables import Crop, Fish, Station
from planner.water import biofilter_capacity_g_day

Series = NDArray[np.float64]

NITRATE_UNTESTED_MG_L = 30.0
DAYS_BEYOND = 420  # of growth followed past the tail
SHELF_WEEK_DAYS = 7
ROUNDING = 1e-6  # more than a solver and sums in another order may differ by
DEFICIT_PRICE_FACTOR = 3.0  # of the price outside the band, in the last week


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonProblem:
    """Everything that a season's decisions depend on; series are by week of horizon and tail.

    Attributes
    ----------
    crops
        The tables' rows.
    crops_in
        By growing method: the rows as this house grows them in it, by what was learned.
    batch_groups
        For each standing batch: the option numbers that its parts are divided over, its parts, and
        whether all of them must follow one (they stand) or may be thrown away (seedlings).
    cohort_groups
        For each cohort at hand: its option numbers, of which exactly one is followed.
    cut_classes
        Crop, first and last week of every kind of cut; what is ripe in one is cut in its weeks.
    harvest_h_kg
        Work to cut or take a kilogram, by produce. [h kg⁻¹]
    nitrate_max_g
        Hard upper limit of nitrogen in the water. [g N]
    biofilter_g_day
        TAN that the biofilter can turn over; raised where fish at hand already make more. [g d⁻¹]
    inherited
        Weeks in which a limit gives way to what already stands in the house.
    discard_cost
        By batch option: what clearing a standing batch before its last harvest is charged, so that
        a sound crop is not thrown away for nothing. [money part⁻¹]
    tail_most_kg
        By crop: most that may be counted as growing after the tail. [kg]
    changes
        What starting otherwise than the plan in force is charged.
    """

    farm: Farm
    crops: Mapping[str, Crop]
    crops_in: Mapping[str, Mapping[str, Crop]]
    fish: Mapping[str, Fish]
    horizon: Horizon
    environment: Environment
    batches: tuple[BatchOption, ...]
    cohorts: tuple[CohortOption, ...]
    batch_groups: tuple[tuple[tuple[int, ...], int, bool], ...]
    cohort_groups: tuple[tuple[int, ...], ...]
    orders: tuple[OrderWeek, ...]
    outlets: tuple[Outlet, ...]
    produce: tuple[str, ...]
    cut_classes: tuple[tuple[str, int, int], ...]
    harvest_h_kg: Mapping[str, float]
    shelf_weeks: Mapping[str, int]
    start_pool_g: float
    nitrate_max_g: Series
    biofilter_g_day: Series
    inherited: NDArray[np.bool_]
    tail_price_kg: Mapping[str, float]
    tail_most_kg: Mapping[str, float]
    discard_cost: Series
    changes: Changes
    warnings: tuple[str, ...]

    @property
    def weeks(self) -> int:
        """Weeks of horizon and tail. [-]"""
        return self.horizon.all_weeks

    @property
    def orders_worth(self) -> float:
        """Worth of all orders at their prices, tail included. [money]"""
        return sum(order.ordered * order.price for order in self.orders)

    @property
    def day_of_start(self) -> int:
        """Environment day of the horizon's first Monday."""
        return self.environment.index(self.horizon.start)

    @property
    def deficit_price_g(self) -> Series:
        """Price of uptake that the water cannot give, by week. [money g⁻¹]

        Above all that a gram more in the water could save in the weeks left, so that no plan is
        reckoned to have nitrogen which it has not.
        """
        water, price = self.farm.water, self.farm.weights.nitrate_mg_l_week
        kept = (1 - water.pool_loss_week) ** np.arange(self.weeks)
        return (DEFICIT_PRICE_FACTOR + np.cumsum(kept)[::-1]) * price / water.volume_m3

    def weekly(self, values: Series) -> Series:
        """Weekly means of a daily series of the environment, for horizon and tail."""
        return weekly_mean(values, self.day_of_start, self.weeks)


def _first_day(farm: Farm, horizon: Horizon) -> date:
    days = [horizon.start]
    days += [batch.transplant or batch.sow for batch in farm.standing]
    days += [cohort.as_of for cohort in farm.cohorts]
    return min(days) - timedelta(days=35)


def _nitrate_limit_mg_l(farm: Farm, fish: Mapping[str, Fish]) -> float:
    species = {c.species for c in farm.cohorts} | {o.species for o in farm.fingerlings}
    return min((fish[name].nitrate_n_max_mg_l for name in species), default=np.inf)


def _least_g(cohorts: tuple[CohortOption, ...], weeks: int, series: str) -> Series:
    """What the fish at hand bring in each week when each is taken as soon as its options allow."""
    least: dict[int, CohortOption] = {}
    for option in cohorts:
        if option.at_hand is not None:
            known = least.setdefault(option.at_hand, option)
            if option.tan_g.sum() < known.tan_g.sum():
                least[option.at_hand] = option
    return sum((getattr(o, series) * o.count for o in least.values()), np.zeros(weeks))


def _rounded_up(limit: Series) -> Series:
    """Round a limit to 6 digits, never below what stands in the house."""
    return np.asarray(np.ceil(limit * 1e6) / 1e6)


def _tail_most_kg(
    produce: tuple[str, ...], orders: tuple[OrderWeek, ...], horizon: Horizon, tail: int
) -> dict[str, float]:
    """What the orders of a crop take in as many weeks as the tail has, 4 at the least."""
    span = max(4, tail)
    first = max(0, horizon.weeks - span) if tail == 0 else horizon.weeks
    most = dict.fromkeys(produce, 0.0)
    for order in orders:
        if first <= order.week < first + span:
            for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
                most[crop] = most.get(crop, 0.0) + order.ordered * weight
    return most


def _sold_live(farm: Farm, cohorts: tuple[CohortOption, ...]) -> tuple[Outlet, ...]:
    """Fish that nobody ordered are sold live, any weight, at the species' price."""
    kept = {option.species for option in cohorts}
    return tuple(
        Outlet(outlet="sold live", crop=species, most_week_kg=1e6, price_kg=price)
        for species, price in farm.fish_prices.items()
        if species in kept
    )


def build(
    farm: Farm,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    station: Station,
    plan_date: date,
    before: Earlier | None = None,
    crops_in: Mapping[str, Mapping[str, Crop]] | None = None,
    reserves: Mapping[tuple[str, date], float] | None = None,
) -> SeasonProblem:
    """Return the season's problem for a plan made on `plan_date`.

    `before` is the plan in force, from which it is to differ as little as is worth it; `crops_in`
    the crops as this house grows them in each method, the tables' own where it is None; `reserves`
    what is to be held ready beside an order, by line and Monday. [unit]
    """
    horizon = Horizon(
        plan_date=plan_date,
        weeks=farm.rules.horizon_weeks,
        tail_weeks=farm.rules.tail_weeks,
    )
    first = _first_day(farm, horizon)
    days = (horizon.monday(horizon.all_weeks) - first).days + max(DAYS_BEYOND, 7 * 104 + 14)
    environment = daily(farm, station, first, days)
    weeks = horizon.all_weeks
    crops_in = crops_in or {zone.method.value: crops for zone in farm.zones}
    batches = batch_options(farm, horizon, crops_in, environment)
    cohorts = cohort_options(farm, horizon, fish, environment)
    orders = demand.order_weeks(farm, horizon, crops, reserves or {})
    outlets = farm.outlets + _sold_live(farm, cohorts)
    produce = tuple(
        dict.fromkeys(
            [option.crop for option in batches]
            + [option.species for option in cohorts]
            + [crop for order in farm.orders for crop in order.crops]
            + [outlet.crop for outlet in farm.outlets]
        )
    )
    warnings: list[str] = []
    volume_m3 = farm.water.volume_m3
    nitrate = farm.water.nitrate_n_mg_l
    if nitrate is None:
        nitrate = NITRATE_UNTESTED_MG_L
        warnings.append(
            f"No nitrate test is given: the plan starts from {nitrate:g} mg/L nitrate-N. "
            "Test the water and enter it under [water] nitrate_n."
        )
    start_pool_g = nitrate * volume_m3
    inherited = np.zeros(weeks, dtype=bool)
    limit_g = _nitrate_limit_mg_l(farm, fish) * volume_m3
    supply = _least_g(cohorts, weeks, "supply_n_g")
    fading = balance(
        start_pool_g, supply, np.zeros(weeks), farm.water.pool_loss_week, volume_m3
    ).pool_g
    nitrate_max_g = np.full(weeks, limit_g)
    above = fading > limit_g
    nitrate_max_g[above] = np.maximum(
        start_pool_g * 1.25, _rounded_up(fading[above] * (1 + ROUNDING))
    )
    inherited |= above
    if start_pool_g > limit_g or above.any():
        comes = "above" if start_pool_g > limit_g else "and will soon pass"
        warnings.append(
            f"Nitrate stands at {nitrate:.0f} mg/L nitrate-N, {comes} the {limit_g / volume_m3:.0f}"
            " that the fish bear: exchange water this week, feed less and test again."
        )
    week_start = environment.index(horizon.start)
    water_c = weekly_mean(environment.water_c, week_start, weeks)
    capacity = np.array(
        [float(biofilter_capacity_g_day(farm.water.biofilter_area_m2, t)) for t in water_c]
    )
    least = _least_g(cohorts, weeks, "tan_g") / 7
    over = least > capacity + 1e-9
    if over.any():
        inherited |= over
        capacity = np.maximum(capacity, least * (1 + ROUNDING) + ROUNDING)
        warnings.append(
            "The fish at hand make more ammonia than the biofilter can turn over: feed less, add "
            "media, and take fish out at the first date of the plan."
        )
    cohort_groups = tuple(
        tuple(n for n, option in enumerate(cohorts) if option.at_hand == number)
        for number in range(len(farm.cohorts))
    )
    for group in cohort_groups:
        worst = max((cohorts[n].over_density_weeks for n in group), default=0)
        if worst:
            option = cohorts[group[0]]
            name = farm.cohorts[option.at_hand or 0].tank
            inherited[:worst] = True
            warnings.append(
                f"{name} holds more fish than its density limit allows: move or take fish out at "
                "the first date of the plan, and watch oxygen until then."
            )
    batch_groups = tuple(
        _batch_group(farm, batches, number, plan_date) for number in range(len(farm.standing))
    )
    return SeasonProblem(
        farm=farm,
        crops=crops,
        crops_in=crops_in,
        fish=fish,
        horizon=horizon,
        environment=environment,
        batches=batches,
        cohorts=cohorts,
        batch_groups=batch_groups,
        cohort_groups=cohort_groups,
        orders=orders,
        outlets=outlets,
        produce=produce,
        cut_classes=tuple(
            sorted({(o.crop, cut.first, cut.last) for o in batches for cut in o.cuts})
        ),
        harvest_h_kg={
            name: (
                harvest_hours_kg(farm, crops[name])
                if name in crops
                else farm.labour.fish_kg_min / 60
            )
            for name in produce
        },
        shelf_weeks={
            name: crops[name].shelf_days // SHELF_WEEK_DAYS if name in crops else 0
            for name in produce
        },
        start_pool_g=start_pool_g,
        nitrate_max_g=nitrate_max_g,
        biofilter_g_day=_rounded_up(capacity),
        inherited=inherited,
        tail_price_kg={
            name: (
                demand.mean_price_kg(farm, name, crops)
                if name in crops
                else max(
                    (o.price_kg for o in outlets if o.crop == name),
                    default=0.0,
                )
            )
            for name in produce
        },
        tail_most_kg=_tail_most_kg(produce, orders, horizon, farm.rules.tail_weeks),
        discard_cost=_discard_cost(farm, crops, batches, batch_groups),
        changes=(
            changing.none(len(batches), len(cohorts))
            if before is None
            else changing.changes(farm, horizon, batches, cohorts, before)
        ),
        warnings=tuple(warnings),
    )


def _discard_cost(
    farm: Farm,
    crops: Mapping[str, Crop],
    batches: tuple[BatchOption, ...],
    groups: tuple[tuple[tuple[int, ...], int, bool], ...],
) -> Series:
    cost = np.zeros(len(batches))
    for options, _, stands in groups:
        if not stands:
            continue
        gives = {n: sum(c.kg for c in batches[n].cuts) + batches[n].tail_kg for n in options}
        most = max(gives.values(), default=0.0)
        for n, kilograms in gives.items():
            price = demand.mean_price_kg(farm, batches[n].crop, crops)
            cost[n] = farm.weights.discard * price * (most - kilograms)
    return np.round(cost, 4)


def _batch_group(
    farm: Farm, batches: tuple[BatchOption, ...], number: int, plan_date: date
) -> tuple[tuple[int, ...], int, bool]:
    batch = farm.standing[number]
    options = tuple(n for n, option in enumerate(batches) if option.standing == number)
    stands = any(batches[n].nursery is None for n in options)
    if not options and batch.transplant is not None and batch.transplant <= plan_date:
        raise ImpossiblePlanError(
            f'growing.csv: batch "{batch.id}" ({batch.crop}) stands in {batch.zone}, but no way to '
            "cut or clear it was found; check its dates"
        )
    return options, batch.parts, stands
