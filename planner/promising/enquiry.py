"""The answer to an enquiry: can a customer have this, every so often, from then to then?

The enquiry is planned as one more order, after all that is promised already, and the plan that
comes of it is held against the plan in force. Nothing is changed until it is accepted.
"""

import csv
import io
import shutil
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from enum import StrEnum
from pathlib import Path

from planner import farmfile, planning, starting
from planner.demand import mean_price_kg, unit_weight_kg
from planner.differences import changes
from planner.document import OrderWeekDoc, PlanDoc
from planner.errors import InputError
from planner.farm import Farm, Order
from planner.horizon import monday_of
from planner.planning import Bundle
from planner.season.effort import Effort, Progress, never, quiet
from planner.starting import Start
from planner.words import day_words, figure, plain, plural, spoken

ORDERS = "orders.csv"
COLUMNS = (
    *("line", "customer", "crop", "unit", "quantity", "first_week", "last_week", "every_weeks"),
    *("weekdays", "priority", "price", "tolerance", "may_be_cut"),
)
WITHOUT_COLUMN = dict(  # what a line is read as where its file has no such column
    every_weeks="1", weekdays="thu", priority="2", tolerance="0", may_be_cut="yes"
)
LEAST_RUN = 3  # deliveries in a row that make "yes, from a date" worth saying; judgement
MOST_LINES = 12
BEHIND_ALL = 4  # priority of an enquiry: to go short of it is charged nothing but its price


class Verdict(StrEnum):
    """What may be promised."""

    YES = "yes"
    LATER = "yes, from a date"
    NO = "no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Enquiry:
    """What a customer asks for; the fields are cells of `orders.csv`, as text.

    Parameters
    ----------
    price
        Of one unit; empty for what the farm usually gets for it.
    """

    crop: str
    unit: str
    quantity: str
    first_week: str
    last_week: str
    every_weeks: str = "1"
    weekdays: str = ""
    price: str = ""
    tolerance: str = ""
    customer: str = "enquiry"
    line: str = "enquiry"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """What may be promised, why not all, and what it would displace.

    Attributes
    ----------
    since
        The first week that may be promised when the verdict is `LATER`.
    reason
        Why the first week that is short is short; empty when none is.
    displaced
        What is delivered less to others than in the plan without it, in words.
    changed
        What would be planned otherwise, in words.
    bundle
        The plan with the enquiry in it.
    """

    verdict: Verdict
    since: date | None
    reason: str
    displaced: tuple[str, ...]
    changed: tuple[str, ...]
    weeks: tuple[OrderWeekDoc, ...]
    bundle: Bundle
    order: Order
    begin: Start


def answer(
    folder: Path,
    enquiry: Enquiry,
    *,
    today: date,
    plan_date: date | None = None,
    effort: Effort | None = None,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
) -> Answer:
    """Plan with and without the enquiry, and say what may be promised; writes nothing.

    Raises
    ------
    InputError
        The enquiry is no order that the farm could take, or the folder has faults.
    PlannerError
        As `planning.make_plan`.
    """
    begin = starting.start(folder, today=today, plan_date=plan_date)
    asked = _order_of(folder, begin, enquiry)
    effort = effort or Effort()
    without = begin.before
    if without is None or _out_of_date(without, begin):
        progress("the plan without it", None, float("inf"), 0.0)
        without = planning.planned(
            begin, effort=effort, progress=progress, stopped=stopped
        ).document
        begin = replace(begin, before=begin.before or without)
    with_it = with_order(begin, asked)
    progress("the plan with it", None, float("inf"), 0.0)
    bundle = planning.planned(with_it, effort=effort, progress=progress, stopped=stopped)
    weeks = tuple(row for row in bundle.document["orders"] if row["line"] == asked.line)
    verdict, since = _verdict(weeks)
    short = next((row for row in weeks if not row["within_tolerance"]), None)
    found = changes(without, bundle.document, 0.0)
    return Answer(
        verdict=verdict,
        since=since,
        reason="" if short is None else _reason(short),
        displaced=tuple(_displaced(without, bundle.document, asked.line)),
        changed=tuple(item["text"] for item in found["items"] if item["kind"] != "order"),
        weeks=weeks,
        bundle=bundle,
        order=asked,
        begin=begin,
    )


def with_order(begin: Start, order: Order) -> Start:
    """Return a start with one order more."""
    farm = begin.house.farm.model_copy(update={"orders": (*begin.house.farm.orders, order)})
    return replace(begin, house=replace(begin.house, farm=farm))


def _out_of_date(before: PlanDoc, begin: Start) -> bool:
    """Whether a plan knows less than is known now, so that what it lacks is not the enquiry's."""
    return before["book_entries"] != begin.history.highest or bool(begin.house.happened)


