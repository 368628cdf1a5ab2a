"""The forecast's ranges and chances in words, and as paths of pictures.

A range runs from p10 to p90: of ten drawn seasons one comes to less and one to more.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from planner.document import CohortRangeDoc, PlanDoc, WeekRangeDoc
from planner.pictures import MONTHS, Scale, line_path, number
from planner.words import Units, plural, weight

RANGE_WORDS = "where eight of ten drawn seasons lie"  # a picture's field or line from p10 to p90


class Range(NamedTuple):
    """The p10 and the p90 of a quantity."""

    low: float
    high: float

    def times(self, factor: float) -> "Range":
        """Return the range of `factor` times the quantity."""
        return Range(self.low * factor, self.high * factor)


def span_words(low: str, high: str) -> str:
    """Join two figures: `1.2 kg` and `1.8 kg` is `1.2 to 1.8 kg`; alike ones are one."""
    if low == high:
        return high
    if low.split(" ")[0] == "0":
        return f"up to {high}"
    figure, _, unit = low.partition(" ")
    return f"{figure if high.endswith(f' {unit}') else low} to {high}"


def weight_range(kg: Range, units: Units) -> str:
    """Return a range of weights in words. [kg]"""
    return span_words(weight(kg.low, units), weight(kg.high, units))


def quantity_range(amount: Range, unit: str, units: Units) -> str:
    """Return a range of an order's unit: weights for `kg`, else counts such as `14 to 20 heads`."""
    if unit == "kg":
        return weight_range(amount, units)
    low, high = (round(value) for value in amount)
    words = plural(high, unit)
    if low == high:
        return words
    return f"up to {words}" if low == 0 else f"{low:,} to {words}"


def days_range(first: date, last: date | None) -> str:
    """Return days from first to last, such as `3 to 9 Mar`; None: nobody knows how late."""
    begins = f"{first.day} {MONTHS[first.month - 1]}"
    if last is None:
        return f"{begins} or later"
    ends = f"{last.day} {MONTHS[last.month - 1]}"
    if (first.year, first.month) == (last.year, last.month):
        return ends if first == last else f"{first.day} to {ends}"
    return f"{begins} to {ends}"


def percent(chance: float) -> str:
    """Return a chance in per cent; draws can show neither certainty nor the impossible."""
    if chance > 0.99:
        return "over 99%"
    return "under 1%" if chance < 0.01 else f"{chance:.0%}"


def week_ranges(document: PlanDoc) -> dict[str, WeekRangeDoc]:
    """Return what the forecast says of nitrate and feed by week; nothing without a forecast."""
    forecast = document["forecast"]
    return {} if forecast is None else {row["week"]: row for row in forecast["weeks"]}


def cohort_ranges(document: PlanDoc) -> dict[tuple[str, str], CohortRangeDoc]:
    """Return what the forecast says of fish by cohort and week; nothing without a forecast."""
    forecast = document["forecast"]
    if forecast is None:
        return {}
    return {(row["id"], row["week"]): row for row in forecast["cohorts"]}


def widest(ranges: Iterable[Range]) -> Range | None:
    """Return the range that holds all of some; None when there is none."""
    known = list(ranges)
    if not known:
        return None
    return Range(min(one.low for one in known), max(one.high for one in known))


def fish_shares(document: PlanDoc) -> dict[tuple[str, str], Range]:
    """Return by cohort and week what a fish may weigh, as a share of what is planned. [-]"""
    ranges = cohort_ranges(document)
    found = {}
    for cohort in document["cohorts"]:
        for week in cohort["weeks"]:
            row = ranges.get((cohort["id"], week["week"]))
            if row is not None and week["mean_g"] > 0:
                found[cohort["id"], week["week"]] = Range(
                    row["mean_g_p10"] / week["mean_g"], row["mean_g_p90"] / week["mean_g"]
                )
    return found


def feed_shares(document: PlanDoc) -> dict[str, Range]:
    """Return by week what all fish may eat, as a share of what is planned. [-]"""
    fed_kg = {week["week"]: week["feed_kg"] for week in document["weeks"]}
    return {
        monday: Range(row["feed_kg_p10"] / fed_kg[monday], row["feed_kg_p90"] / fed_kg[monday])
        for monday, row in week_ranges(document).items()
        if fed_kg.get(monday, 0.0) > 0
    }


def field_path(lows: Sequence[tuple[float, float]], highs: Sequence[tuple[float, float]]) -> str:
    """Return the closed field between two lines of points (day, px)."""
    return f"{line_path([*highs, *reversed(lows)])}z" if lows and highs else ""


def whiskers_path(ranges: Sequence[Range | None], scale: Scale) -> str:
    """Return an upright line a week from p10 to p90, in the column's middle, to a px."""
    parts: list[str] = []
    before, level = 0.0, 0
    for week, one in enumerate(ranges):
        if one is None:
            continue
        foot, top = round(scale.y(one.low)), round(scale.y(one.high))
        if foot > top:
            middle = 7 * week + 3.5
            move = f"m{number(middle - before)} {foot - level}" if parts else f"M{middle} {foot}"
            parts.append(f"{move}v{top - foot}".replace(" -", "-"))
            before, level = middle, top
    return "".join(parts)
