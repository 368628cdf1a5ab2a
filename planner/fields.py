"""One crop in one zone, and when its harvests may be taken.

A cut is ripe by a day and may be taken in the weeks up to the next one: leaf is picked plant by
plant. A crop cut once may be cut in any week that it stands; fruit is picked in its week.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner.calendarrules import CutDays
from planner.crops import Growth, GrowthModel
from planner.farm import Farm, Zone
from planner.horizon import Horizon
from planner.tables import Crop, plants_per_part

MOST_ENDS = 4  # clearing weeks offered for a crop cut many times
PERENNIAL_ENDS = 2
LONGEST_LAST_WEEKS = 3  # that the last cut of a batch is spread over; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripe:
    """A cut of one plant: weeks in which it may be taken, and the last if it is the last cut."""

    first: int
    last: int
    end: int
    ripe: date
    kg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """One crop in one zone: what all its options share."""

    farm: Farm
    horizon: Horizon
    crop: Crop
    zone: Zone
    zone_number: int
    model: GrowthModel
    day_zero: date  # of the environment
    cut_rule: CutDays

    @property
    def plants(self) -> int:
        """Plants on one part."""
        zone = self.zone
        return plants_per_part(self.crop, zone.method.value, zone.area_m2, zone.sites, zone.parts)

    def date_of(self, day: int) -> date:
        """Date of an environment day."""
        return self.day_zero + timedelta(days=day)

    def day_of(self, when: date) -> int:
        """Environment day of a date."""
        return (when - self.day_zero).days

    def nursery_days(self, set_out: date) -> int:
        """Days in the nursery before `set_out`, by the factor of its month."""
        factor = self.farm.nursery.month_factor[set_out.month - 1]
        return round(self.crop.nursery_days * factor)

    def weekly(self, growth: Growth, until_day: int, clear: date) -> NDArray[np.float64]:
        """Sum a plant's daily uptake to weeks of horizon and tail. [g plant⁻¹ week⁻¹]

        What the last pick would take after the place is cleared counts on the day before.
        """
        daily = growth.uptake_until(until_day)
        weeks = self.horizon.all_weeks
        first = growth.first_day - self.day_of(self.horizon.start)
        last = (clear - self.horizon.start).days - 1
        days = np.minimum(np.arange(len(daily)) + first, last)
        inside = (days >= 0) & (days < weeks * 7)
        sums = np.bincount(days[inside] // 7, weights=daily[inside], minlength=weeks)
        return sums.astype(np.float64)


def _ripe_weeks(field: Field, growth: Growth) -> list[tuple[int, date, float]]:
    """First week that each cut serves, the day it is ripe, and its weight a plant."""
    return [
        (field.cut_rule.first_week(field.horizon, field.date_of(day)), field.date_of(day), kg)
        for day, kg in zip(growth.cut_days, growth.cut_kg, strict=True)
    ]


def _spread(ripe: list[tuple[int, date, float]], crop: Crop) -> list[Ripe]:
    """Give each cut the weeks up to the next one: leaf is taken plant by plant, not all at once.

    The last may be taken for as long as the one before it, at most `LONGEST_LAST_WEEKS`. Picked
    fruit is taken in its week.
    """
    found = []
    before = 1
    for number, (week, day, kg) in enumerate(ripe):
        later = ripe[number + 1][0] if number + 1 < len(ripe) else None
        span = before if later is None else later - week
        before = max(1, min(span, LONGEST_LAST_WEEKS))
        if crop.harvest_kind == "picking":
            span = 1
        last = week + max(1, span if later is not None else before) - 1
        found.append(Ripe(first=week, last=last, end=week + before - 1, ripe=day, kg=kg))
    return found


def schedules(field: Field, growth: Growth) -> Iterator[tuple[list[Ripe], bool]]:
    """Yield the harvest schedules to choose from, and whether each still stands after the tail."""
    weeks = field.horizon.all_weeks
    crop = field.crop
    ripe = _ripe_weeks(field, growth)
    if crop.harvest_kind == "once":
        week, day, kg = ripe[0]
        stands = max(week, field.horizon.week_of(field.date_of(growth.last_day)))
        for last in range(week, stands + 1):
            yield [Ripe(first=week, last=last, end=last, ripe=day, kg=kg)], last >= weeks
            if last >= weeks:
                return
        return
    cuts = _spread(ripe, crop)
    inside = [n for n, cut in enumerate(cuts) if cut.end < weeks and cut.kg > 0]
    if any(cut.end >= weeks for cut in cuts):
        yield cuts, True
    if not inside:
        return
    ends = PERENNIAL_ENDS if crop.harvest_kind == "perennial" else MOST_ENDS
    picks = {round((len(inside) - 1) * (n + 1) / ends) for n in range(ends)}
    for pick in sorted(picks):
        kept = cuts[: inside[pick] + 1]
        yield [*kept[:-1], replace(kept[-1], last=kept[-1].end)], False


def left_of(
    field: Field, growth: Growth, today: int, share_left: float | None = None
) -> list[tuple[int, float]]:
    """Cuts from today on; of one under way, what is left of it.

    Parameters
    ----------
    share_left
        Share of the cut under way that still stands, where the grower knows it; else it is the
        share of the days to the next cut. A crop that is cut once has only one. [-]
    """
    cuts = list(zip(growth.cut_days, growth.cut_kg, strict=True))
    left = [(day, kg) for day, kg in cuts if day >= today]
    gone = [(day, kg) for day, kg in cuts if day < today]
    if field.crop.harvest_kind == "once":
        share = 1.0 if share_left is None else share_left
        return [(max(day, today), kg * share) for day, kg in cuts[:1]] if share > 0 else []
    if gone and left and field.crop.harvest_kind in {"cut-and-come", "perennial"}:
        day, kg = gone[-1]
        share = (left[0][0] - today) / (left[0][0] - day) if share_left is None else share_left
        if share > 0:
            left.insert(0, (today, kg * share))
    return left
