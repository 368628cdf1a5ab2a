"""Growth, deaths and feed of the fish: planned against real, between weighings of a tank."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import log, sqrt

import numpy as np

from planner.book.entries import (
    Deaths,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Recorded,
    Skipped,
    Weigh,
)
from planner.document import CohortDoc
from planner.observed.kinds import FcrObs, GrowthObs, SurvivalObs
from planner.observed.plans import Plan, day_of
from planner.tables import Fish

LEAST_DAYS = 14  # between two weighings that tell of growth; judgement
LEAST_WATCHED_DAYS = 28  # of a tank, that tell of deaths; judgement
SAMPLED = 20  # fish weighed, where nobody says; judgement
WEIGHT_CV = 0.2  # of single fish in a tank: standard deviation over mean; judgement
FEED_GAP = timedelta(days=8)  # feed is written down at least weekly
PAST_LAST = timedelta(days=7)  # the last row of a cohort holds for its week


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """A cohort as one plan foretold it.

    Parameters
    ----------
    days, root_g, count
        Days of the rows, cube roots of mean weights [g^(1/3)] and fish [-].
    """

    plan: Plan
    cohort: CohortDoc
    days: tuple[date, ...]
    root_g: tuple[float, ...]
    count: tuple[float, ...]

    def covers(self, first: date, last: date) -> bool:
        """Whether the fish were to be in the tank all that time."""
        end = self.cohort["harvest"]
        stay = self.days[-1] + PAST_LAST if end is None else day_of(end)
        return self.days[0] <= first and last <= min(stay, self.days[-1] + PAST_LAST)

    def root_at(self, day: date) -> float:
        """Cube root of the mean weight on a day: warmth is even within a week. [g^(1/3)]"""
        x = [float(d.toordinal()) for d in self.days]
        at = float(day.toordinal())
        if at > x[-1] and len(x) > 1:
            slope = (self.root_g[-1] - self.root_g[-2]) / (x[-1] - x[-2])
            return self.root_g[-1] + slope * (at - x[-1])
        return float(np.interp(at, x, self.root_g))

    def count_at(self, day: date) -> float:
        """Fish in the tank on a day. [-]"""
        x = [float(d.toordinal()) for d in self.days]
        return float(np.interp(float(day.toordinal()), x, self.count))

    def deaths_a_day(self) -> float:
        """Death rate: the middle one of its weeks without taking. [1/d]"""
        taken = [day_of(take["date"]) for take in self.cohort["taken"]]
        rows = zip(pairwise(self.days), pairwise(self.count), strict=True)
        rates = [
            log(before / after) / (last - first).days
            for (first, last), (before, after) in rows
            if after > 0 and not any(first <= day <= last for day in taken)
        ]
        return float(np.median(rates)) if rates else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A mean weight that was weighed or bought. [g], from so many fish [-]"""

    day: date
    mean_g: float
    sampled: int

    @property
    def root_sd(self) -> float:
        """Standard deviation of the cube root of the mean. [g^(1/3)]"""
        return float(np.cbrt(self.mean_g)) / 3 * WEIGHT_CV / sqrt(self.sampled)


