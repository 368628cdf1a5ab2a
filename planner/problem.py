"""The season as a problem: options to choose from, what limits them, what they are worth.

No solver here. Whatever the season model and `plan.violations` need is in `SeasonProblem`, already
rounded, so that both see the same numbers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner import demand
from planner.batches import BatchOption, batch_options, harvest_hours_kg
from planner.cohorts import CohortOption, cohort_options
from planner.demand import OrderWeek
from planner.environment import Environment, daily, weekly_mean
from planner.errors import ImpossiblePlanError
from planner.farm import Farm, Outlet
from planner.horizon import Horizon
from planner.tables import Crop, Fish, Station
from planner.water import biofilter_capacity_g_day

Series = NDArray[np.float64]

NITRATE_UNTESTED_MG_L = 30.0
DAYS_BEYOND = 420  # of growth followed past the tail
SHELF_WEEK_DAYS = 7
DEFICIT_PRICE_FACTOR = 3.0  # of the price outside the band
OVERFLOW_PRICE = 1000.0  # money per mg/L and week above the fish's limit, where it is inherited


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonProblem:
    """Everything that a season's decisions depend on; series are by week of horizon and tail.

    Attributes
    ----------
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
    """

    farm: Farm
    crops: Mapping[str, Crop]
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


def _least_tan_g_day(cohorts: tuple[CohortOption, ...], weeks: int) -> Series:
    """TAN of the fish at hand in each week when each is taken as soon as its options allow."""
    least: dict[int, Series] = {}
    for option in cohorts:
        if option.at_hand is not None:
            tan = option.tan_g * option.count / 7
            known = least.get(option.at_hand)
            earlier = known is None or tan.sum() < known.sum()
            least[option.at_hand] = tan if earlier else known  # type: ignore[assignment]
    return sum(least.values(), np.zeros(weeks))


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


def _sold_live(farm: Farm) -> tuple[Outlet, ...]:
    """Fish that nobody ordered are sold live, any weight, at the species' price."""
    return tuple(
        Outlet(outlet="sold live", crop=species, most_week_kg=1e6, price_kg=price)
        for species, price in farm.fish_prices.items()
    )


def build(
    farm: Farm,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    station: Station,
    plan_date: date,
) -> SeasonProblem:
    """Return the season's problem for a plan made on `plan_date`."""
    horizon = Horizon(
        plan_date=plan_date,
        weeks=farm.rules.horizon_weeks,
        tail_weeks=farm.rules.tail_weeks,
    )
    first = _first_day(farm, horizon)
    days = (horizon.monday(horizon.all_weeks) - first).days + max(DAYS_BEYOND, 7 * 104 + 14)
    environment = daily(farm, station, first, days)
    weeks = horizon.all_weeks
    batches = batch_options(farm, horizon, crops, environment)
    cohorts = cohort_options(farm, horizon, fish, environment)
    orders = demand.order_weeks(farm, horizon, crops)
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
    fading = start_pool_g * (1 - farm.water.pool_loss_week) ** np.arange(1, weeks + 1)
    nitrate_max_g = np.full(weeks, limit_g)
    if start_pool_g > limit_g:
        above = fading > limit_g
        nitrate_max_g[above] = start_pool_g * 1.25
        inherited |= above
        warnings.append(
            f"Nitrate stands at {nitrate:.0f} mg/L nitrate-N, above the {limit_g / volume_m3:.0f} "
            "that the fish bear: exchange water this week, feed less and test again."
        )
    week_start = environment.index(horizon.start)
    water_c = weekly_mean(environment.water_c, week_start, weeks)
    capacity = np.array(
        [float(biofilter_capacity_g_day(farm.water.biofilter_area_m2, t)) for t in water_c]
    )
    least = _least_tan_g_day(cohorts, weeks)
    over = least > capacity + 1e-9
    if over.any():
        inherited |= over
        capacity = np.maximum(capacity, least)
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
        _batch_group(farm, batches, number) for number in range(len(farm.standing))
    )
    return SeasonProblem(
        farm=farm,
        crops=crops,
        fish=fish,
        horizon=horizon,
        environment=environment,
        batches=batches,
        cohorts=cohorts,
        batch_groups=batch_groups,
        cohort_groups=cohort_groups,
        orders=orders,
        outlets=farm.outlets + _sold_live(farm),
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
        biofilter_g_day=np.round(capacity, 6),
        inherited=inherited,
        tail_price_kg={
            name: (
                demand.mean_price_kg(farm, name, crops)
                if name in crops
                else max(
                    (o.price_kg for o in farm.outlets + _sold_live(farm) if o.crop == name),
                    default=0.0,
                )
            )
            for name in produce
        },
        tail_most_kg=_tail_most_kg(produce, orders, horizon, farm.rules.tail_weeks),
        discard_cost=_discard_cost(farm, crops, batches, batch_groups),
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
    farm: Farm, batches: tuple[BatchOption, ...], number: int
) -> tuple[tuple[int, ...], int, bool]:
    batch = farm.standing[number]
    options = tuple(n for n, option in enumerate(batches) if option.standing == number)
    stands = any(batches[n].nursery is None for n in options)
    if not options and (batch.transplant is not None):
        raise ImpossiblePlanError(
            f'growing.csv: batch "{batch.id}" ({batch.crop}) stands in {batch.zone}, but no way to '
            "cut or clear it was found; check its dates"
        )
    return options, batch.parts, stands
