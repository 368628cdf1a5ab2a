"""Facts that several of the page's pictures share: units, weeks, the nitrate band in words."""

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.document import PlanDoc
from planner.pictures import Table, TimeLine
from planner.words import GALLON_M3, LB_KG, Units, figure, plain, plural, spoken

_OTHER_NAMES = re.compile(r" ?\([^)]*\)| / [^,]*")  # what stands in brackets or after a slash
_FRACTIONS = {
    "half": "½",
    "a third": "⅓",
    "two thirds": "⅔",
    "a quarter": "¼",
    "three quarters": "¾",
}
_SHARE_WORDS = re.compile(rf"\(({'|'.join(_FRACTIONS)})(?=\)| each\))")
_TURNS = {"R", "AL", "AN", "RLE", "RLO", "RLI", "LRE", "LRO"}


def mass(kg: float, units: Units) -> float:
    """Return a weight as a number of the shown unit. [kg] to lb or kg"""
    return kg / LB_KG if units == "us" else kg


def mass_unit(units: Units) -> str:
    """Return the unit in which weights are charted."""
    return "lb" if units == "us" else "kg"


def isolated(name: str) -> str:
    """Return a name that may run right to left so that the words around it keep their order.

    Such a name stands between U+2068 and U+2069, as Unicode Standard Annex #9 has it.
    """
    turns = any(unicodedata.bidirectional(sign) in _TURNS for sign in name)
    return f"\u2068{name}\u2069" if turns else name


def brief_names(names: Mapping[str, str]) -> dict[str, str]:
    """Return tables' names by id as they are said in little room, without their other names.

    `cilantro / coriander leaf` is `cilantro`, `lettuce, summer crisp (Batavian)` is `summer crisp
    lettuce`; a name that would become another's stays whole.
    """
    short = {id: spoken(_OTHER_NAMES.sub("", plain(name))) for id, name in names.items()}
    counts = Counter(short.values())
    return {
        id: short[id] if short[id] and counts[short[id]] == 1 else spoken(name) or id
        for id, name in names.items()
    }


def brief_shares(where: str) -> str:
    """Return places in words with their shares as fractions: `raft 3 (half)` is `raft 3 (½)`."""
    return _SHARE_WORDS.sub(lambda found: f"({_FRACTIONS[found[1]]}", where)


def units_of(document: PlanDoc) -> Units:
    """Return the units that the grower reads."""
    return "us" if document["units"] == "us" else "metric"


def line_of(document: PlanDoc) -> TimeLine:
    """Return the document's horizon as a line."""
    horizon = document["horizon"]
    return TimeLine(start=date.fromisoformat(horizon["start"]), weeks=horizon["weeks"])


def density(kg_m3: float, units: Units) -> str:
    """Return a stocking density in words. [kg m⁻³]"""
    if units == "us":
        return f"{figure(kg_m3 / LB_KG * GALLON_M3)} lb/gal"
    return f"{figure(kg_m3)} kg/m³"


def outside_band(document: PlanDoc) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the weeks whose nitrate-N ends under the band, and those over it, as indices."""
    low, high = document["water"]["band_n_mg_l"]
    under = tuple(
        i for i, week in enumerate(document["weeks"]) if week["nitrate_n_mg_l"] < low - 5e-4
    )
    over = tuple(
        i for i, week in enumerate(document["weeks"]) if week["nitrate_n_mg_l"] > high + 5e-4
    )
    return under, over


def band_finding(document: PlanDoc) -> str:
    """Say in a sentence when nitrate leaves its band."""
    line = line_of(document)
    low, high = document["water"]["band_n_mg_l"]
    band = f"{figure(low)} to {figure(high)} mg/L nitrate-N"
    under, over = outside_band(document)
    if not under and not over:
        return f"Nitrate stays within {band} in all {plural(len(document['weeks']), 'week')}."
    said = []
    if under:
        said.append(f"under it in {line.weeks_text(under)}")
    if over:
        said.append(f"over it in {line.weeks_text(over)}")
    count = plural(len(under) + len(over), "week")
    return f"Nitrate is outside {band} in {count}: {'; '.join(said)}."


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What every figure needs: the line, the printed day, the units."""

    line: TimeLine
    today: date
    units: Units

    def week_head(self, week: int) -> str:
        """Return a week as a table's row begins: `9 (1 Mar)`."""
        monday = self.line.start + timedelta(weeks=week)
        return f"{monday.isocalendar().week} ({self.line.day_text(monday)})"

    def table(
        self, caption: str, head: Sequence[str], rows: Iterable[tuple[int, Sequence[str]]]
    ) -> Table:
        """Return a table of weeks: index and cells of each row, under `head`."""
        return Table(
            caption=caption,
            head=("Week (Monday)", *head),
            rows=tuple((self.week_head(week), *row) for week, row in rows),
        )


def context(document: PlanDoc, today: date) -> Context:
    """Return what the figures of a document need."""
    return Context(line=line_of(document), today=today, units=units_of(document))
