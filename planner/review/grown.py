"""Batches and crops: planned against real days, kilograms, losses, hours and value."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.batches import harvest_hours_kg
from planner.book import Done, Harvest, Loss, Skipped
from planner.document import BatchDoc
from planner.horizon import monday_of
from planner.observed.plans import Version, day_of, roots, versions
from planner.review.ground import DAY, Ground
from planner.review.kinds import BatchRow
from planner.tables import Crop

MIDWEEK = timedelta(days=3)

OfBatch = Done | Skipped | Harvest | Loss


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """One batch: as planned when it was set out, as the last plan had it, and what is recorded.

    Parameters
    ----------
    whole
        Whether `planned` has it from setting out on.
    said
        In the order of their days, up to the end of the span.
    """

    root: str
    crop: Crop
    planned: Version
    latest: Version
    whole: bool
    said: Sequence[OfBatch]

    def done(self, step: str) -> list[Done]:
        """Return the records of a step that was done."""
        return [e for e in self.said if isinstance(e, Done) and e.step == step]

    @property
    def harvests(self) -> list[Harvest]:
        """What was weighed of it."""
        return [e for e in self.said if isinstance(e, Harvest)]

    @property
    def first_cut(self) -> date | None:
        """Day of the first cut, weighed or not."""
        days = [e.on for e in (*self.harvests, *self.done("cut"))]
        return min(days, default=None)

    @property
    def wanted(self) -> date:
        """Day on which the first cut was planned."""
        return max(self.planned.ripe, self.planned.first_cut or self.planned.ripe)

    @property
    def set_out(self) -> date:
        """Day of setting out or sowing in place: recorded, else as the last plan had it."""
        return _set_out(self.said, self.latest)

    @property
    def ended(self) -> date | None:
        """Day on which the grower cleared it or called it finished."""
        last = [e.on for e in self.harvests if e.last]
        cleared = self.done("clear")
        if last or {lot["id"] for lot in self.latest.lots} <= {e.batch for e in cleared}:
            return max([*last, *(e.on for e in cleared)])
        return None

    def losses(self) -> Iterator[tuple[date, float]]:
        """Yield day and share of all parts of each loss; together no more than all. [-]"""
        left = parts = self.planned.parts
        for entry in self.said:
            if isinstance(entry, Loss):
                lost = min(left, parts if entry.parts is None else entry.parts)
                left -= lost
                yield entry.on, lost / parts

    def standing(self, day: date) -> float:
        """Share of the parts that was not lost before a day. [-]"""
        return 1.0 - sum(share for on, share in self.losses() if on < day)

    def counted(self, last: date) -> list[tuple[date, float]]:
        """Return the planned cuts that are held against the book.

        Of a crop that is cut once and is finished, all of them. Otherwise those of the weeks in
        which a cut was weighed or put off, each week reaching half way to the ones beside it: a
        cut of which nobody wrote anything counts nowhere. When all is lost and nothing was
        weighed, those up to the last day.
        """
        cuts = self.planned.cuts
        weighed = [e.on for e in self.harvests]
        if not weighed:
            return [c for c in cuts if c[0] <= last] if self.standing(last + DAY) <= 0 else []
        if self.crop.harvest_kind == "once" and self.ended is not None:
            return cuts
        put_off = [e.on for e in self.said if isinstance(e, Skipped) and e.step == "cut"]
        weeks = sorted({monday_of(day) for day, _ in cuts})
        told = {
            min(weeks, key=lambda week: abs(day - MIDWEEK - week))
            for day in weighed + put_off
            if weeks
        }
        return [(day, kg) for day, kg in cuts if monday_of(day) in told]


def courses(ground: Ground) -> Iterator[Course]:
    """Yield the batches that stood in the house in the span, or of which something is recorded."""
    first = roots(ground.plans)
    said: dict[str, list[OfBatch]] = defaultdict(list)
    for recorded in (*ground.before, *ground.entries):
        entry = recorded.entry
        if isinstance(entry, Done | Skipped | Harvest | Loss) and entry.batch in first:
            said[first[entry.batch]].append(entry)
    for root, group in versions(ground.plans).items():
        crop = ground.crops.get(group[0].lots[0]["crop"])
        if crop is None:
            continue
        told = said.get(root, [])
        start = _set_out(told, group[-1])
        then = [version for version in group if version.plan.made_on <= start]
        planned = then[-1] if then else group[0]
        in_force = ground.in_force(max(start, ground.plans[0].made_on))
        kept = any(version.plan is in_force for version in group)
        stood = kept and start <= ground.last and group[-1].clear > ground.first
        if stood or any(ground.within(entry.on) for entry in told):
            yield Course(
                root=root,
                crop=crop,
                planned=planned,
                latest=group[-1],
                whole=planned.among("planned", "sown", "growing"),
                said=told,
            )


def _set_out(said: Iterable[OfBatch], last: Version) -> date:
    step = "sow" if last.lots[0]["transplant"] is None else "set out"
    days = [e.on for e in said if isinstance(e, Done) and e.step == step]
    return min(days, default=last.set_out)


def batch_rows(ground: Ground) -> tuple[BatchRow, ...]:
    """Return a row for each batch, by crop, sowing day and id."""
    found = sorted(courses(ground), key=lambda c: (c.crop.id, _sow(c), c.root))
    return tuple(_row(ground, course) for course in found)


def _sow(course: Course) -> str:
    return min(lot["sow"] for lot in course.planned.lots)


def _row(ground: Ground, course: Course) -> BatchRow:
    planned, lot = course.planned, course.planned.lots[0]
    within = [(day, kg) for day, kg in planned.cuts if ground.within(day)]
    counted = [(d, kg) for d, kg in course.counted(ground.last) if d >= ground.first]
    weighed = [e.kg for e in course.harvests if ground.within(e.on)]
    gone = course.standing(ground.last + DAY) <= 0
    lost = [(on, share) for on, share in course.losses() if ground.within(on)]
    cut = course.first_cut
    days_known = course.whole and cut is not None
    telling = bool(lost) or cut is not None or course.ended is not None
    area_m2 = planned.parts * ground.part_m2(lot["zone"])
    price_kg = ground.price_kg(course.crop.id)
    end = course.ended or min(course.latest.clear, ground.last + DAY)
    planned_kg, counted_kg = (sum((kg for _, kg in cuts), 0.0) for cuts in (within, counted))
    told = min(1.0, counted_kg / planned_kg) if course.harvests and planned_kg > 0 else 1.0
    return BatchRow(
        batch=course.root,
        crop=course.crop.id,
        zone=lot["zone"],
        method=lot["method"],
        month=_sow(course)[:7],
        plants=planned.plants,
        area_m2=area_m2,
        planned_days=(course.wanted - planned.set_out).days if days_known else None,
        real_days=(cut - course.set_out).days if days_known and cut is not None else None,
        planned_kg=planned_kg,
        counted_kg=counted_kg,
        real_kg=sum(weighed, 0.0) if weighed or (gone and lost) else None,
        lost_plants=planned.plants * sum((s for _, s in lost), 0.0) if telling else None,
        lost_kg=_lost_kg(lost, planned.cuts),
        lost_counted_kg=_lost_kg(lost, counted),
        planned_loss=_planned_loss(course),
        planned_hours=sum((_hours(ground, course.crop, one) for one in planned.lots), 0.0),
        planned_m2_weeks=area_m2
        * told
        * _weeks_held(ground, course, planned.set_out, min(planned.clear, ground.last + DAY)),
        real_m2_weeks=area_m2 * told * _weeks_held(ground, course, course.set_out, end),
        course_value=_course_value(planned, area_m2, price_kg),
        late_days=_late_days(course),
        price_kg=price_kg,
    )


def _lost_kg(lost: Sequence[tuple[date, float]], cuts: Sequence[tuple[date, float]]) -> float:
    """What the plan had of the lost parts, cuts from the day of the loss on. [kg]"""
    return sum((share * kg for on, share in lost for day, kg in cuts if day >= on), 0.0)


def _planned_loss(course: Course) -> float:
    """Share of the plants that the plan took off: the table's, with what it had learned. [-]"""
    key = f"{course.crop.id}/{course.planned.lots[0]['method']}"
    return min(0.95, course.crop.loss_pct / 100 * course.planned.plan.learned(key, "loss"))


