"""The jobs of one cohort of fish: to order it, to stock it, to take it out, to empty its tank."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from planner.cautions import fish_care
from planner.document import CohortDoc
from planner.jobs import Entry, JobLine, Kind
from planner.likely import likely_take
from planner.ranges import Range
from planner.tables import Fish
from planner.words import Units, day_words, plain, weight


def fish_entries(
    cohort: CohortDoc,
    name: str,
    *,
    made_on: date,
    shares: Mapping[tuple[str, str], Range],
    units: Units,
) -> Iterator[Entry]:
    """Yield every job of a cohort from the plan day on, in the order of the work.

    Parameters
    ----------
    name
        Of the fish, as it is said.
    made_on
        Day of the plan. Fish whose last day to be ordered is before it are on order.
    shares
        The forecast's range of a taking, by cohort and week. [-]
    """
    tank = plain(cohort["tank"])

    def entry(
        step: str, day: str, text: str, phrase: str, number: float, unit: str = "fish"
    ) -> Entry:
        line = JobLine(
            text=text,
            crop=cohort["species"],
            place=tank,
            number=number,
            unit=unit,
            batch=cohort["id"],
            step=step,
        )
        when = date.fromisoformat(day)
        return Entry(day=when, kind=Kind.FISH, line=line, phrase=phrase, name=name)

    stock, last = date.fromisoformat(cohort["stock"]), cohort.get("order_by")
    if stock >= made_on:
        count, of, text = sum(taken["count"] for taken in cohort["taken"]), "", f"Stock {tank}:"
        whole, phrase = f"{text} {name}", f"stock {name} {tank}"
        if cohort["weeks"]:
            start = cohort["weeks"][0]
            count, mean_kg = round(start["count"]), start["mean_g"] / 1000
            of, total = f" of {weight(mean_kg, units)} each", weight(count * mean_kg, units)
            whole = f"{text} {count:,} {name}{of}, {total} in all"
            phrase = f"stock {count:,} {name} {total} {tank}"
        if last is not None and date.fromisoformat(last) < made_on:
            whole += "; ordered"
        elif last is not None:
            wanted = _order(name, count)
            text = f"Order {wanted}{of}, to come {day_words(stock)} for {tank}"
            yield entry("order", last, text, f"order {wanted}", count)
        yield entry("stock", cohort["stock"], whole, phrase, count)
    for taken in cohort["taken"]:
        count, kg = taken["count"], weight(taken["kg"], units)
        likely = likely_take(taken, shares.get((cohort["id"], taken["week"])), units)
        text = ", ".join(filter(None, (f"Take {count:,} {name}", kg, likely, f"from {tank}")))
        yield entry("take", taken["date"], text, f"take {count:,} {name} {kg} {tank}", count)
    if cohort["harvest"] is not None:
        text = f"Empty: {tank} has no more {name}; clean it, leave it empty for 7 days"
        yield entry("empty", cohort["harvest"], text, f"{tank} empty", 1, "tank")


def orders_together(entries: Iterable[Entry]) -> list[Entry]:
    """Return a day's entries, orders of one fish with their sum as the phrase of the title."""
    entries = list(entries)
    sums: dict[str, float] = defaultdict(float)
    for entry in entries:
        if entry.line.step == "order":
            sums[entry.line.crop] += entry.line.number
    return [
        replace(entry, phrase=f"order {_order(entry.name, sums[entry.line.crop])}")
        if entry.line.step == "order"
        else entry
        for entry in entries
    ]


def fish_caution(entries: Sequence[Entry], fish: Mapping[str, Fish]) -> str:
    """Return the caution of a day with fish; one of orders alone has what the law says of them."""
    coming = dict.fromkeys(e.line.crop for e in entries if e.line.step in ("order", "stock"))
    known = [fish[id] for id in coming if id in fish]
    if all(entry.line.step == "order" for entry in entries):
        return " ".join(f"{plain(row.name)}: {plain(row.legal_caution)}" for row in known)
    return fish_care(known)


def _order(name: str, count: float) -> str:
    """Return how many of which fish; an old plan may not say how many."""
    return f"{count:,.0f} {name}" if count else name
