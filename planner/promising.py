"""The answer to an enquiry: can a customer have this, every so often, from then to then?

The enquiry is planned as one more order, after all that is promised already, and the plan that
comes of it is held against the plan in force. Nothing is changed until it is accepted.
"""

import csv
import io
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from pathlib import Path

from planner import farmfile, planning, writing
from planner.demand import mean_price_kg, unit_weight_kg
from planner.differences import changes
from planner.document import OrderWeekDoc, PlanDoc
from planner.errors import InputError, PlannerError
from planner.farm import Farm, Order
from planner.horizon import monday_of
from planner.planning import Bundle, Start
from planner.season.effort import Effort, Progress, never, quiet
from planner.words import day_words, figure, plain, plural, spoken

ORDERS = "orders.csv"
COLUMNS = (
    *("line", "customer", "crop", "unit", "quantity", "first_week", "last_week", "every_weeks"),
    *("weekdays", "priority", "price", "tolerance", "may_be_cut"),
)
WITHOUT_COLUMN = {  # what a line is read as where its file has no such column
    **{"every_weeks": "1", "weekdays": "thu", "priority": "2", "tolerance": "0"},
    "may_be_cut": "yes",
}
LEAST_RUN = 3  # deliveries in a row that make "yes, from a date" worth saying; judgement
MOST_LINES = 12


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
    begin = planning.start(folder, today=today, plan_date=plan_date)
    asked = _order_of(folder, begin, enquiry)
    effort = effort or Effort()
    without = begin.before
    if without is None or _out_of_date(without, begin):
        progress("the plan without it", None, float("inf"), 0.0)
        without = planning.planned(
            begin, effort=effort, progress=progress, stopped=stopped
        ).document
        begin = replace(begin, before=begin.before or without)
    farm = begin.house.farm.model_copy(update={"orders": (*begin.house.farm.orders, asked)})
    with_it = replace(begin, house=replace(begin.house, farm=farm))
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
    )


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
        (copy / ORDERS).write_text(_csv_text([COLUMNS, [cells.get(c, "") for c in COLUMNS]]))
        try:
            inputs = farmfile.read_farm(copy)
        except InputError as fault:
            raise InputError(
                [text.replace(f"{ORDERS} line 2: ", "the enquiry: ") for text in fault.faults]
            ) from fault
    order = inputs.farm.orders[0]
    if order.last_week < begin.made_on:
        raise InputError([f"the enquiry: last_week is {order.last_week}, before the plan date"])
    if not enquiry.price:
        order = order.model_copy(update={"price": _usual_price(begin, farm, order)})
    return order


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


def accept(folder: Path, out: Path, given: Answer, *, now: datetime) -> str:
    """Enter the promise into `orders.csv`, keep its plan and write it; returns the line's name.

    Of a promise from a date on the weeks before are left out.

    Raises
    ------
    PlannerError
        The answer is no, or a file cannot be written; then nothing is.
    """
    if given.verdict is Verdict.NO:
        raise PlannerError("The answer is no, so there is nothing to accept; nothing was changed.")
    order = given.order
    first = order.first_week
    if given.since is not None:
        first = max(first, given.since)
    cells = {
        "line": order.line,
        "customer": order.customer,
        "crop": order.crop_text,
        "unit": order.unit,
        "quantity": f"{order.quantity:.12g}",
        "first_week": monday_of(first).isoformat(),
        "last_week": order.last_week.isoformat(),
        "every_weeks": str(order.every_weeks),
        "weekdays": ";".join(
            ("mon", "tue", "wed", "thu", "fri", "sat", "sun")[day] for day in order.weekdays
        ),
        "priority": "1",
        "price": f"{order.price:.12g}",
        "tolerance": f"{order.tolerance:.12g}",
        "may_be_cut": "yes" if order.may_be_cut else "no",
    }
    writing.check_target(out)
    path = folder / ORDERS
    before = path.read_bytes() if path.exists() else None
    _put(path, _with_row(path.name, before or b"", cells))
    try:
        planning.write(folder, given.bundle, out, now=now)
    except BaseException:
        _put(path, before)
        raise
    return order.line


def _with_row(name: str, before: bytes, cells: Mapping[str, str]) -> bytes:
    """Return a CSV file's octets with a row more, in the order of its own columns.

    What stands in it stays as it is, with its byte order mark and its line ends.
    """
    text = before.decode("utf-8-sig")
    rows = csv.reader(io.StringIO(text, newline=""), skipinitialspace=True)
    head = next(([*map(_bare, row)] for row in rows if any(map(_bare, row))), None)
    names = [*COLUMNS] if head is None else head
    lost = [key for key in cells if key not in names and cells[key] != WITHOUT_COLUMN.get(key)]
    if lost:
        raise PlannerError(
            f"{name} has no column {lost[0]}, which the promise needs ({cells[lost[0]]}); add "
            f"{', '.join(lost)} to its first line, blank in the other rows; nothing was changed"
        )
    ends = "\r\n" if "\r\n" in text else "\n"
    start = before if head is not None else _csv_text([COLUMNS], ends).encode()
    if not start.endswith((b"\n", b"\r")):
        start += ends.encode()
    return start + _csv_text([[cells.get(key, "") for key in names]], ends).encode()


def _bare(cell: str) -> str:
    """A column's name as the reader of the farm's lists takes it."""
    return cell.replace("\ufeff", "").strip().lower()


def _put(path: Path, content: bytes | None) -> None:
    """Give a file this content in one step; None takes it away."""
    try:
        if content is None:
            path.unlink(missing_ok=True)
            return
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            shutil.copymode(path, name) if path.exists() else os.chmod(name, 0o644)
            os.replace(name, path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as fault:
        raise PlannerError(f"{path}: cannot be written ({fault.strerror or fault})") from fault


def _csv_text(rows: Iterable[Sequence[str]], ends: str = "\n") -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator=ends).writerows(rows)
    return text.getvalue()


def told(given: Answer) -> str:
    """Return the answer in words, for the terminal."""
    order = given.order
    lines = [_headline(given)]
    if given.reason:
        lines.append(f"Short: {given.reason}")
    met = sum(1 for row in given.weeks if row["within_tolerance"])
    lines.append(f"{met} of {plural(len(given.weeks), 'delivery week')} can be met.")
    if given.verdict is not Verdict.NO:
        lines.append(f"Counted at {order.price:g} for each {order.unit}.")
    lines += [f"Displaces: {text}" for text in given.displaced] or ["Displaces nothing sold."]
    more = len(given.changed) - MOST_LINES
    lines += [f"Would change: {text}" for text in given.changed[:MOST_LINES]]
    lines += [f"and {more} more changes"] if more > 0 else []
    return "\n".join(lines)


def _headline(given: Answer) -> str:
    order = given.order
    every = "every week" if order.every_weeks == 1 else f"every {order.every_weeks} weeks"
    what = f"{figure(order.quantity)} {order.unit} of {order.crop_text} {every}"
    if given.verdict is Verdict.YES:
        return f"Yes: {what}, {_from_to(order, order.first_week)}"
    if given.verdict is Verdict.LATER and given.since is not None:
        return f"Yes, from {day_words(given.since)} {given.since.year}: {what}"
    return f"No: {what} cannot be promised, {_from_to(order, order.first_week)}"


def _from_to(order: Order, first: date) -> str:
    last = monday_of(order.last_week) + timedelta(days=6)
    return f"{day_words(first)} {first.year} to {day_words(last)} {last.year}"
