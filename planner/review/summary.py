"""What the review comes to in a few sentences, for the terminal and the head of the page."""

from datetime import date

from planner.review.customers import fill_rate
from planner.review.kinds import Review
from planner.review.sayings import money
from planner.words import day_words, plain, plural, weight

EXPECTED_INSIDE = 0.8  # of ranges from p10 to p90


def told(found: Review) -> str:
    """Return the review as a few lines of text."""
    lines = [f"{plain(found.farm)}: {span(found)}", *facts(found)]
    if found.changes:
        lines.append("To change, dearest first:")
    for number, change in enumerate(found.changes, start=1):
        lines.append(f"{number}. {change.title}: {money(change.money, found.currency)}")
        lines.append(f"   {change.todo}")
    return "\n".join(lines)


def span(found: Review) -> str:
    """Return what is reviewed, in words."""
    entries = "1 entry" if found.entries == 1 else f"{found.entries:,} entries"
    return (
        f"{entries} from {long_day(found.first)} to {long_day(found.last)}, held against "
        f"{plural(found.plans, 'plan')}"
    )


def long_day(day: date) -> str:
    """Return a day with its year."""
    return f"{day_words(day)} {day.year}"


def facts(found: Review) -> tuple[str, ...]:
    """Return the main findings, a sentence each."""
    return tuple(_harvest(found) + _orders(found) + _water(found) + _forecast(found))


def _harvest(found: Review) -> list[str]:
    told_of = [row for row in found.batches if row.real_kg is not None]
    if not told_of:
        return [f"Cut: of {plural(len(found.batches), 'batch')} none has a weighed cut."]
    real_kg = sum(row.real_kg or 0.0 for row in told_of)
    counted_kg = sum(row.counted_kg for row in told_of)
    return [
        f"Cut: {weight(real_kg, found.units)} of {weight(counted_kg, found.units)} planned, in "
        f"{len(told_of)} of {plural(len(found.batches), 'batch')} with records."
    ]


def _orders(found: Review) -> list[str]:
    told_of = [row for row in found.orders if row.delivered is not None]
    if not found.orders:
        return []
    if not told_of:
        planned = fill_rate(found.orders, real=False)
        return [f"Orders: no delivery is recorded; {planned:.0%} of them were planned to be met."]
    real, planned = fill_rate(told_of, real=True), fill_rate(told_of, real=False)
    return [
        f"Orders: {real:.0%} delivered, {planned:.0%} planned, in {len(told_of)} of "
        f"{plural(len(found.orders), 'order week')} with records."
    ]


def _water(found: Review) -> list[str]:
    tested = [row for row in found.weeks if row.tests]
    if not found.weeks:
        return []
    if not tested:
        return [f"Nitrate: not tested in {plural(len(found.weeks), 'week')}."]
    out = sum(1 for row in tested if row.out_mg_l)
    rest = len(found.weeks) - len(tested)
    return [
        f"Nitrate: out of its band in {out} of {plural(len(tested), 'tested week')}; "
        f"{rest} not tested."
    ]


def _forecast(found: Review) -> list[str]:
    if not found.ranged:
        return ["Forecast: no whole week with both a range and a record."]
    share = found.inside / found.ranged
    return [
        f"Forecast: {found.inside} of {plural(found.ranged, 'recorded harvest week')} came within "
        f"their range, {share:.0%}; it should be {EXPECTED_INSIDE:.0%} in the long run."
    ]
