"""Tables of the page: what a little more would be worth, and the plan beside one made by hand."""

from collections.abc import Callable, Sequence

from planner.document import MeasuresDoc, PlanDoc
from planner.pagefacts import line_of
from planner.pictures import Table
from planner.words import plain

LEAST_WORTH = 0.5  # money over the season; below it nothing is said to be gained


def margins_table(document: PlanDoc) -> Table:
    """Return what one more of each limit would be worth over the season, and when most."""
    weeks = document["marginal"]
    series = {
        f"{plain(zone['name'])} place": [week["place"][zone["name"]] for week in weeks]
        for zone in document["zones"]
    }
    series["nursery tray of 72 cells"] = [week["nursery_tray"] for week in weeks]
    series["hour of work in every week"] = [week["labour_h"] for week in weeks]
    series["kg of nitrogen in every week's feed"] = [week["feed_n_kg"] for week in weeks]
    return Table(
        caption="What one more of each would be worth, in the farm's money",
        head=("One more", "Over the season", "Most in"),
        rows=tuple((what, *_worth(document, worth)) for what, worth in series.items())
        if weeks
        else (),
    )


def _worth(document: PlanDoc, weeks: Sequence[float]) -> tuple[str, str]:
    total = sum(weeks)
    if abs(total) <= LEAST_WORTH:
        return "nothing", ""
    line = line_of(document)
    peak = max(range(len(weeks)), key=lambda week: weeks[week] if total > 0 else -weeks[week])
    return f"{total:,.0f}", line.weeks_text((peak,))


def comparison_table(document: PlanDoc) -> Table:
    """Return the plan beside a careful plan made by hand for the same house."""
    ours, hand = document["comparison"]["plan"], document["comparison"]["by_hand"]
    weeks = document["horizon"]["weeks"]
    rows: list[tuple[str, Callable[[MeasuresDoc], str]]] = [
        ("Orders met, by worth", lambda m: f"{m['orders_met']:.0%}"),
        ("Orders short beyond their tolerance", lambda m: str(m["short_orders"])),
        ("Weeks with nitrate in its band", lambda m: f"{m['weeks_in_band']} of {weeks}"),
        ("Sales less seed, feed, fish and work", lambda m: f"{m['margin']:,.0f}"),
    ]
    return Table(
        caption="This plan and a careful plan by hand",
        head=("", "This plan", "By hand"),
        rows=tuple((what, figure(ours), figure(hand)) for what, figure in rows),
    )


def certainty_table(document: PlanDoc) -> Table:
    """Return what reserves for each certainty cost; no rows when none was asked for."""
    told = document["certainty"]
    rows = [] if told is None else told["prices"]
    return Table(
        caption="What certainty costs, in the farm's money",
        head=("Chance that a first-priority order is met", "Costs", "Cannot be held, charged"),
        rows=tuple(
            (f"{row['certainty']:.0%}", f"{row['cost']:,.0f}", f"{row['missing']:,.0f}")
            for row in rows
        ),
    )


def certainty_words(document: PlanDoc) -> str:
    """Say how far the plan keeps the certainty that was asked for; empty when none was."""
    told = document["certainty"]
    if told is None:
        return ""
    return (
        f"Planned with reserves, so that each order of the first priority has a chance of "
        f"{told['asked']:.0%}: {told['met']} of {told['order_weeks']} order weeks have it. "
        "The costs are those of the relaxed model."
    )
