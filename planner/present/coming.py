"""The fish that are ordered and still to come."""

from dataclasses import dataclass
from datetime import date, timedelta

from planner.book import Done, Skipped
from planner.document import CohortDoc, PlanDoc
from planner.farm import Farm
from planner.farmlists import FishOrdered
from planner.present.findings import Findings
from planner.present.told import Told, outcome, steps
from planner.words import plural

DAYS_A_WEEK = 7


def ordered_now(
    farm: Farm, plan: PlanDoc | None, news: Told, today: date, findings: Findings
) -> tuple[FishOrdered, ...]:
    """Return the fish of the plan in force that are ordered and have not come by `today`.

    They are taken as ordered, as many as the plan has, when the last day for it is past or the
    stocking is put off to a day, unless the book tells otherwise: how many were ordered, that they
    were not, or not until a day. They come
    on the day of the plan, on the one that the book tells instead, or as many whole weeks later as
    they were ordered late.
    """
    found: list[FishOrdered] = []
    offered = {offer.species for offer in farm.fingerlings}
    tanks = {name for tank in farm.tanks for name in tank.tank_names}
    for doc in () if plan is None else plan["cohorts"]:
        order = _ordered(farm, doc, news, today)
        if order is None or order.count < 1:
            continue
        if doc["species"] not in offered or doc["tank"] not in tanks:
            findings.doubt(
                f"{plural(order.count, 'fish')} ({doc['species']}) ordered for {doc['tank']}: the "
                "farm has no more such tank or offer; they are left out"
            )
            continue
        found.append(
            FishOrdered(
                cohort=doc["id"],
                species=doc["species"],
                tank=doc["tank"],
                count=order.count,
                mean_g=doc["weeks"][0]["mean_g"],
                day=order.day,
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Order:
    """Fish that are ordered: how many, and the day on which they come."""

    count: int
    day: date


def _ordered(farm: Farm, doc: CohortDoc, news: Told, today: date) -> _Order | None:
    """Return the order of a cohort; None when it has come, or is not ordered."""
    if doc["at_hand"] or not doc["weeks"]:
        return None
    planned = date.fromisoformat(doc["stock"])
    words = [
        entry
        for entry in news.of_fish()
        if isinstance(entry, Done | Skipped) and entry.batch == doc["id"]
    ]
    stocked = outcome(steps(words, "stock"), planned, today)
    if stocked.day is not None or stocked.due is None:
        return None
    lead, on_order = _lead(farm, doc), steps(words, "order")
    ordering = outcome(on_order, _order_by(doc, planned - lead), today)
    put_off = isinstance(stocked.said, Skipped)
    if ordering.day is None and (on_order or not put_off):
        return None
    count, day = round(doc["weeks"][0]["count"]), stocked.due
    if isinstance(ordering.said, Done) and ordering.said.count is not None:
        count = ordering.said.count
    elif (
        isinstance(ordering.said, Skipped) and ordering.day is not None
    ):  # put off; lead times are told in weeks
        late = (ordering.day + lead - planned).days // DAYS_A_WEEK
        day = max(day, planned + timedelta(weeks=late))
    return _Order(count=count, day=day)


def _lead(farm: Farm, doc: CohortDoc) -> timedelta:
    """Return the time from an order of such fish to their stocking."""
    leads = [o.lead_weeks for o in farm.fingerlings if o.species == doc["species"]]
    return timedelta(weeks=max(leads, default=0))


def _order_by(doc: CohortDoc, last: date) -> date:
    """Return the last day for the order; plans of before that day was told have it from offers."""
    told = doc.get("order_by")
    return last if told is None else date.fromisoformat(told)