def _order_of(folder: Path, begin: Start, enquiry: Enquiry) -> Order:
    """Read the enquiry as a line of `orders.csv` is read, with all its checks."""
    farm = begin.inputs.farm
    line = _free_name(enquiry.line, {order.line.lower() for order in farm.orders})
    cells = {name: str(getattr(enquiry, name)) for name in (f.name for f in fields(enquiry))}
    cells |= {"line": line, "priority": "3", "may_be_cut": "yes", "price": enquiry.price or "0"}
    with tempfile.TemporaryDirectory(prefix="sowstock-") as name:
        copy = Path(name)
        for path in sorted(folder.iterdir()):
            if path.is_file() and path.suffix in {".toml", ".csv"} and path.name != ORDERS:
                shutil.copyfile(path, copy / path.name)
        (copy / ORDERS).write_text(csv_text([COLUMNS, [cells.get(c, "") for c in COLUMNS]]))
        try:
            inputs = farmfile.read_farm(copy)
        except InputError as fault:
            raise InputError(
                [text.replace(f"{ORDERS} line 2: ", "the enquiry: ") for text in fault.faults]
            ) from fault
    order = inputs.farm.orders[0]
    if order.last_week < begin.made_on:
        raise InputError([f"the enquiry: last_week is {order.last_week}, before the plan date"])
    if monday_of(order.first_week) >= end_of(begin.made_on, farm):
        raise InputError([f"the enquiry: first_week is {order.first_week}, after the plan's weeks"])
    if not enquiry.price:
        order = order.model_copy(update={"price": _usual_price(begin, farm, order)})
    return order.model_copy(update={"priority": BEHIND_ALL})


def end_of(made_on: date, farm: Farm) -> date:
    """The first Monday after the plan's weeks."""
    return monday_of(made_on) + timedelta(weeks=farm.rules.horizon_weeks)


def _usual_price(begin: Start, farm: Farm, order: Order) -> float:
    """What the farm gets for a unit of a crop on its orders, or at its outlets. [money unit⁻¹]"""
    crops = begin.inputs.crops
    found = [
        mean_price_kg(farm, crop, crops) * unit_weight_kg(order, crop, crops)
        for crop in order.crops
        if crop in crops
    ]
    found += [farm.fish_prices.get(name, 0.0) for name in order.crops if name not in crops]
    price = max(found, default=0.0)
    if price <= 0:
        raise InputError(
            [f"the enquiry: the farm sells no {order.crop_text} yet; give its price (--price)"]
        )
    return round(price, 4)


def _free_name(wanted: str, taken: set[str]) -> str:
    name, number = wanted, 1
    while name.lower() in taken:
        number += 1
        name = f"{wanted}-{number}"
    return name


def _verdict(weeks: Sequence[OrderWeekDoc]) -> tuple[Verdict, date | None]:
    """Yes when every week is met; later when all weeks from one on are, and they are several."""
    short = [number for number, row in enumerate(weeks) if not row["within_tolerance"]]
    if weeks and not short:
        return Verdict.YES, None
    after = short[-1] + 1 if short else 0
    if weeks and len(weeks) - after >= LEAST_RUN:
        return Verdict.LATER, date.fromisoformat(weeks[after]["week"])
    return Verdict.NO, None


def _reason(row: OrderWeekDoc) -> str:
    week = day_words(date.fromisoformat(row["week"]))
    why = row["why"] or "it could be grown, but takes from what is worth more"
    return (
        f"week of {week}: {figure(row['planned'])} of {figure(row['ordered'])} {row['unit']}; {why}"
    )


def _displaced(before: PlanDoc, now: PlanDoc, asked: str) -> list[str]:
    """Say which orders and outlets get less than without the enquiry, the most first."""
    found: list[tuple[float, str]] = []
    old = {(row["line"], row["week"]): row for row in before["orders"]}
    lines: dict[str, list[tuple[OrderWeekDoc, float]]] = {}
    for row in now["orders"]:
        was = old.get((row["line"], row["week"]))
        less = 0.0 if was is None else was["planned"] - row["planned"]
        if row["line"] != asked and less > 0.01 * row["ordered"]:
            lines.setdefault(row["line"], []).append((row, less))
    for line, rows in lines.items():
        first = rows[0][0]
        less = sum(amount for _, amount in rows)
        harm = "" if any(not row["within_tolerance"] for row, _ in rows) else ", within tolerance"
        found.append(
            (
                sum(amount * row["kg_per_unit"] for row, amount in rows),
                f"order {plain(line)} of {plain(first['customer'])}: {figure(less)} "
                f"{first['unit']} less in {plural(len(rows), 'week')}{harm}",
            )
        )
    ends = [max((row["week"] for row in d["produce"]), default="") for d in (before, now)]
    for crop, name in sorted(now["crops"].items()):
        was_kg, is_kg = (
            sum(
                row["outlets_kg"]
                for row in document["produce"]
                if row["crop"] == crop and now["made_on"] <= row["week"] <= min(ends)
            )
            for document in (before, now)
        )
        if was_kg - is_kg > 0.5:
            found.append(
                (
                    was_kg - is_kg,
                    f"surplus {spoken(name)}: {figure(was_kg - is_kg)} kg less to sell",
                )
            )
    found.sort(reverse=True)
    more = len(found) - MOST_LINES
    shown = [text for _, text in found[:MOST_LINES]]
    return [*shown, f"and {more} more"] if more > 0 else shown


def csv_text(rows: Iterable[Sequence[str]], ends: str = "\n") -> str:
    """Return rows as the text of a CSV file."""
    text = io.StringIO()
    csv.writer(text, lineterminator=ends).writerows(rows)
    return text.getvalue()
