"""What was promised, week by week, and where surplus may go."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType

from planner.calendarrules import DEFAULT_DELIVERY_WEEKDAY, CutDays
from planner.farm import Farm, Order
from planner.horizon import Horizon, monday_of
from planner.tables import Crop

WEEKS_A_YEAR = 52


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderWeek:
    """One order line in one week.

    Parameters
    ----------
    ordered
        Quantity in the line's unit. [unit]
    weekdays
        Delivery days of this week that are not before the plan date (Monday 0).
    kg_per_unit
        By crop that serves the line. [kg unit⁻¹]
    shortage_price
        Price of each unit short beyond the tolerance. [money unit⁻¹]
    reserve
        Held ready beside what is ordered, for weeks in which less is cut than planned. [unit]
    """

    line: int
    week: int
    ordered: float
    weekdays: tuple[int, ...]
    crops: tuple[str, ...]
    kg_per_unit: tuple[float, ...]
    price: float
    least: float  # ordered less the tolerance
    shortage_price: float
    reserve: float = 0.0


def in_week(order: Order, monday: date) -> bool:
    """Whether a standing order is delivered in the week that begins on `monday`."""
    first, last = monday_of(order.first_week), monday_of(order.last_week)
    if not first <= monday <= last:
        return False
    return (monday - first).days // 7 % order.every_weeks == 0


def unit_weight_kg(order: Order, crop: str, crops: Mapping[str, Crop]) -> float:
    """Return the weight of one unit of a line. [kg]"""
    if order.unit == "kg" or crop not in crops:
        return 1.0
    return crops[crop].kg_per_unit


def order_weeks(
    farm: Farm,
    horizon: Horizon,
    crops: Mapping[str, Crop],
    reserves: Mapping[tuple[str, date], float] = MappingProxyType({}),
) -> tuple[OrderWeek, ...]:
    """Return every order line in every week of the horizon and its tail, lines in file order.

    In the tail a line also stands where it stood 52 weeks before, so that orders written for one
    year do not end with it.
    """
    found = []
    for number, order in enumerate(farm.orders):
        tolerance = order.tolerance if order.may_be_cut else 0.0
        for week in range(horizon.all_weeks):
            monday = horizon.monday(week)
            if not in_week(order, monday) and not (
                week >= horizon.weeks and in_week(order, monday - timedelta(weeks=WEEKS_A_YEAR))
            ):
                continue
            left = tuple(
                day
                for day in sorted(set(order.weekdays))
                if monday + timedelta(days=day) >= horizon.plan_date
            )
            if not left:
                continue
            ordered = order.quantity * len(left) / len(set(order.weekdays))
            found.append(
                OrderWeek(
                    line=number,
                    week=week,
                    ordered=ordered,
                    weekdays=left,
                    crops=order.crops,
                    kg_per_unit=tuple(unit_weight_kg(order, crop, crops) for crop in order.crops),
                    price=order.price,
                    least=ordered * (1 - tolerance),
                    shortage_price=order.price * farm.weights.shortage * (4 - order.priority),
                    reserve=reserves.get((order.line, monday), 0.0),
                )
            )
    return tuple(found)


def cut_days(farm: Farm, crop: str) -> CutDays:
    """Return the cutting days of a crop: its earliest delivery weekday over all lines."""
    days = [min(order.weekdays) for order in farm.orders if crop in order.crops and order.weekdays]
    return CutDays(first_weekday=min(days, default=DEFAULT_DELIVERY_WEEKDAY))


def sold(farm: Farm) -> frozenset[str]:
    """Return the crops and species that anyone takes."""
    wanted = {crop for order in farm.orders for crop in order.crops}
    return frozenset(wanted | {outlet.crop for outlet in farm.outlets})


def mean_price_kg(farm: Farm, crop: str, crops: Mapping[str, Crop]) -> float:
    """Return the mean price of a crop over its order lines, else its best outlet. [money kg⁻¹]

    Lines count by the kilograms that they would take.
    """
    weekly = [  # money and kg
        (order.price * units, unit_weight_kg(order, crop, crops) * units)
        for order in farm.orders
        if crop in order.crops
        for units in [order.quantity / order.every_weeks]
    ]
    if weekly:
        return sum(money for money, _ in weekly) / sum(kg for _, kg in weekly)
    return max((o.price_kg for o in farm.outlets if o.crop == crop), default=0.0)
