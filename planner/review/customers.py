"""Order lines by week: ordered, planned, delivered, and the cause of each shortage."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from planner.book import Delivery
from planner.document import OrderWeekDoc
from planner.farm import Order
from planner.farmsales import KG_PER_LB
from planner.horizon import monday_of
from planner.observed.plans import LOST, roots
from planner.review.ground import DAY, NEAR, WEEK, Ground
from planner.review.grown import Course, courses
from planner.review.kinds import CustomerRow, OrderRow
from planner.words import Units, plain, weight

NOT_RECORDED = "not recorded"
LEAST = 1e-6  # of an order, below which nothing is short
LEAST_SHORTFALL = 0.05  # of a planned cut, below which a lighter one is chance; judgement


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Served:
    """The batches that the plans meant for each line and week, by the ids first given to them."""

    by_week: Mapping[tuple[str, date], frozenset[str]]
    courses: Mapping[str, Course]

    def of(self, line: str, monday: date) -> list[Course]:
        """Return the batches for a line in a week, of which something is recorded or planned."""
        found = sorted(self.by_week.get((line, monday), ()))
        return [self.courses[root] for root in found if root in self.courses]


def order_rows(ground: Ground) -> tuple[tuple[OrderRow, ...], int]:
    """Return a row for each order line and whole week, and how many deliveries have no order."""
    lines = {order.line: order for order in ground.farm.orders}
    served = _served(ground)
    rows: list[OrderRow] = []
    asked: dict[date, list[OrderWeekDoc]] = {}
    for monday in ground.weeks():
        plan = ground.of_week(monday)
        if plan is not None:
            text = monday.isoformat()
            asked[monday] = [row for row in plan.document["orders"] if row["week"] == text]
    delivered, beside = _delivered(ground, asked, lines)
    for monday, docs in asked.items():
        for doc in docs:
            order = lines.get(doc["line"])
            came = delivered.get((monday, doc["line"]))
            short = _short(doc, order, came)
            cause = _cause(ground, doc, came, served.of(doc["line"], monday)) if short else ""
            rows.append(
                OrderRow(
                    week=monday,
                    line=doc["line"],
                    customer=doc["customer"],
                    crop=doc["crop"],
                    unit=doc["unit"],
                    kg_per_unit=doc["kg_per_unit"],
                    ordered=doc["ordered"],
                    planned=doc["planned"],
                    delivered=came,
                    price=_price(ground, doc, order),
                    short=short,
                    cause=cause,
                )
            )
    return tuple(sorted(rows, key=lambda row: (row.week, row.customer, row.line))), beside


def _price(ground: Ground, doc: OrderWeekDoc, order: Order | None) -> float:
    """Price of a unit: the line's in orders.csv, else the crop's mean price. [money unit⁻¹]"""
    if order is not None and order.unit == doc["unit"]:
        return order.price
    return ground.price_kg(doc["crop"]) * doc["kg_per_unit"]


def _short(doc: OrderWeekDoc, order: Order | None, came: float | None) -> float:
    """Units short: 0 within the line's tolerance. What is not recorded counts as planned. [unit]"""
    if came is None and doc["within_tolerance"]:
        return 0.0
    tolerance = order.tolerance if order is not None and order.may_be_cut else 0.0
    got = doc["planned"] if came is None else came
    least = doc["ordered"] * (1 - tolerance) if came is not None else doc["ordered"]
    return max(0.0, doc["ordered"] - got) if got < least - LEAST * doc["ordered"] else 0.0


def _delivered(
    ground: Ground, asked: Mapping[date, Sequence[OrderWeekDoc]], lines: Mapping[str, Order]
) -> tuple[dict[tuple[date, str], float], int]:
    """Return what was delivered by week and line, in the line's unit, and the rest's count."""
    found: dict[tuple[date, str], float] = defaultdict(float)
    beside = 0
    for entry in ground.of(Delivery):
        monday = monday_of(entry.on)
        if monday not in asked:
            continue  # of a week that is not whole, or that no plan covers
        for doc in asked[monday]:
            units = _units(ground, entry, doc) if _is_for(entry, doc, lines) else None
            if units is not None:
                found[monday, doc["line"]] += units
                break
        else:
            beside += 1
    return dict(found), beside


def _is_for(entry: Delivery, doc: OrderWeekDoc, lines: Mapping[str, Order]) -> bool:
    if entry.line is not None:
        return entry.line.casefold() == doc["line"].casefold()
    order = lines.get(doc["line"])
    wanted = {doc["crop"]} if order is None else {doc["crop"], *order.crops}
    return entry.customer.casefold() == doc["customer"].casefold() and entry.crop in wanted


