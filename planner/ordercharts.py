"""Harvest against orders: a small picture for each ordered crop, and shortages in words."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from planner.document import OrderWeekDoc, PlanDoc
from planner.pagefacts import Context, context, isolated, mass, mass_unit
from planner.pictures import (
    Curve,
    Figure,
    Scale,
    Table,
    columns_path,
    frame,
    steps_path,
    week_marks,
)
from planner.words import figure, natural, plain, plural, quantity, spoken, weight

SMALL_PX = 70.0
DOUBTFUL = 0.8  # an order whose chance is under this is named; judgement


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Demand:
    """The orders of one crop, list or group, and the crops that serve it."""

    crop: str
    rows: tuple[OrderWeekDoc, ...]
    served_by: frozenset[str]

    @property
    def short_weeks(self) -> tuple[str, ...]:
        return tuple(sorted({row["week"] for row in self.rows if is_short(row)}))

    @property
    def short_kg(self) -> float:
        return sum(row["short"] * row["kg_per_unit"] for row in self.rows if is_short(row))


def _demands(document: PlanDoc) -> list[_Demand]:
    """Return demands, shortest first."""
    crop_of = {batch["id"]: batch["crop"] for batch in document["batches"]}
    crop_of |= {cohort["id"]: cohort["species"] for cohort in document["cohorts"]}
    rows: dict[str, list[OrderWeekDoc]] = defaultdict(list)
    asked: dict[str, str] = {}
    served: dict[str, set[str]] = defaultdict(set)
    for row in document["orders"]:
        rows[row["crop"]].append(row)
        asked[row["line"]] = row["crop"]
    for delivery in document["deliveries"]:
        if delivery["line"] in asked and delivery["batch"] in crop_of:
            served[asked[delivery["line"]]].add(crop_of[delivery["batch"]])
    demands = [
        _Demand(
            crop=crop,
            rows=tuple(rows[crop]),
            served_by=frozenset({crop} if crop in document["crops"] else served[crop]),
        )
        for crop in rows
    ]
    return sorted(
        demands, key=lambda d: (-len(d.short_weeks), -d.short_kg, natural(d.crop), d.crop)
    )


def order_figures(document: PlanDoc, today: date) -> tuple[Figure, ...]:
    """Draw what is cut against what is ordered, by week, for each ordered crop, shortest first.

    An order of a list or group is drawn against every crop that the plan delivers to it.
    """
    at = context(document, today)
    return tuple(_small(at, document, demand) for demand in _demands(document))


def _weekly(at: Context, rows: Iterable[tuple[str, float]]) -> list[float]:
    values = [0.0] * at.line.weeks
    for monday, value in rows:
        week = at.line.week(date.fromisoformat(monday))
        if 0 <= week < at.line.weeks:
            values[week] += value
    return values


def _small(at: Context, document: PlanDoc, demand: _Demand) -> Figure:
    unit = mass_unit(at.units)
    ordered = _weekly(
        at,
        ((r["week"], mass(r["ordered"] * r["kg_per_unit"], at.units)) for r in demand.rows),
    )
    planned = _weekly(
        at,
        ((r["week"], mass(r["planned"] * r["kg_per_unit"], at.units)) for r in demand.rows),
    )
    cut = _weekly(
        at,
        (
            (row["week"], mass(row["cut_kg"], at.units))
            for row in document["produce"]
            if row["crop"] in demand.served_by
        ),
    )
    short = [at.line.week(date.fromisoformat(week)) for week in demand.short_weeks]
    scale = Scale.over([*ordered, *cut], SMALL_PX)
    name = crop_name(demand.crop, document["crops"])
    finding = _finding(at, demand, short)
    chances = _chances(at, demand.rows)
    busy = {
        i: (
            figure(cut[i]),
            figure(ordered[i]),
            figure(planned[i]),
            f"{chances[i]:.0%}" if i in chances else "",
            "▼ short" if i in short else "",
        )
        for i in range(at.line.weeks)
        if ordered[i] or planned[i] or cut[i]
    }
    return Figure(
        name="",
        heading=name,
        finding=finding,
        key=(),
        frames=(
            frame(
                at.line,
                scale,
                (
                    Curve(kind="column", path=columns_path(cut, scale)),
                    Curve(kind="ordered", path=steps_path([v or None for v in ordered], scale)),
                ),
                heading=f"{unit} a week",
                finding=f"{name}: {finding}",
                today=at.today,
                marks=tuple(week_marks(at.line, short, "▼", "under", SMALL_PX - 2)),
            ),
        ),
        table=_weekly_table(
            at,
            f"{name} by week, {unit}",
            ("Cut", "Ordered", "Planned for orders", "Chance", "Note"),
            busy,
        ),
    )


def _weekly_table(
    at: Context, caption: str, head: Sequence[str], busy: Mapping[int, Sequence[str]]
) -> Table:
    """Return cells by week, in order: weeks on end that are alike in one row, no empty column."""
    runs: list[tuple[int, int]] = []
    for week, cells in busy.items():
        if runs and runs[-1][1] == week - 1 and cells == busy[week - 1]:
            runs[-1] = (runs[-1][0], week)
        else:
            runs.append((week, week))
    kept = [i for i in range(len(head)) if any(cells[i] for cells in busy.values())]
    return Table(
        caption=caption,
        head=("Week (Monday)", *(head[i] for i in kept)),
        rows=tuple(
            (_weeks_head(at, first, last), *(busy[first][i] for i in kept)) for first, last in runs
        ),
    )


def _weeks_head(at: Context, first: int, last: int) -> str:
    """Return weeks on end as a table's row begins: `9-11 (1 Mar to 15 Mar)`."""
    if first == last:
        return at.week_head(first)
    opens, closes = (at.week_head(week).rstrip(")").split(" (") for week in (first, last))
    return f"{opens[0]}-{closes[0]} ({opens[1]} to {closes[1]})"