def curves(plans: Sequence[Plan]) -> dict[str, list[Curve]]:
    """Return the cohorts of all plans by tank, in the order of the plans."""
    found: dict[str, list[Curve]] = {}
    for plan in plans:
        counted = plan.counted()
        for cohort in plan.document["cohorts"]:
            start = day_of(cohort["stock"])
            if cohort["at_hand"]:
                start = counted.get(cohort["tank"], start)
            rows = {max(day_of(row["week"]), start): row for row in cohort["weeks"]}
            if rows:
                curve = Curve(
                    plan=plan,
                    cohort=cohort,
                    days=tuple(rows),
                    root_g=tuple(float(np.cbrt(row["mean_g"])) for row in rows.values()),
                    count=tuple(row["count"] for row in rows.values()),
                )
                found.setdefault(cohort["tank"], []).append(curve)
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tank:
    """One tank: its cohorts by all plans, and the entries about it in the order of their days."""

    name: str
    curves: Sequence[Curve]
    said: Sequence[Entry]
    alone: Sequence[Feed]  # given to all tanks
    others: Sequence[Curve]  # cohorts in other tanks

    def curve(self, first: date, last: date) -> Curve | None:
        """Return the cohort from one day to another, by the plan then in force."""
        found = [curve for curve in self.curves if curve.covers(first, last)]
        before = [curve for curve in found if curve.plan.made_on <= first]
        return (before or found[:1])[-1] if found else None

    def _starts(self) -> Iterator[Point]:
        """Yield the weights as bought, and as counted for the first plan."""
        first = self.curves[0]
        if first.cohort["at_hand"] and first.days[0] <= first.plan.made_on:
            yield Point(day=first.days[0], mean_g=first.root_g[0] ** 3, sampled=SAMPLED)
        stocked = {e.batch: e.on for e in self.said if isinstance(e, Done) and e.step == "stock"}
        for curve in self.curves:
            day = stocked.get(curve.cohort["id"])
            if day is not None and not curve.cohort["at_hand"] and curve.plan.made_on <= day:
                yield Point(day=day, mean_g=curve.root_g[0] ** 3, sampled=SAMPLED)

    def _emptied(self, first: date, last: date) -> bool:
        """Whether the fish changed between two days."""
        return any(
            first <= e.on < last
            for e in self.said
            if (isinstance(e, FishHarvest) and e.emptied)
            or (isinstance(e, Done) and e.step == "empty")
        ) or any(
            first < e.on < last for e in self.said if isinstance(e, Done) and e.step == "stock"
        )

    def intervals(self) -> Iterator[tuple[Point, Point, Curve]]:
        """Yield two weighings of the same fish that are far enough apart, and their cohort."""
        points = {point.day: point for point in self._starts()}
        for e in self.said:
            if isinstance(e, Weigh):
                points[e.on] = Point(day=e.on, mean_g=e.mean_g, sampled=e.sampled or SAMPLED)
        before: Point | None = None
        for _, point in sorted(points.items()):
            curve = None if before is None else self.curve(before.day, point.day)
            if before is None or curve is None or self._emptied(before.day, point.day):
                before = point
            elif (point.day - before.day).days >= LEAST_DAYS:
                yield before, point, curve
                before = point

    def growth(self) -> Iterator[GrowthObs]:
        """Yield growth between weighings.

        The cube root of weight grows by warmth alone, so the plan's rise of it holds from
        whatever weight the fish really had.
        """
        for first, last, curve in self.intervals():
            rise = curve.root_at(last.day) - curve.root_at(first.day)
            rise /= curve.plan.learned(curve.cohort["species"], "growth")
            if rise <= 0:
                continue
            root_g = float(np.cbrt(first.mean_g))
            yield GrowthObs(
                species=curve.cohort["species"],
                cohort=curve.cohort["id"],
                start_g=first.mean_g,
                planned_gain_g=(root_g + rise) ** 3 - first.mean_g,
                real_gain_g=last.mean_g - first.mean_g,
                noise_log=sqrt(first.root_sd**2 + last.root_sd**2) / rise,
            )

    def fcr(self) -> Iterator[FcrObs]:
        """Yield feed and gain between weighings, where feed is written down all the time."""
        for first, last, curve in self.intervals():
            feeds = [e for e in self.said if isinstance(e, Feed)]
            others = [c for c in self.others if c.covers(first.day, first.day)]
            others += [c for c in self.others if first.day < c.days[0] <= last.day]
            if not others:
                feeds += self.alone
            feeds = [e for e in feeds if first.day < e.on <= last.day]
            days = sorted({first.day, last.day, *(e.on for e in feeds)})
            if any(after - before > FEED_GAP for before, after in pairwise(days)):
                continue
            count = (curve.count_at(first.day) + curve.count_at(last.day)) / 2
            gain_g = last.mean_g - first.mean_g
            if gain_g <= 0 or count <= 0 or not feeds:
                continue
            noise_g = WEIGHT_CV * sqrt(
                first.mean_g**2 / first.sampled + last.mean_g**2 / last.sampled
            )
            yield FcrObs(
                species=curve.cohort["species"],
                cohort=curve.cohort["id"],
                feed_kg=sum(e.kg for e in feeds),
                gain_kg=count * gain_g / 1000,
                noise_log=noise_g / gain_g,
            )

    def survival(self) -> Iterator[SurvivalObs]:
        """Yield the deaths of each cohort from its first day in a plan to the last word on it."""
        seen: set[str] = set()
        days = [e.on for e in self.said if not isinstance(e, Skipped)]
        for curve in self.curves:
            species, start = curve.cohort["species"], max(curve.days[0], curve.plan.made_on)
            if any(start < known.days[-1] and known is not curve for known in self._before(curve)):
                continue
            end = curve.days[-1] + PAST_LAST
            within = [day for day in days if start <= day <= end]
            rate = curve.deaths_a_day() / curve.plan.learned(species, "survival")
            if curve.cohort["id"] in seen or not within or rate <= 0:
                continue
            watched = (max(within) - start).days
            if watched < LEAST_WATCHED_DAYS:
                continue
            seen.add(curve.cohort["id"])
            count = curve.count_at(start)
            dead = sum(e.count for e in self.said if isinstance(e, Deaths) and start <= e.on <= end)
            yield SurvivalObs(
                species=species,
                cohort=curve.cohort["id"],
                count=count,
                dead=min(float(dead), count),
                days=watched,
                expected=rate * sum(curve.count_at(start + timedelta(n)) for n in range(watched)),
            )

    def _before(self, curve: Curve) -> Iterator[Curve]:
        """Yield what earlier plans had of the same fish: they are counted there."""
        for known in self.curves:
            if known is curve:
                return
            if known.cohort["species"] == curve.cohort["species"]:
                yield known


def tanks(
    plans: Sequence[Plan], entries: Sequence[Recorded], fish: Mapping[str, Fish]
) -> list[Tank]:
    """Return the tanks of the plans with what is recorded of them."""
    by_tank = curves(plans)
    tank_of = {c.cohort["id"]: tank for tank, known in by_tank.items() for c in known}
    said: dict[str, list[Entry]] = {tank: [] for tank in by_tank}
    alone: list[Feed] = []
    for recorded in sorted(entries, key=lambda r: (r.entry.on, r.number)):
        entry = recorded.entry
        if isinstance(entry, Feed) and entry.tank is None:
            alone.append(entry)
        elif isinstance(entry, Weigh | Deaths | FishHarvest | Feed):
            said.setdefault(entry.tank or "", []).append(entry)
        elif isinstance(entry, Done | Skipped) and entry.batch in tank_of and entry.step != "order":
            tank = entry.tank if isinstance(entry, Done) else None
            said.setdefault(tank or tank_of[entry.batch], []).append(entry)
    return [
        Tank(
            name=tank,
            curves=known,
            said=said[tank],
            alone=alone,
            others=[c for other, cs in by_tank.items() if other != tank for c in cs],
        )
        for tank, known in by_tank.items()
        if all(curve.cohort["species"] in fish for curve in known)
    ]