def _units(ground: Ground, entry: Delivery, doc: OrderWeekDoc) -> float | None:
    """Return a delivery in an order's unit; None when its own unit cannot be weighed. [unit]"""
    unit, crop = entry.unit.casefold(), ground.crops.get(entry.crop)
    if unit == doc["unit"].casefold():
        return entry.quantity
    if unit in ("kg", "lb"):
        kg = entry.quantity * (KG_PER_LB if unit == "lb" else 1.0)
    elif crop is not None and unit == crop.yield_unit:
        kg = entry.quantity * crop.kg_per_unit
    else:
        return None
    return kg / doc["kg_per_unit"]


def _served(ground: Ground) -> Served:
    first = roots(ground.plans)
    found: dict[tuple[str, date], set[str]] = defaultdict(set)
    for plan in ground.plans:
        for delivery in plan.document["deliveries"]:
            monday = date.fromisoformat(delivery["week"])
            if plan.made_on < monday + WEEK:
                root = first.get(delivery["batch"].removesuffix(LOST))
                if root is not None:
                    found[delivery["line"], monday].add(root)
    return Served(
        by_week={key: frozenset(batches) for key, batches in found.items()},
        courses={course.root: course for course in courses(ground)},
    )


def _cause(ground: Ground, doc: OrderWeekDoc, came: float | None, serving: Sequence[Course]) -> str:
    """Say why an order was short: the plan's reason, and what the book has of its batches."""
    said = []
    if doc["short"] > 0 and not doc["within_tolerance"]:
        said.append(f"planned short: {doc['why'] or 'the plan gives no reason'}")
    if came is not None:
        sunday = date.fromisoformat(doc["week"]) + 6 * DAY
        for course in serving:
            said += _troubles(course, sunday, ground.farm.units)
    return "; ".join(dict.fromkeys(said)) or NOT_RECORDED


def _troubles(course: Course, sunday: date, units: Units) -> Iterator[str]:
    """Yield what is recorded of a batch up to the end of a week that may leave an order short."""
    for day, share in course.losses():
        if day <= sunday and share > 0:
            causes = [e.cause for e in course.said if e.kind == "loss" and e.on == day and e.cause]
            why = f" ({plain(causes[0])})" if causes else ""
            yield f"{course.root}: {share:.0%} lost{why}"
    cut = course.first_cut
    if course.whole and course.wanted <= sunday:
        if cut is not None and cut > course.wanted + NEAR:
            yield f"{course.root}: first cut {(cut - course.wanted).days} days late"
        elif cut is None and (waits := [e for e in course.said if e.kind == "skipped"]):
            why = f" ({plain(waits[-1].cause)})" if waits[-1].cause else ""
            yield f"{course.root}: put off{why}"
    counted = [(day, kg) for day, kg in course.counted(sunday) if day <= sunday]
    planned_kg = sum(kg for _, kg in counted)
    weighed = [e.kg for e in course.harvests if e.on <= sunday]
    real_kg = sum(weighed)
    stood_kg = planned_kg * course.standing(sunday)
    if weighed and real_kg < stood_kg * (1 - LEAST_SHORTFALL):
        yield f"{course.root}: {weight(real_kg, units)} cut of {weight(stood_kg, units)} planned"


def customer_rows(orders: Sequence[OrderRow]) -> tuple[CustomerRow, ...]:
    """Return the fill rate of each customer, by worth; by weight where nothing has a price."""
    groups: dict[str, list[OrderRow]] = defaultdict(list)
    for row in orders:
        groups[row.customer].append(row)
    found = []
    for customer, rows in sorted(groups.items()):
        told = [row for row in rows if row.delivered is not None]
        found.append(
            CustomerRow(
                customer=customer,
                order_weeks=len(rows),
                recorded=len(told),
                planned_rate=fill_rate(rows, real=False),
                counted_rate=fill_rate(told, real=False) if told else None,
                real_rate=fill_rate(told, real=True) if told else None,
            )
        )
    return tuple(found)


def fill_rate(rows: Sequence[OrderRow], *, real: bool) -> float:
    """Share of what was ordered that came or was planned, no order more than once. [-]"""
    priced = any(row.price > 0 for row in rows)
    worth = [(row.price if priced else row.kg_per_unit, row) for row in rows]
    ordered = sum(each * row.ordered for each, row in worth)
    came = sum(
        each * min(row.ordered, (row.delivered or 0.0) if real else row.planned)
        for each, row in worth
    )
    return came / ordered if ordered > 0 else 1.0
