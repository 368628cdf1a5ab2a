"""What to buy for a plan, as facts: seeds and plants, fingerlings, feed by month."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from planner.document import PlanDoc
from planner.ranges import Range, feed_shares
from planner.tables import Crop
from planner.takerows import Sowing, fish_days, sowings

BAG_KG = 20.0  # a common size of feed bags: common practice
_LEAST = 1e-6  # of any unit; less is nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """What to have by a day: a crop's seeds or plants for a month, fingerlings, a month's feed.

    Parameters
    ----------
    kind
        seed, plug, division, cutting, fingerlings or feed.
    what
        Id of the crop, or of the fish that are stocked or fed.
    number
        How many of `unit`: seed, plug, division, cutting, fish, kg, or, where a crop's seeds are
        not known, the cells or plants to sow.
    bags
        Of feed, to buy in the month; what is left of a bag is fed in the months after.
    first_week_kg
        Feed for the month's first week with fish to feed. [kg]
    likely_kg
        The forecast's range of a month's feed; None without a forecast. [kg]
    mean_g, tank
        Of fingerlings. [g]
    order_by, ordered
        Of fingerlings: the last day to order them, None when they are ordered, or where the plan
        does not tell it.
    """

    kind: str
    what: str
    day: date
    number: float
    unit: str
    bags: int | None = None
    first_week_kg: float | None = None
    likely_kg: Range | None = None
    mean_g: float | None = None
    tank: str = ""
    order_by: date | None = None
    ordered: bool = False


def purchases(document: PlanDoc, crops: Mapping[str, Crop]) -> tuple[Purchase, ...]:
    """Return what to buy: what crops start from by month, then fingerlings, then feed by month.

    A week of feed belongs to the month of its Monday, the plan's first to that of the plan day. Its
    range is that of all fish together, shared out as the plan is; a month's is its weeks' ranges
    added up, as if all of them went one way.
    """
    return (*_starts(sowings(document, crops)), *_fingerlings(document), *_feed(document))


def _starts(rows: Iterable[Sowing]) -> list[Purchase]:
    months: dict[tuple[str, date, str, str], list[Sowing]] = defaultdict(list)
    for row in rows:
        months[row.crop, row.day.replace(day=1), row.started_from, row.amount[1]].append(row)
    return [
        Purchase(
            kind=kind,
            what=crop,
            day=min(row.day for row in same),
            number=sum(row.amount[0] for row in same),
            unit=unit,
        )
        for (crop, _, kind, unit), same in sorted(months.items())
    ]


def _fingerlings(document: PlanDoc) -> list[Purchase]:
    return [
        Purchase(
            kind="fingerlings",
            what=row.species,
            day=row.day,
            number=row.count,
            unit="fish",
            mean_g=row.mean_g,
            tank=row.tank,
            order_by=row.order_by,
            ordered=row.ordered,
        )
        for row in fish_days(document)
        if row.stocked
    ]


def _feed(document: PlanDoc) -> list[Purchase]:
    made_on = date.fromisoformat(document["made_on"])
    weeks: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    shares = {
        max(date.fromisoformat(monday), made_on): share
        for monday, share in feed_shares(document).items()
    }
    for cohort in document["cohorts"]:
        for row in cohort["weeks"]:
            if row["feed_kg"] > 0:
                first = max(date.fromisoformat(row["week"]), made_on)
                weeks[cohort["species"]][first] += float(row["feed_kg"])
    found = []
    for species in sorted(weeks):
        months: dict[date, list[date]] = defaultdict(list)
        for first in sorted(weeks[species]):
            months[first.replace(day=1)].append(first)
        eaten_kg, bought = 0.0, 0
        for firsts in months.values():
            need_kg = sum(weeks[species][first] for first in firsts)
            eaten_kg += need_kg
            bags = math.ceil(eaten_kg / BAG_KG - _LEAST) - bought
            bought += bags
            found.append(
                Purchase(
                    kind="feed",
                    what=species,
                    day=firsts[0],
                    number=need_kg,
                    unit="kg",
                    bags=bags,
                    first_week_kg=weeks[species][firsts[0]],
                    likely_kg=_likely(weeks[species], firsts, shares),
                )
            )
    return sorted(found, key=lambda row: (row.day.replace(day=1), row.what))


def _likely(
    fed_kg: Mapping[date, float], firsts: Sequence[date], shares: Mapping[date, Range]
) -> Range | None:
    """Return the range of some weeks' feed; None where the forecast lacks one of them. [kg]"""
    if any(first not in shares for first in firsts):
        return None
    ranges = [shares[first].times(fed_kg[first]) for first in firsts]
    return Range(sum(one.low for one in ranges), sum(one.high for one in ranges))
