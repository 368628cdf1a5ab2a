"""The fish of one tank, carried from the day they were counted or stocked to today."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from planner.book import Deaths, Done, FishHarvest, Skipped, Weigh
from planner.document import CohortDoc
from planner.farm import CohortAtHand
from planner.present.course import Course
from planner.present.cuts import nearest_due
from planner.present.findings import Findings, percent
from planner.present.told import OfTank, Outcome, outcome, steps
from planner.words import Units, day_words, figure, weight

SAME_TAKE_DAYS = 10  # between a planned taking and a fish harvest that is it; judgement
LEAST_G = 0.01  # that a scale shows
WORTH_TELLING = 0.03  # deviation of a weighing from the plan; judgement


@dataclass(slots=True, kw_only=True)
class School:
    """The fish of one tank from `day` on, when they were counted or stocked.

    Parameters
    ----------
    first
        First day whose planned takings are still to be carried out.
    shift_days
        Days by which they were stocked after the day the plan had for it. [d]
    """

    tank: str
    species: str
    name: str
    day: date
    count: float
    mean_g: float
    first: date
    doc: CohortDoc | None = None
    course: Course | None = None
    shift_days: int = 0
    certain: bool = True
    row: CohortAtHand | None = None
    news: list[OfTank] = field(default_factory=list)

    def planned_g(self, day: date) -> float:
        """Mean weight that the plan had for a day, from the weight counted. [g]"""
        if self.course is None:
            return self.mean_g
        shift = timedelta(days=self.shift_days)
        return self.mean_g * self.course.mean_g(day - shift) / self.course.mean_g(self.day - shift)


@dataclass(slots=True)
class _Take:
    """A planned taking: its day, its fish, what is told of it and the fish harvests that it was."""

    day: date
    count: int
    done: Outcome
    caught: list[FishHarvest] = field(default_factory=list)


def _takes(school: School, today: date) -> tuple[list[_Take], list[FishHarvest], int]:
    """Planned takings, fish harvests beside them, and fish of other takings that were done."""
    planned = [] if school.doc is None else school.doc["taken"]
    days = [date.fromisoformat(taken["date"]) for taken in planned]
    counts = [t["count"] for t, day in zip(planned, days, strict=True) if day >= school.first]
    days = [day for day in days if day >= school.first]
    words: list[list[Done | Skipped]] = [[] for _ in days]
    other = 0
    for word in steps(school.news, "take"):
        at = nearest_due(word.planned_on or word.on, [[day] for day in days], SAME_TAKE_DAYS)
        if at is not None:
            words[at].append(word)
        elif isinstance(word, Done):
            other += word.count or 0
    takes = [
        _Take(day, count, outcome(said, day, today))
        for day, count, said in zip(days, counts, words, strict=True)
    ]
    dues = [
        [day, *(word.until for word in said if isinstance(word, Skipped) and word.until)]
        for day, said in zip(days, words, strict=True)
    ]
    beside: list[FishHarvest] = []
    for entry in school.news:
        if isinstance(entry, FishHarvest):
            at = nearest_due(entry.on, dues, SAME_TAKE_DAYS)
            (beside if at is None else takes[at].caught).append(entry)
    return takes, beside, other


def followed(school: School, made_on: date, today: date, findings: Findings) -> CohortAtHand | None:
    """Return what is left of some fish today; None when the tank is empty of them."""
    takes, beside, taken = _takes(school, today)
    taken += sum(catch.count for catch in beside)
    emptied = any(isinstance(e, FishHarvest) and e.emptied for e in school.news)
    words = steps(school.news, "empty")
    emptied = emptied or isinstance(words[-1] if words else None, Done)
    not_emptied = bool(words) and isinstance(words[-1], Skipped)
    key = school.tank if school.doc is None else school.doc["id"]
    for take in takes:
        job = f"take {take.count:,} {school.name} from {school.tank}"
        last = school.doc is not None and school.doc["harvest"] == take.day.isoformat()
        if take.caught:
            count = sum(catch.count for catch in take.caught)
            taken += count
            if count != take.count:
                kg = weight(sum(catch.kg for catch in take.caught), findings.units)
                text = f"{school.tank}: {count:,} {school.name}, {kg}, taken"
                findings.say(
                    20, f"{text} on {day_words(take.caught[-1].on)}, {take.count:,} planned"
                )
            continue
        said = take.done.said
        if isinstance(said, Skipped):
            until = f"; now {day_words(said.until)}" if said.until else "; no new day is given"
            text = f"{school.tank}: {take.count:,} {school.name} not taken"
            findings.say(25, f"{text} on {day_words(take.day)}{until}")
        if take.done.day is None:
            continue
        later = [e.on for e in school.news if e.on > take.done.day and not _is_take(e)]
        if last and take.done.assumed and later:
            findings.doubt(
                f"{school.tank} was to be empty on {day_words(take.done.day)}, but there is a "
                f"record of {day_words(max(later))}; its fish are taken to be there still"
            )
            continue
        if take.done.assumed:
            findings.assume(take.done.day, key, job)
        number = said.count if isinstance(said, Done) else None
        taken += take.count if number is None else number
        emptied = emptied or (last and number is None and not not_emptied)
    left = _alive(school, made_on, today, findings) - taken
    if emptied or round(left) < 1:
        return None
    weighed = [e for e in school.news if isinstance(e, Weigh)]
    mean_g, day = school.planned_g(today), today if school.doc is not None else school.day
    if weighed:
        newest = weighed[-1]
        planned_g = school.planned_g(newest.on)
        mean_g = newest.mean_g * school.planned_g(today) / planned_g
        day = today if school.doc is not None else newest.on
        if abs(newest.mean_g / planned_g - 1) >= WORTH_TELLING and school.course is not None:
            findings.say(
                100 * abs(newest.mean_g / planned_g - 1),
                f"{school.tank}: weighed {_each(newest.mean_g, findings.units)} on "
                f"{day_words(newest.on)}, planned {_each(planned_g, findings.units)} "
                f"({percent(newest.mean_g, planned_g)})",
            )
    return CohortAtHand(
        tank=school.tank,
        species=school.species,
        count=round(left),
        mean_g=max(LEAST_G, round(mean_g, 2)),
        as_of=day,
    )


def _is_take(entry: OfTank) -> bool:
    return isinstance(entry, Done | Skipped)


def _alive(school: School, made_on: date, today: date, findings: Findings) -> float:
    """Fish that would be there if none had been taken out. [-]

    Deaths that were recorded stand for those that the plan expected since it was made.
    """
    shift = timedelta(days=school.shift_days)
    since = max(school.day, made_on) if school.course is not None else school.day

    def expected(first: date, last: date) -> float:
        return 0.0 if school.course is None else school.course.died(first - shift, last - shift)

    dead = sum(entry.count for entry in school.news if isinstance(entry, Deaths))
    before, after = expected(school.day, since), expected(since, today)
    if dead:
        many = school.course is None or dead >= 1 + 1.5 * after
        against = f", {after:.0f} expected" if school.course is not None else ""
        if many:
            findings.say(
                50 + min(40, 100 * dead / max(1.0, school.count)),
                f"{school.tank}: {dead:,} {school.name} died{against}",
            )
    return school.count - before - (dead or after)


def _each(mean_g: float, units: Units) -> str:
    """Return the weight of one fish, as a scale shows it: in grams, or ounces and pounds. [g]"""
    return f"{figure(mean_g)} g" if units == "metric" else weight(mean_g / 1000, units)
