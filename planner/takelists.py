"""The page's lists to take along: sow, set out, harvest, fish and shop, in the grower's words.

Lists that grow with every week hold two months on the page; the files of tables hold all of them.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import TypeVar

from planner.document import PlanDoc
from planner.horizon import monday_of
from planner.pagefacts import Context, brief_names, brief_shares, context, isolated
from planner.pictures import MONTHS
from planner.tables import Crop
from planner.takerows import (
    BAG_KG,
    PERMIT,
    TRAY_CELLS,
    Delivery,
    FishDay,
    Purchase,
    Sowing,
    fish_days,
    harvests,
    purchases,
    settings_out,
    sowings,
)
from planner.words import (
    day_words,
    figure,
    natural,
    numbered,
    places_text,
    plain,
    plural,
    quantity,
    spoken,
    weight,
)

WEEKS_SHOWN = 8
LEAST_SHARE = 0.05  # of what a line gets of a crop; a batch that gives less is not named
FILES = {  # by list, in the plan's folder of tables
    "sowing-list": "sowing.csv",
    "set-out-list": "setting_out.csv",
    "harvest-list": "harvest.csv",
}
_Dated = TypeVar("_Dated")


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Rows under a heading of their own, such as a week; the heading may be empty."""

    heading: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeTable:
    """A table whose rows stand in groups; each row's first cell is its heading."""

    caption: str
    head: tuple[str, ...]
    groups: tuple[Group, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeList:
    """One list: its anchor, heading and count, a note that may be empty, and its tables."""

    name: str
    heading: str
    count: str
    note: str
    tables: tuple[TakeTable, ...]


def take_lists(
    document: PlanDoc, *, crops: Mapping[str, Crop], today: date, weeks: int = WEEKS_SHOWN
) -> tuple[TakeList, ...]:
    """Return the page's lists, from the week of `today` or the plan's first on.

    Parameters
    ----------
    crops
        Table rows by id; one that is missing costs the number of its seeds.
    weeks
        How many weeks of sowing, setting out and harvest are shown.
    """
    teller = _Teller(document, today, weeks)
    return (
        teller.sowing(sowings(document, crops)),
        teller.setting_out(),
        teller.harvest(harvests(document)),
        teller.fish(fish_days(document)),
        teller.shopping(purchases(document, crops)),
    )


class _Teller:
    """Puts one document's rows into words."""

    def __init__(self, document: PlanDoc, today: date, weeks: int) -> None:
        self._document = document
        self._names = brief_names(document["crops"])
        self._at: Context = context(document, today)
        self._first = max(monday_of(today), self._at.line.start)
        self._end = self._first + timedelta(weeks=weeks)
        self._span = f"{plural(weeks, 'week')} from {self._day_text(self._first)}"
        self._parts_of = {plain(zone["name"]): zone["parts"] for zone in document["zones"]}

    # Words

    def _name(self, id: str) -> str:
        return isolated(self._names.get(id) or spoken(id))

    def _ordered_name(self, text: str) -> str:
        """Return an order's crop: one, a list of them, or a group's own words."""
        return " or ".join(self._name(piece.strip()) for piece in re.split("[;,|]", text))

    def _tail(self, batch: str, crop: str) -> str:
        """Return a batch's name without its crop, which stands beside it."""
        return isolated(plain(batch.removeprefix(f"{crop}-")))

    def _day_text(self, day: date) -> str:
        return self._at.line.day_text(day)

    def _number(self, value: float, unit: str) -> str:
        """Return a number of an order's unit, without the words for pieces."""
        return weight(value, self._at.units) if unit == "kg" else figure(value)

    def _by_week(
        self,
        rows: Iterable[_Dated],
        day: Callable[[_Dated], date],
        words: Callable[[Sequence[_Dated]], Iterable[tuple[str, ...]]],
    ) -> tuple[Group, ...]:
        shown = [row for row in rows if self._first <= day(row) < self._end]
        return tuple(
            Group(
                heading=f"Week {self._at.week_head(self._at.line.week(monday))}",
                rows=tuple(words(list(week))),
            )
            for monday, week in groupby(shown, key=lambda row: monday_of(day(row)))
        )

    def _list(
        self, name: str, heading: str, head: tuple[str, ...], groups: tuple[Group, ...], note: str
    ) -> TakeList:
        """Return a list by week, whose file is named in its note."""
        rows = sum(len(group.rows) for group in groups)
        table = TakeTable(caption=f"{heading}, {self._span}", head=head, groups=groups)
        return TakeList(
            name=name,
            heading=heading,
            count=f"{plural(rows, 'row')}, {self._span}",
            note=f"All weeks are in tables/{FILES[name]}. {note}".strip(),
            tables=(table,) if groups else (),
        )

    # Crops

    def sowing(self, rows: Sequence[Sowing]) -> TakeList:
        def words(week: Sequence[Sowing]) -> Iterator[tuple[str, ...]]:
            for row in week:
                count, unit = row.amount
                yield (
                    day_words(row.day),
                    self._name(row.crop),
                    plural(count, unit) + ("" if row.started_from == "seed" else ", not seed"),
                    figure(row.cells) if row.set_out else "",
                    str(row.trays) if row.set_out else "",
                    isolated(plain(row.zone)),
                    str(row.set_out.isocalendar().week) if row.set_out else "sown in place",
                    self._tail(row.batch, row.crop),
                )

        trays = f"Trays of {TRAY_CELLS}"
        return self._list(
            "sowing-list",
            "Sowing list",
            ("Day", "Crop", "Start with", "Cells", trays, "For", "Set out, week", "Batch"),
            self._by_week(rows, lambda row: row.day, words),
            "Cells and seeds reckon with those that do not come up.",
        )

    def setting_out(self) -> TakeList:
        groups = self._by_week(
            settings_out(self._document),
            lambda row: row.day,
            lambda week: (
                (
                    day_words(row.day),
                    self._name(row.crop),
                    plural(row.plants, "plant"),
                    brief_shares(places_text(row.places, self._parts_of)) or plain(row.zone),
                    self._tail(row.batch, row.crop),
                )
                for row in week
            ),
        )
        head = ("Day", "Crop", "Plants", "Places", "Batch")
        return self._list("set-out-list", "Set-out list", head, groups, "")

    # Deliveries and fish

    def harvest(self, rows: Sequence[Delivery]) -> TakeList:
        def words(week: Sequence[Delivery]) -> Iterator[tuple[str, ...]]:
            for customer, theirs in groupby(week, key=lambda row: row.customer):
                lines = groupby(theirs, key=lambda row: row.line)
                items = (item for _, line in lines for item in self._line(list(line)))
                yield isolated(plain(customer)), ";\n".join(items)

        return self._list(
            "harvest-list",
            "Harvest list by customer",
            ("Customer", "Line, quantity, crop, from where (batch)"),
            self._by_week(rows, lambda row: row.week, words),
            "Batches are named without their crop, and not where they give less than "
            f"{LEAST_SHARE:.0%}. Cooler: cut in an earlier week.",
        )

    def _line(self, rows: Sequence[Delivery]) -> Iterator[str]:
        """Return an item for each crop that a line gets; the last says what is short."""
        line = isolated(plain(rows[0].line))
        short = next((row for row in rows if row.short), None)
        lack = f" (short {self._number(short.short, short.unit)})" if short else ""
        crops = [
            list(same) for _, same in groupby((r for r in rows if r.batch), key=lambda r: r.crop)
        ]
        if not crops and short:
            yield f"{line} no {self._ordered_name(short.crop)}{lack}"
        for same in crops:
            total = sum(row.quantity for row in same)
            named = [row for row in same if row.quantity >= LEAST_SHARE * total]
            amount = quantity(total, same[0].unit, self._at.units)
            text = f"{line} {amount} {self._name(same[0].crop)}: "
            text += ", ".join(self._source(row, alone=len(named) == 1) for row in named)
            yield text + (lack if same is crops[-1] else "")

    def _source(self, row: Delivery, *, alone: bool) -> str:
        where = "cooler" if row.from_cooler else numbered(row.places)
        text = f"{where} ({self._tail(row.batch, row.crop)})"
        return text if alone else f"{self._number(row.quantity, row.unit)} {text}"

    def fish(self, all_rows: Sequence[FishDay]) -> TakeList:
        rows = [row for row in all_rows if row.day >= self._first]
        table = TakeTable(
            caption=f"Fish list from {self._day_text(self._first)}",
            head=("Day", "What", "Fish", "Tank", "Count", "Mean weight", "Weight", "For"),
            groups=(Group(heading="", rows=tuple(self._fish_rows(rows))),),
        )
        stockings = sum(row.stocked for row in rows)
        return TakeList(
            name="fish-list",
            heading="Fish list",
            count=f"{plural(stockings, 'stocking')}, {plural(len(rows) - stockings, 'taking')}",
            note="",
            tables=(table,) if rows else (),
        )

    def _fish_rows(self, rows: Sequence[FishDay]) -> Iterator[tuple[str, ...]]:
        """Return a row for every day and tank; tanks that are alike share one."""
        alike: dict[tuple[object, ...], list[FishDay]] = defaultdict(list)
        for row in rows:
            key = (row.day, row.stocked, row.species, row.count, row.saleable)
            alike[*key, round(row.mean_g), round(row.kg, 1)].append(row)
        return (self._fish_row(same) for same in alike.values())

    def _fish_row(self, same: Sequence[FishDay]) -> tuple[str, ...]:
        row = same[0]
        sums: dict[tuple[str, str, str], float] = defaultdict(float)
        for one in (one for fish in same for one in fish.serves):
            sums[one.customer, one.line, one.unit] += one.quantity
        serves = ";\n".join(
            f"{isolated(plain(customer))} {isolated(plain(line))} "
            f"{quantity(amount, unit, self._at.units)}"
            for (customer, line, unit), amount in sums.items()
        )
        each = " each" if len(same) > 1 else ""
        return (
            day_words(row.day) + ("" if row.day.year == self._first.year else f" {row.day.year}"),
            "stock" if row.stocked else "take",
            self._name(row.species),
            isolated(plain(row.tank)) if len(same) == 1 else numbered(fish.tank for fish in same),
            figure(row.count) + each,
            weight(row.mean_g / 1000, self._at.units) if row.mean_g else "",
            weight(row.kg, self._at.units) + each if row.kg else "",
            PERMIT if row.stocked else serves if row.saleable else "not for sale",
        )

    # Shopping

    def shopping(self, rows: Sequence[Purchase]) -> TakeList:
        starts = [row for row in rows if row.kind not in ("fingerlings", "feed")]
        tables = (
            self._starts(starts),
            self._fingerlings([row for row in rows if row.kind == "fingerlings"]),
            self._feed([row for row in rows if row.kind == "feed"]),
        )
        shown = tuple(table for table in tables if table.groups[0].rows)
        bag = weight(BAG_KG, self._at.units)
        return TakeList(
            name="shopping-list",
            heading="Shopping list",
            count="seeds and plants, fingerlings, feed" if shown else "none",
            note=f"Bags of {bag} are common practice; what is left of one is fed in the months "
            "after.",
            tables=shown,
        )

    def _starts(self, rows: Sequence[Purchase]) -> TakeTable:
        quarters = sorted({_quarter(row.day) for row in rows})
        crops: dict[tuple[str, str], list[Purchase]] = defaultdict(list)
        for row in rows:
            crops[row.what, row.unit].append(row)

        def number(same: Iterable[Purchase], quarter: date) -> str:
            total = sum(row.number for row in same if _quarter(row.day) == quarter)
            return f"{total:,.0f}" if total else ""

        found = [
            (
                self._name(crop),
                plural(sum(row.number for row in same), unit),
                self._day_text(min(row.day for row in same)),
                *(number(same, quarter) for quarter in quarters),
            )
            for (crop, unit), same in crops.items()
        ]
        return TakeTable(
            caption="Seeds and plants, by the quarter in which they are needed",
            head=(
                "Crop",
                "In all",
                "First on",
                *(f"{MONTHS[q.month - 1]}-{MONTHS[q.month + 1]} {q.year}" for q in quarters),
            ),
            groups=(Group(heading="", rows=tuple(sorted(found, key=lambda r: natural(r[0])))),),
        )

    def _fingerlings(self, rows: Sequence[Purchase]) -> TakeTable:
        found = tuple(
            (
                f"{day_words(row.day)} {row.day.year}",
                self._name(row.what),
                figure(row.number),
                weight(row.mean_g / 1000, self._at.units) if row.mean_g else "",
                isolated(plain(row.tank)),
            )
            for row in rows
        )
        return TakeTable(
            caption=f"Fingerlings: {PERMIT}",
            head=("Stocked on", "Fish", "Count", "Weight each", "Tank"),
            groups=(Group(heading="", rows=found),),
        )

    def _feed(self, rows: Sequence[Purchase]) -> TakeTable:
        bag = weight(BAG_KG, self._at.units)
        found = tuple(
            (
                f"{MONTHS[row.day.month - 1]} {row.day.year}",
                self._name(row.what),
                weight(row.number, self._at.units),
                str(row.bags),
                f"{weight(row.first_week_kg or 0.0, self._at.units)} from "
                f"{self._day_text(row.day)}",
            )
            for row in rows
        )
        return TakeTable(
            caption="Feed by month; a week counts where its Monday is",
            head=("Month", "Fish", "Feed", f"Bags of {bag}", "First week"),
            groups=(Group(heading="", rows=found),),
        )


def _quarter(day: date) -> date:
    """Return the first day of the quarter."""
    return date(day.year, day.month - (day.month - 1) % 3, 1)
