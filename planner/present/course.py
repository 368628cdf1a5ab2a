"""What a plan had for a cohort on any day, between the Mondays that its document gives."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from planner.document import CohortDoc
from planner.farm import CohortAtHand

LEAST_G = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Planned weight and deaths of a cohort.

    Parameters
    ----------
    days
        Days with figures, in order: the first day and the Mondays.
    means_g
        Mean weight on them. [g]
    dead
        Fish that died from the first day to each of them. [-]
    """

    days: Sequence[date]
    means_g: Sequence[float]
    dead: Sequence[float]

    def mean_g(self, day: date) -> float:
        """Mean weight on a day, beyond the last Monday by the last week's growth. [g]"""
        return max(LEAST_G, self._at(day, self.means_g, further=True))

    def died(self, first: date, last: date) -> float:
        """Fish that die from one day to another by the plan. [-]"""
        return self._at(last, self.dead) - self._at(first, self.dead)

    def _at(self, day: date, values: Sequence[float], *, further: bool = False) -> float:
        days = self.days
        if day <= days[0] or len(days) == 1:
            return values[0]
        if day >= days[-1] and not further:
            return values[-1]
        n = min(bisect_right(days, day), len(days) - 1)
        share = (day - days[n - 1]).days / (days[n] - days[n - 1]).days
        return values[n - 1] + share * (values[n] - values[n - 1])


def course_of(cohort: CohortDoc, counted: CohortAtHand | None) -> Course | None:
    """Return a cohort's course by the plan, or None when the plan has no week of it.

    Parameters
    ----------
    counted
        The fish as they were counted, for a cohort that was at hand; None for one stocked.
    """
    first = date.fromisoformat(cohort["stock"]) if counted is None else counted.as_of
    if not cohort["weeks"] and counted is None:
        return None
    rows = [
        (max(first, date.fromisoformat(week["week"])), week["count"], week["mean_g"])
        for week in cohort["weeks"]
    ]
    if counted is not None and (not rows or rows[0][0] > first):
        rows.insert(0, (first, float(counted.count), counted.mean_g))
    takes = [(date.fromisoformat(taken["date"]), taken["count"]) for taken in cohort["taken"]]
    days, means_g, dead = [rows[0][0]], [rows[0][2]], [0.0]
    for (day, count, _), (after, count_after, mean_g) in pairwise(rows):
        if after <= day:
            continue
        taken = sum(number for when, number in takes if day <= when < after)
        days.append(after)
        means_g.append(mean_g)
        dead.append(dead[-1] + max(0.0, count - count_after - taken))
    return Course(days=tuple(days), means_g=tuple(means_g), dead=tuple(dead))
