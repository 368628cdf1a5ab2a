"""On which days of a week the jobs are done, so that weeks and days agree.

A place is cleared on Monday, cleaned for its sanitation days, and set out again in the same week:
a batch holds its place from its set-out day up to the Monday after its last harvest, and no week
is lost between two batches. Sowing is done on a working day, fish are stocked and taken on
Thursdays, so that a tank stands empty for exactly seven days between two cohorts.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from planner.horizon import Horizon

LATEST_SET_OUT_WEEKDAY = 3  # Thursday
FISH_WEEKDAY = 3  # Thursday: fish for the kitchens' weekend
DEFAULT_DELIVERY_WEEKDAY = 3
TANK_REST_DAYS = 7
LAST_WORKING_WEEKDAY = 4  # Friday


def set_out_weekday(sanitation_days: int) -> int:
    """Return the weekday (Monday 0) on which a zone with these sanitation days is set out."""
    return min(sanitation_days, LATEST_SET_OUT_WEEKDAY)


def sowing_day(set_out: date, nursery_days: int) -> date:
    """Return the last working day on which the nursery days before `set_out` can begin."""
    day = set_out - timedelta(days=nursery_days)
    return day - timedelta(days=max(0, day.weekday() - LAST_WORKING_WEEKDAY))


def free_week(horizon: Horizon, clear: date, sanitation_days: int) -> int:
    """Return the first week in which a place cleared on `clear` can be set out again."""
    ready = clear + timedelta(days=sanitation_days)
    offset = set_out_weekday(sanitation_days)
    return -((horizon.monday(0) + timedelta(days=offset) - ready).days // 7)


@dataclass(frozen=True, slots=True, kw_only=True)
class CutDays:
    """Days on which a crop is cut within a week.

    Parameters
    ----------
    first_weekday
        Earliest delivery weekday of any line that takes the crop (Monday 0); what is ripe by then
        serves the week.
    """

    first_weekday: int = DEFAULT_DELIVERY_WEEKDAY

    def serves(self, horizon: Horizon, week: int, ripe: date) -> bool:
        """Whether a harvest ripe on `ripe` can be cut for the deliveries of `week`."""
        day = horizon.monday(week) + timedelta(days=self.first_weekday)
        return ripe <= max(day, horizon.plan_date if week == 0 else day)

    def first_week(self, horizon: Horizon, ripe: date) -> int:
        """Return the first week, 0 or later, whose deliveries a harvest ripe on `ripe` serves."""
        week = max(0, horizon.week_of(ripe))
        while not self.serves(horizon, week, ripe):
            week += 1
        return week


def cut_day(horizon: Horizon, delivery: date, ripe: date) -> date:
    """Return the day to cut for `delivery`: the working day before it, or the day itself.

    Monday's deliveries are cut on Monday and Sunday's on Friday; nothing is cut before it is ripe
    or before the plan date.
    """
    before = delivery - timedelta(days=1)
    before -= timedelta(days=max(0, before.weekday() - LAST_WORKING_WEEKDAY))
    if delivery.weekday() == 0 or before < ripe or before < horizon.plan_date:
        return max(delivery, ripe, horizon.plan_date)
    return before