def _hours(ground: Ground, crop: Crop, lot: BatchDoc) -> float:
    """Work of a lot's planned steps within the span, at the farm's minutes. [h]"""
    labour, zone = ground.farm.labour, ground.zone(lot["zone"])
    set_out = lot["transplant"] or lot["sow"]
    minutes = 0.0
    if ground.within(day_of(lot["sow"])):
        minutes += lot["cells"] * labour.cell_min
    if ground.within(day_of(set_out)):
        minutes += lot["plants"] * labour.plant_min
    if ground.within(day_of(lot["clear"])):
        minutes += lot["parts"] * labour.place_min / (1 if zone is None else zone.parts)
    cut_kg = sum(cut["kg"] for cut in lot["cuts"] if ground.within(day_of(cut["date"])))
    return minutes / 60 + cut_kg * harvest_hours_kg(ground.farm, crop)


def _weeks_held(ground: Ground, course: Course, start: date, end: date) -> float:
    """Time in its places; of a batch cut before the span only the time in it. [weeks]"""
    earlier = not course.whole or any(e.on < ground.first for e in course.harvests)
    first = max(start, ground.first) if earlier else start
    return max(0, (end - first).days) / 7


def _course_value(planned: Version, area_m2: float, price_kg: float) -> float:
    m2_weeks = area_m2 * (planned.clear - planned.set_out).days / 7
    return price_kg * sum(kg for _, kg in planned.cuts) / m2_weeks if m2_weeks > 0 else 0.0


def _late_days(course: Course) -> int | None:
    """Days by which it was set out late, or sown late where only that is recorded. [d]"""
    lots = course.planned.lots
    for step, planned in (
        ("set out", course.planned.set_out),
        ("sow", min(day_of(lot["sow"]) for lot in lots)),
    ):
        done = course.done(step)
        if done:
            return (done[0].on - (done[0].planned_on or planned)).days
    return None
