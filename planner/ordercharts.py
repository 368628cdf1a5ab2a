"""Harvest against orders: a small picture for each ordered crop, and where all of it goes."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from planner.document import OrderWeekDoc, PlanDoc
from planner.ordertexts import crop_name, is_short
from planner.pagefacts import Context, context, mass, mass_unit
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
from planner.ranges import Range, percent, span_words, whiskers_path
from planner.words import figure, natural, plural, weight

SMALL_PX = 70.0


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
    likely = _ranges(at, document, demand)
    short = [at.line.week(date.fromisoformat(week)) for week in demand.short_weeks]
    scale = Scale.over([*ordered, *cut, *(one.high for one in likely if one)], SMALL_PX)
    name = crop_name(demand.crop, document["crops"])
    finding = _finding(at, demand, short)
    chances = _chances(at, demand.rows)
    weeks = [i for i in range(at.line.weeks) if ordered[i] or planned[i] or cut[i] or likely[i]]
    amounts = {figure(ordered[i]) for i in weeks}
    every = f", {amounts.pop()} ordered in each" if len(amounts) == 1 else ""
    busy = {
        i: (
            figure(cut[i]),
            _range_words(likely[i]),
            "" if every else figure(ordered[i]),
            _note(chances.get(i), ordered[i], planned[i], short=i in short),
        )
        for i in weeks
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
                    Curve(kind="whisker", path=whiskers_path(likely, scale)),
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
            f"{name} by week, {unit}{every}",
            ("Cut", "Likely cut", "Ordered", "Chance and note" if chances else "Note"),
            busy,
        ),
    )


def _ranges(at: Context, document: PlanDoc, demand: _Demand) -> list[Range | None]:
    """Return what may be cut for a demand by week, in the shown unit; None where nothing is.

    Where several crops serve it their ranges are added up, as if all of them went one way.
    """
    forecast = document["forecast"]
    rows = [] if forecast is None else forecast["produce"]
    served = [row for row in rows if row["crop"] in demand.served_by]
    lows = _weekly(at, ((row["week"], mass(row["kg_p10"], at.units)) for row in served))
    highs = _weekly(at, ((row["week"], mass(row["kg_p90"], at.units)) for row in served))
    return [Range(low, high) if high > 0 else None for low, high in zip(lows, highs, strict=True)]


def _note(chance: float | None, ordered: float, planned: float, *, short: bool) -> str:
    """Say how likely a week's orders are, and what is planned where it is not what they ask for."""
    words = (
        "" if chance is None else percent(chance),
        "▼ short" if short else "",
        f"{figure(planned)} planned" if figure(planned) != figure(ordered) else "",
    )
    return ", ".join(filter(None, words))


def _range_words(likely: Range | None) -> str:
    return "" if likely is None else span_words(figure(likely.low), figure(likely.high))


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
        text += f"; least sure: {at.line.weeks_text([week])}, {percent(chances[week])}"
    return f"{text[0].upper()}{text[1:]}."


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
