"""What the plan says of itself: why orders are short, what more room is worth, plan by hand."""

from collections.abc import Mapping
from dataclasses import dataclass

from planner.document import ComparisonDoc, MarginalDoc, MeasuresDoc
from planner.handplan import hand_plan
from planner.measures import Measures, measures
from planner.pictures import TimeLine
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem
from planner.season.decide import Season
from planner.season.margins import Margins
from planner.season.reasons import Reason, Rule

_FULL = {
    Rule.NURSERY: "the nursery has no cell free",
    Rule.HOURS: "there are no hours of work left",
    Rule.TANKS: "no tank is free",
    Rule.FILTER: "the biofilter can turn over no more ammonia",
    Rule.NITRATE_MOST: "nitrate would rise above what the fish bear",
    Rule.BAND_LOW: "nitrate would fall under its band",
    Rule.BAND_HIGH: "nitrate would rise over its band",
}
_PLAIN = {
    Rule.TOGETHER: "more than one limit is in the way: no single one makes room for it",
    Rule.WORTH: "it could be filled, but that would cost more than it brings",
    Rule.SEARCH: "it could be filled; the search ended before it came to this (try more --work)",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Insight:
    """What stands in the document beside the decisions.

    Attributes
    ----------
    why
        By number of the order week: why it is short beyond its tolerance.
    """

    why: Mapping[int, str]
    marginal: tuple[MarginalDoc, ...]
    comparison: ComparisonDoc


def insight(problem: SeasonProblem, season: Season) -> Insight:
    """Return what the search learned, in words and figures for the document."""
    return Insight(
        why=why(problem, season.reasons),
        marginal=tuple(marginal(problem, season.margins)),
        comparison=comparison(problem, season.plan),
    )


def why(problem: SeasonProblem, reasons: Mapping[int, Reason]) -> dict[int, str]:
    """Return the reason of each short order week in words, by number of the order week."""
    line = TimeLine(start=problem.horizon.start, weeks=problem.weeks)
    return {number: _words(problem, line, reason) for number, reason in reasons.items()}


def _words(problem: SeasonProblem, line: TimeLine, reason: Reason) -> str:
    if reason.rule is Rule.TIME:
        if not reason.weeks:
            return "nothing more that can be grown or kept here is ready in that week"
        first = line.weeks_text(reason.weeks)
        return f"nothing begun from the plan's start on is ready before {first}"
    if reason.rule in _PLAIN:
        return _PLAIN[reason.rule]
    if reason.rule is Rule.PLACES:
        text = f"no {problem.farm.zones[reason.zone or 0].name} place is free"
    else:
        text = _FULL[reason.rule]
    if not reason.weeks:
        return text
    return f"{text} in {line.weeks_text(range(reason.weeks[0], reason.weeks[-1] + 1))}"


def marginal(problem: SeasonProblem, margins: Margins | None) -> list[MarginalDoc]:
    """Return what a little more of each limit is worth, by week of the horizon."""
    if margins is None:
        return []
    return [
        {
            "week": problem.horizon.monday(week).isoformat(),
            "place": {
                zone.name: round(float(values[week]), 4)
                for zone, values in zip(problem.farm.zones, margins.places, strict=True)
            },
            "nursery_tray": round(float(margins.tray[week]), 4),
            "labour_h": round(float(margins.labour[week]), 4),
            "feed_n_kg": round(float(margins.feed_n[week]), 4),
        }
        for week in range(problem.horizon.weeks)
    ]


def comparison(problem: SeasonProblem, plan: SeasonPlan) -> ComparisonDoc:
    """Return what the plan comes to, and what a careful plan by hand would."""
    return {
        "plan": _measured(measures(problem, plan)),
        "by_hand": _measured(measures(problem, hand_plan(problem))),
    }


def _measured(found: Measures) -> MeasuresDoc:
    return {
        "orders_met": round(found.orders_met, 4),
        "short_orders": found.short_lines,
        "weeks_in_band": found.weeks_in_band,
        "margin": round(found.margin, 2),
    }
