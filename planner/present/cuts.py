"""The cuts of a batch: which were made, by the book or by the plan, and what is left to cut."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.book import Done, Entry, Harvest, Skipped
from planner.present.told import Outcome, outcome, steps
from planner.tables import Crop

SAME_CUT_DAYS = 3  # between a planned cut and a harvest that is it; judgement
ALL_CUT = 0.02  # a smaller share of the heads left is none; judgement
PERENNIAL_YEAR_DAYS = 240  # the table's yield of a perennial is for these days, as in `crops`


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedCut:
    """A cut of the plan and what the book tells of it.

    Attributes
    ----------
    day, kg
        As planned. [kg]
    done
        What became of it.
    harvests
        Harvests that were it: each one's nearest cut, within `SAME_CUT_DAYS`.
    """

    day: date
    kg: float
    done: Outcome
    harvests: tuple[Harvest, ...] = ()

    @property
    def passed_on(self) -> date | None:
        """First day on which it was cut, or is taken as cut; None when it was not."""
        return min((h.on for h in self.harvests), default=self.done.day)

    @property
    def cut_kg(self) -> float:
        """Weight cut: as recorded, else as planned when it was done. [kg]"""
        if self.harvests:
            return sum(h.kg for h in self.harvests)
        return 0.0 if self.done.day is None else self.kg


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """The cuts of a lot.

    Attributes
    ----------
    extra, other_days
        Harvests beside the plan, and days of other cuts that were done.
    ready
        Day on which the grower sees it ripe; None when there is no such word, or it was cut since.
    """

    planned: tuple[PlannedCut, ...]
    extra: tuple[Harvest, ...]
    other_days: tuple[date, ...]
    ready: date | None

    @property
    def kg(self) -> float:
        """All that was cut. [kg]"""
        return sum(cut.cut_kg for cut in self.planned) + sum(h.kg for h in self.extra)

    @property
    def first(self) -> date | None:
        """Day of the first cut."""
        days = [day for cut in self.planned if (day := cut.passed_on)]
        return min([*days, *(h.on for h in self.extra), *self.other_days], default=None)

    @property
    def recorded(self) -> bool:
        """Whether the book tells of any cut."""
        told = any(c.harvests or isinstance(c.done.said, Done) for c in self.planned)
        return told or bool(self.extra or self.other_days)

    @property
    def put_off(self) -> bool:
        """Whether the book says that a cut was not made when due, and no later one was made."""
        return _put_off(self.planned) is not None


def cuts_of(
    planned: Sequence[tuple[date, float]], entries: Sequence[Entry], today: date, late_days: int
) -> Cuts:
    """Match what the book tells of a lot's cuts with the plan's.

    Parameters
    ----------
    planned
        Day and weight of each cut, in order. [kg]
    late_days
        Days by which the lot was set out late: without a record its cuts are as late. [d]
    """
    days = [day for day, _ in planned]
    late = timedelta(days=late_days)
    words: dict[int, list[Done | Skipped]] = defaultdict(list)
    other_days = []
    waits: list[Skipped] = []
    for word in steps(entries, "cut"):
        at = days.index(word.planned_on) if word.planned_on in days else None
        if at is None:
            dues = [[day, day + late] for day in days]
            at = nearest_due(word.planned_on or word.on, dues, SAME_CUT_DAYS)
        if at is not None:
            words[at].append(word)
        elif isinstance(word, Done):
            other_days.append(word.on)
        else:
            waits.append(word)
    due = [
        [day, day + late, *(w.until for w in words[n] if isinstance(w, Skipped) and w.until)]
        for n, day in enumerate(days)
    ]
    of_cut: dict[int, list[Harvest]] = defaultdict(list)
    extra: list[Harvest] = []
    for entry in entries:
        if isinstance(entry, Harvest):
            at = nearest_due(entry.on, due, SAME_CUT_DAYS)
            (extra if at is None else of_cut[at]).append(entry)
    cuts = tuple(
        PlannedCut(
            day=day,
            kg=kg,
            done=outcome(words[n], day + late, today),
            harvests=tuple(of_cut[n]),
        )
        for n, (day, kg) in enumerate(planned)
    )
    cut_on = [*(h.on for h in extra), *other_days, *(c.passed_on for c in cuts if c.passed_on)]
    open_waits = [w.until for w in waits if not any(on >= w.on for on in cut_on)]
    put_off = _put_off(cuts)
    ready = put_off.done.due if put_off else (open_waits[-1] if open_waits else None)
    return Cuts(
        planned=cuts,
        extra=tuple(extra),
        other_days=tuple(other_days),
        ready=ready if ready is not None and ready >= today else None,
    )


def _put_off(cuts: Sequence[PlannedCut]) -> PlannedCut | None:
    """Return the cut that the book says was not made when due, unless a later one was made."""
    waiting = None
    for cut in cuts:
        if cut.passed_on is not None:
            waiting = None
        elif cut.done.said is not None:
            waiting = cut
    return waiting


def nearest_due(day: date, dues: Sequence[Sequence[date]], within: int) -> int | None:
    """Return the number of the job that is due nearest to a day, within some days. [d]"""
    gaps = [(min(abs((day - due).days) for due in some), n) for n, some in enumerate(dues)]
    gap, n = min(gaps, default=(within + 1, 0))
    return n if gap <= within else None


def left_of(crop: Crop, plants: int, cuts: Cuts, before: float | None) -> tuple[float | None, bool]:
    """Return the share left of the cut under way, None for the model's own, and if all is cut.

    Of a crop cut once it is the share of its yield that was not cut yet, by the harvests recorded,
    else by the plan's cuts that are past; a last planned cut without a harvest takes all. Of leaf
    that grows again it is what the harvests recorded since the last planned cut leave of one cut.
    Of picked fruit it is never known.

    Parameters
    ----------
    plants
        That were set out. [-]
    before
        The share left on the day from which the cuts are counted. [-]
    """
    finished = any(h.last for cut in cuts.planned for h in cut.harvests)
    finished = finished or any(h.last for h in cuts.extra)
    if crop.harvest_kind == "picking":
        return None, finished
    sound_kg = plants * crop.yield_kg_per_plant * (1 - crop.loss_pct / 100)
    if crop.harvest_kind != "once":
        return (before if cuts.first is None else _of_one_cut(crop, sound_kg, cuts)), finished
    if cuts.first is None:
        return before, finished
    last = cuts.planned[-1] if cuts.planned else None
    all_passed = last is not None and last.passed_on is not None
    if last is not None and all_passed and not last.harvests:
        return None, True
    here = 1.0 if before is None else before
    planned_kg = sum(cut.kg for cut in cuts.planned)
    most_kg = planned_kg if all_passed else max(planned_kg, here * sound_kg)
    left = here * max(0.0, 1 - cuts.kg / most_kg) if most_kg > 0 else here
    return left, finished or left < ALL_CUT


def _of_one_cut(crop: Crop, all_kg: float, cuts: Cuts) -> float | None:
    """Share that the harvests since the last planned cut leave of one cut of leaf."""
    every = max(1, crop.regrowth_interval_days)
    if crop.harvest_kind == "perennial":
        one_kg = all_kg * every / PERENNIAL_YEAR_DAYS
    else:
        one_kg = all_kg / (1 + crop.harvest_window_days // every)
    passed = [cut for cut in cuts.planned if cut.passed_on is not None]
    if not passed:
        return None
    since = min(passed[-1].day, passed[-1].passed_on or passed[-1].day)
    kg = sum(h.kg for h in (*passed[-1].harvests, *(h for h in cuts.extra if h.on >= since)))
    most_kg = max(one_kg, passed[-1].kg)
    return max(0.0, 1 - kg / most_kg) if kg > 0 and most_kg > 0 else None