def _chances(at: Context, rows: Iterable[OrderWeekDoc]) -> dict[int, float]:
    """Return the least chance of any order of a week, by week."""
    least: dict[int, float] = {}
    for row in rows:
        if row["chance"] is not None:
            week = at.line.week(date.fromisoformat(row["week"]))
            least[week] = min(row["chance"], least.get(week, 1.0))
    return least


def _finding(at: Context, demand: _Demand, short: Sequence[int]) -> str:
    tolerated = {r["week"] for r in demand.rows if r["short"] > 0} - set(demand.short_weeks)
    if short:
        text = f"short in {plural(len(short), 'week')}: {at.line.weeks_text(short)}"
        text += f"; {weight(demand.short_kg, at.units)} in all"
    else:
        text = "every order is planned"
    if tolerated:
        text += f"; a little less in {plural(len(tolerated), 'week')}, within tolerance"
    chances = _chances(at, demand.rows)
    if chances:
        week = min(chances, key=lambda w: (chances[w], w))
        text += f"; least sure: {at.line.weeks_text([week])}, {chances[week]:.0%}"
    return f"{text[0].upper()}{text[1:]}."


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


def short_weeks_table(document: PlanDoc, today: date) -> Table:
    """Return every order of a week that is short or doubtful, soonest first."""
    at = context(document, today)
    rows = sorted(
        (
            row
            for row in document["orders"]
            if row["short"] > 0 or (row["chance"] is not None and row["chance"] < DOUBTFUL)
        ),
        key=lambda row: (row["week"], natural(row["line"]), row["line"]),
    )
    return at.table(
        f"Orders that are short, or whose chance is under {DOUBTFUL:.0%}",
        ("Line", "Customer", "Crop", "Ordered", "Short", "Chance", "Note"),
        (
            (
                at.line.week(date.fromisoformat(row["week"])),
                (
                    plain(row["line"]),
                    plain(row["customer"]),
                    crop_name(row["crop"], document["crops"]),
                    _number(row["ordered"], row["unit"], at),
                    _number(row["short"], row["unit"], at) if row["short"] > 0 else "",
                    "" if row["chance"] is None else f"{row['chance']:.0%}",
                    "within tolerance" if row["short"] > 0 and row["within_tolerance"] else "",
                ),
            )
            for row in rows
        ),
    )


def produce_table(document: PlanDoc, today: date) -> Table:
    """Return the horizon's totals by crop: cut, and where it goes."""
    at = context(document, today)
    kinds = ("cut_kg", "orders_kg", "outlets_kg", "wasted_kg")
    totals: dict[str, dict[str, float]] = defaultdict(lambda: dict.fromkeys(kinds, 0.0))
    for row in document["produce"]:
        for kind in kinds:
            totals[row["crop"]][kind] += row[kind]  # type: ignore[literal-required]
    return Table(
        caption=f"All {plural(at.line.weeks, 'week')} by crop, {mass_unit(at.units)}",
        head=("Crop", "Cut", "To orders", "To outlets", "Wasted"),
        rows=tuple(
            (
                crop_name(crop, document["crops"]),
                *(figure(mass(totals[crop][kind], at.units)) for kind in kinds),
            )
            for crop in sorted(totals, key=lambda c: (-totals[c]["cut_kg"], c))
        ),
    )
