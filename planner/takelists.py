"""The page's lists to take along: sow, set out, harvest, fish and shop, in the grower's words.

Lists that grow with every week hold two months on the page; the files of tables hold all of them.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import TypeVar

from planner.document import PlanDoc
from planner.horizon import monday_of
from planner.ordertexts import DOUBTFUL
from planner.pagefacts import Context, brief_names, brief_shares, context, isolated
from planner.ranges import percent, weight_range, widest
from planner.shoppinglist import Group, TakeList, TakeTable, shopping_list
from planner.tables import Crop
from planner.takerows import (
    ON_ORDER,
    PERMIT,
    TRAY_CELLS,
    Delivery,
    FishDay,
    Sowing,
    fish_days,
    harvests,
    settings_out,
    sowings,
)
from planner.words import (
    day_words,
    figure,
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
        shopping_list(document, crops=crops, today=today),
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

        likely = ""
        if self._document["forecast"] is not None:
            likely = f" A line less than {DOUBTFUL:.0%} likely to be served says so."
        return self._list(
            "harvest-list",
            "Harvest list by customer",
            ("Customer", "Line, quantity, crop, from where (batch)"),
            self._by_week(rows, lambda row: row.week, words),
            "Batches are named without their crop, and not where they give less than "
            f"{LEAST_SHARE:.0%}. Cooler: cut in an earlier week.{likely}",
        )

    def _line(self, rows: Sequence[Delivery]) -> Iterator[str]:
        """Return an item for each crop that a line gets; the last says what is short."""
        line = isolated(plain(rows[0].line))
        short = next((row for row in rows if row.short), None)
        lack = f" (short {self._number(short.short, short.unit)})" if short else ""
        chance = rows[0].chance
        if not short and chance is not None and chance < DOUBTFUL:
            lack = f" ({percent(chance)} likely)"
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

    def _weights(self, same: Sequence[FishDay]) -> str:
        """Return what the fish weigh together, and what they may weigh in any of alike tanks."""
        words = weight(same[0].kg, self._at.units)
        kg = widest(row.share.times(row.kg) for row in same if row.share is not None)
        return words if kg is None else f"{words}, likely {weight_range(kg, self._at.units)}"

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
            self._weights(same) + each if row.kg else "",
            _bought(row) if row.stocked else serves if row.saleable else "not for sale",
        )


def _bought(row: FishDay) -> str:
    return f"{ON_ORDER}, check permit before they come" if row.ordered else PERMIT
