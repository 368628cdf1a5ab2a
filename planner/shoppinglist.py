"""The page's shopping list, and what every list to take along is made of."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from planner.document import PlanDoc
from planner.pagefacts import Context, brief_names, context, isolated
from planner.pictures import MONTHS
from planner.purchases import BAG_KG, Purchase, purchases
from planner.ranges import weight_range
from planner.tables import Crop
from planner.takerows import ON_ORDER, PERMIT
from planner.words import day_words, figure, natural, plain, plural, spoken, weight


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


def shopping_list(document: PlanDoc, *, crops: Mapping[str, Crop], today: date) -> TakeList:
    """Return what to buy; a crop without a row in `crops` (by id) costs the number of its seeds."""
    return _Teller(document, today).shopping(purchases(document, crops))


class _Teller:
    """Puts one document's purchases into words."""

    def __init__(self, document: PlanDoc, today: date) -> None:
        self._names = brief_names(document["crops"])
        self._at: Context = context(document, today)

    def _name(self, id: str) -> str:
        return isolated(self._names.get(id) or spoken(id))

    def _day_text(self, day: date) -> str:
        return self._at.line.day_text(day)

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
                _order_by(row),
                self._name(row.what),
                figure(row.number),
                weight(row.mean_g / 1000, self._at.units) if row.mean_g else "",
                isolated(plain(row.tank)),
            )
            for row in rows
        )
        return TakeTable(
            caption=f"Fingerlings: {PERMIT}",
            head=("Stocked on", "Order by", "Fish", "Count", "Weight each", "Tank"),
            groups=(Group(heading="", rows=found),),
        )

    def _likely(self, row: Purchase) -> str:
        return weight_range(row.likely_kg, self._at.units) if row.likely_kg else ""

    def _feed(self, rows: Sequence[Purchase]) -> TakeTable:
        bag = weight(BAG_KG, self._at.units)
        foretold = any(row.likely_kg for row in rows)
        found = tuple(
            (
                f"{MONTHS[row.day.month - 1]} {row.day.year}",
                self._name(row.what),
                weight(row.number, self._at.units),
                *((self._likely(row),) if foretold else ()),
                str(row.bags),
                f"{weight(row.first_week_kg or 0.0, self._at.units)} from "
                f"{self._day_text(row.day)}",
            )
            for row in rows
        )
        likely = ("Likely",) if foretold else ()
        return TakeTable(
            caption="Feed by month; a week counts where its Monday is",
            head=("Month", "Fish", "Feed", *likely, f"Bags of {bag}", "First week"),
            groups=(Group(heading="", rows=found),),
        )


def _order_by(row: Purchase) -> str:
    """Return the last day to order fish, or that they are ordered; blank where it is not told."""
    if row.order_by is None:
        return ON_ORDER if row.ordered else ""
    return f"{day_words(row.order_by)} {row.order_by.year}"


def _quarter(day: date) -> date:
    """Return the first day of the quarter."""
    return date(day.year, day.month - (day.month - 1) % 3, 1)
