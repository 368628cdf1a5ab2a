"""Orders that are short or doubtful, in words."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

from planner.document import OrderWeekDoc, PlanDoc
from planner.pagefacts import Context, context, isolated
from planner.pictures import Table
from planner.ranges import percent
from planner.words import figure, natural, plain, plural, quantity, spoken

DOUBTFUL = 0.8  # an order whose chance is under this is named; judgement
MOST_RUNS = 2  # of doubtful weeks that are named
UNLIKELY = 0.5  # one under this is warned of; judgement


def is_short(row: OrderWeekDoc) -> bool:
    """Whether an order of a week is short by more than its line tolerates."""
    return row["short"] > 0 and not row["within_tolerance"]


def crop_name(crop: str, names: Mapping[str, str]) -> str:
    """Return an order's crop as it is said: one crop, a list of them, or a group's own words."""
    if crop in names:
        return spoken(names[crop])
    pieces = [piece.strip() for piece in crop.replace(";", ",").replace("|", ",").split(",")]
    if len(pieces) > 1 and all(piece in names for piece in pieces):
        return " or ".join(spoken(names[piece]) for piece in pieces)
    return plain(crop)


def shortages(document: PlanDoc, today: date) -> tuple[str, ...]:
    """Say for each order line what is short beyond its tolerance, and when; worst line first."""
    at = context(document, today)
    lines: dict[str, list[OrderWeekDoc]] = defaultdict(list)
    for row in document["orders"]:
        if is_short(row):
            lines[row["line"]].append(row)
    worst = sorted(lines, key=lambda line: (-len(lines[line]), natural(line), line))
    return tuple(_shortage(at, document["crops"], lines[line]) for line in worst)


def _shortage(at: Context, names: Mapping[str, str], rows: Sequence[OrderWeekDoc]) -> str:
    first = rows[0]
    short, ordered = (sum(row[key] for row in rows) for key in ("short", "ordered"))
    weeks = at.line.weeks_text(at.line.week(date.fromisoformat(row["week"])) for row in rows)
    missing = _number(short, "kg", at) if first["unit"] == "kg" else figure(short)
    return (
        f"{isolated(plain(first['customer']))}, line {isolated(plain(first['line']))}: "
        f"{missing} of {_number(ordered, first['unit'], at)} "
        f"{isolated(crop_name(first['crop'], names))} missing in {weeks}{_why(rows)}."
    )


def _why(rows: Sequence[OrderWeekDoc]) -> str:
    """Say why, each reason once."""
    found = dict.fromkeys(plain(row["why"]) for row in rows if row["why"])
    return f": {'; '.join(found)}" if found else ""


def _number(value: float, unit: str, at: Context) -> str:
    return quantity(value, unit, at.units)


def doubts(document: PlanDoc, today: date) -> tuple[str, ...]:
    """Say for each order line in which weeks it is less sure than it should be; worst line first.

    What is short in the plan itself stands among the shortages.
    """
    at = context(document, today)
    lines = _less_sure(document, DOUBTFUL)
    least = {line: min(_chance(row) for row in rows) for line, rows in lines.items()}
    worst = sorted(lines, key=lambda line: (least[line], -len(lines[line]), natural(line), line))
    return tuple(_doubt(at, document["crops"], lines[line]) for line in worst)


def doubt_warning(document: PlanDoc, today: date) -> tuple[str, ...]:
    """Say how many lines are rather not served than served in a week, and which one soonest."""
    at = context(document, today)
    lines = _less_sure(document, UNLIKELY)
    if not lines:
        return ()
    rows = min(lines.values(), key=lambda rows: (rows[0]["week"], natural(rows[0]["line"])))
    first, one = rows[0], len(lines) == 1
    return (
        f"{'1 order line is' if one else f'{len(lines)} order lines are'} more likely missed than "
        f"met in some week. {'' if one else 'Soonest: '}{_line(first, document['crops'])}, "
        f"{percent(_chance(first))} likely in {_weeks(at, rows[:1])}. "
        f"Tell the {'customer' if one else 'customers'} early, or sow a spare batch.",
    )


def _less_sure(document: PlanDoc, chance: float) -> dict[str, list[OrderWeekDoc]]:
    """Return by line, soonest first, the weeks that are not short and are less likely than that."""
    lines: dict[str, list[OrderWeekDoc]] = defaultdict(list)
    for row in sorted(document["orders"], key=lambda row: row["week"]):
        if not is_short(row) and row["chance"] is not None and row["chance"] < chance:
            lines[row["line"]].append(row)
    return lines


def _chance(row: OrderWeekDoc) -> float:
    return 1.0 if row["chance"] is None else row["chance"]


def _doubt(at: Context, names: Mapping[str, str], rows: Sequence[OrderWeekDoc]) -> str:
    worst = min(rows, key=lambda row: (_chance(row), row["week"]))
    text = f"{_line(worst, names)}: {percent(_chance(worst))} likely in {_weeks(at, [worst])}"
    if len(rows) > 1:
        text += f"; under {DOUBTFUL:.0%} in {plural(len(rows), 'week')}: {_weeks(at, rows)}"
    return f"{text}."


def _line(row: OrderWeekDoc, names: Mapping[str, str]) -> str:
    return (
        f"{isolated(plain(row['customer']))}, line {isolated(plain(row['line']))}, "
        f"{isolated(crop_name(row['crop'], names))}"
    )


def _weeks(at: Context, rows: Sequence[OrderWeekDoc]) -> str:
    weeks = (at.line.week(date.fromisoformat(row["week"])) for row in rows)
    return at.line.weeks_text(weeks, most=MOST_RUNS)


def short_weeks_table(document: PlanDoc, today: date) -> Table:
    """Return every order of a week that is short, or rather missed than met, soonest first.

    Those that are short within their tolerance stand with their crop.
    """
    at = context(document, today)
    rows = sorted(
        (row for row in document["orders"] if is_short(row) or _chance(row) < UNLIKELY),
        key=lambda row: (row["week"], natural(row["line"]), row["line"]),
    )
    return at.table(
        f"Orders that are short, or whose chance is under {UNLIKELY:.0%}",
        ("Line", "Customer", "Crop", "Ordered", "Short", "Chance"),
        (
            (
                at.line.week(date.fromisoformat(row["week"])),
                (
                    plain(row["line"]),
                    plain(row["customer"]),
                    crop_name(row["crop"], document["crops"]),
                    _number(row["ordered"], row["unit"], at),
                    _number(row["short"], row["unit"], at) if row["short"] > 0 else "",
                    "" if row["chance"] is None else percent(row["chance"]),
                ),
            )
            for row in rows
        ),
    )
