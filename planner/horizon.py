"""Weeks of the planning horizon and their dates. Weeks start on Monday."""

from dataclasses import dataclass
from datetime import date, timedelta

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def monday_of(day: date) -> date:
    """Return the Monday of the week that holds `day`."""
    return day - timedelta(days=day.weekday())


def week_anchor(day: date) -> str:
    """Return the page anchor of a day's ISO week, such as `w2027-12`."""
    year, week, _ = day.isocalendar()
    return f"w{year}-{week:02d}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Horizon:
    """The weeks that are planned and reported, and the tail that is only planned.

    Parameters
    ----------
    plan_date
        The day on which the plan is made; nothing is planned before it.
    weeks
        Weeks reported. [-]
    tail_weeks
        Weeks planned beyond them, so that the last reported weeks are not stripped. [-]
    """

    plan_date: date
    weeks: int = 52
    tail_weeks: int = 12

    @property
    def start(self) -> date:
        """Monday of the plan date's week."""
        return monday_of(self.plan_date)

    @property
    def all_weeks(self) -> int:
        """Reported weeks and tail. [-]"""
        return self.weeks + self.tail_weeks

    def monday(self, week: int) -> date:
        """Return the Monday of week `week`, counted from 0; negative weeks are before the plan."""
        return self.start + timedelta(weeks=week)

    def week_of(self, day: date) -> int:
        """Return the index of the week that holds `day`; negative before the horizon."""
        return (day - self.start).days // 7

    def label(self, week: int) -> str:
        """Return the ISO label of a week, such as `2027-W12`."""
        year, number, _ = self.monday(week).isocalendar()
        return f"{year}-W{number:02d}"
