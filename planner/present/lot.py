"""One batch, carried from the day it was last known to today."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import count

from planner.book import Done, Entry, Harvest, Loss, Skipped
from planner.document import BatchDoc
from planner.farm import Standing, Zone
from planner.present.cuts import Cuts, cuts_of, left_of
from planner.present.findings import Findings, name_of, percent
from planner.present.told import OfBatch, Outcome, outcome, steps
from planner.tables import Crop, plants_per_part
from planner.words import day_words, plural, weight

WORTH_TELLING = 0.1  # deviation of a harvest from the plan; judgement
LEAST_KG = 0.05
_DONE_WORDS = {"sow": "sown", "set out": "set out", "cut": "cut", "clear": "cleared"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """A batch to be carried on.

    Parameters
    ----------
    parts
        Parts that it holds, or is to hold. [-]
    places
        Parts by number of the place; empty when it is not known where it stands.
    base
        As it was known; None for one that was only planned.
    counted
        The day of that knowledge.
    first
        First day whose planned steps are still to be carried out.
    batch
        The plan for it, if there is one.
    news
        What the book tells of it, in the order of days.
    """

    id: str
    crop: Crop
    zone: Zone
    parts: int
    places: Mapping[int, int]
    base: Standing | None
    batch: BatchDoc | None
    counted: date
    first: date
    news: Sequence[OfBatch]

    @property
    def name(self) -> str:
        """The crop and the id."""
        return name_of(self.crop, self.id)

    def planned(self, step: str) -> date | None:
        """Day of a step of the plan that is still to be carried out."""
        if self.batch is None:
            return None
        days = {
            "sow": self.batch["sow"],
            "set out": self.batch["transplant"],
            "clear": self.batch["clear"],
        }
        text = days[step]
        day = None if text is None else date.fromisoformat(text)
        return day if day is None or day >= self.first else None

    @property
    def planned_cuts(self) -> list[tuple[date, float]]:
        """Day and weight of the plan's cuts that are still to be carried out. [kg]"""
        cuts = [] if self.batch is None else self.batch["cuts"]
        days = [(date.fromisoformat(cut["date"]), cut["kg"]) for cut in cuts]
        return [(day, kg) for day, kg in days if day >= self.first]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stands:
    """A row of the house.

    Parameters
    ----------
    certain
        Whether it was counted or recorded, not only planned, to be where it is.
    set_out
        Whether it holds places.
    """

    row: Standing
    certain: bool
    set_out: bool


@dataclass(slots=True)
class _Follow:
    """Follows one lot through its steps."""

    lot: Lot
    today: date
    findings: Findings

    def rows(self) -> list[Stands]:
        lot, base = self.lot, self.lot.base
        sown = self._sown()
        if sown is None:
            return []
        late = _days_late(sown, lot.planned("sow"))
        in_place = lot.crop.direct_sow and (base is None or base.transplant is None)
        if in_place:
            out: date | None = sown
            due = None
        else:
            out, due = self._set_out(late)
            late = 0 if out is None else _days_late(out, lot.planned("set out"))
        parts = whole = self._parts_done()
        losses = [entry for entry in lot.news if isinstance(entry, Loss)]
        in_tray = [entry for entry in losses if out is None or entry.on < out]
        parts -= self._lost(in_tray, parts)
        if parts < 1:
            self.findings.forget(lot.id)
            return []
        if out is None:
            cleared = any(_done(entry, "clear") for entry in lot.news)
            return [] if cleared else [self._tray(parts, sown, due)]
        cuts = self._cuts(late)
        parts = self._after_clearing(cuts, parts, late)
        if parts < 1:
            return []
        lost = self._lost([entry for entry in losses if entry not in in_tray], parts)
        zone = lot.zone
        plants = whole * plants_per_part(
            lot.crop, zone.method.value, zone.area_m2, zone.sites, zone.parts
        )
        before = None if base is None else base.left
        left, finished = left_of(lot.crop, plants, cuts, before)
        self._tell_rest(cuts, left, finished)
        row = Standing(
            id=lot.id,
            crop=lot.crop.id,
            zone=zone.name,
            parts=parts,
            **_held(lot.places, parts),
            sow=min(sown, out),
            transplant=None if in_place else out,
            first_cut=self._first_cut(cuts, out),
            as_of=self.today,
            ripe=self._ripe(cuts),
            left=None if finished or left is None else round(left, 4),
            finished=finished or lost >= parts or (base is not None and base.finished),
        )
        certain = (
            base is not None
            or cuts.recorded
            or any(_done(entry, "sow" if in_place else "set out") for entry in lot.news)
        )
        rows = [row] if lost in (0, parts) else _parted(row, lot, lost)
        return [Stands(row=row, certain=certain, set_out=True) for row in rows]

    # Steps

    def _seen_cut(self) -> list[date]:
        """Days on which it was cut by the book: it must have stood there."""
        return [e.on for e in self.lot.news if isinstance(e, Harvest) or _done(e, "cut")]

    def _sown(self) -> date | None:
        lot, base = self.lot, self.lot.base
        result = outcome(steps(lot.news, "sow"), lot.planned("sow"), self.today)
        self._tell_step("sow", result)
        if base is not None:
            return result.day if isinstance(result.said, Done) else base.sow
        seen = self._seen_cut() + [
            e.on for e in lot.news if isinstance(e, Loss) or _done(e, "set out")
        ]
        if seen and (result.day is None or result.assumed):
            return min([*seen, *([result.day] if result.day else [])])
        if result.day is not None and result.assumed:
            self.findings.assume(result.day, lot.id, f"sow {lot.name}")
        return result.day

    def _set_out(self, late: int) -> tuple[date | None, date | None]:
        """Day on which it was set out, or None and the day the grower gave for it."""
        lot = self.lot
        words = steps(lot.news, "set out")
        known = None if lot.base is None else lot.base.transplant
        if known is not None and known <= lot.counted and not words:
            return known, None
        planned = lot.planned("set out")
        days = [known] if known is not None and known > lot.counted else []
        days += [planned + timedelta(days=late)] if planned is not None else []
        when = max(days, default=known)
        result = outcome(words, when, self.today)
        self._tell_step("set out", result)
        seen = self._seen_cut()
        if seen and (result.day is None or result.assumed):
            return min([*seen, *([when] if when else [])]), None
        if result.day is not None and result.assumed and lot.batch is not None:
            self.findings.assume(result.day, lot.id, f"set out {lot.name}")
        given = result.said is not None or known is not None
        return result.day, result.due if given else None

    def _parts_done(self) -> int:
        """Parts that were sown and set out, where the book gives their number."""
        parts = self.lot.parts
        for step in ("sow", "set out"):
            given = [e.parts for e in self.lot.news if _done(e, step) and isinstance(e, Done)]
            counted = [number for number in given if number is not None]
            if counted and sum(counted) != parts:
                said = f"{self.lot.name}: {sum(counted)} of {plural(parts, 'part')}"
                self.findings.say(40, f"{said} {_DONE_WORDS[step]}")
                parts = sum(counted)
        return parts

    def _lost(self, losses: Sequence[Loss], parts: int) -> int:
        """Parts that were lost, at most all of them."""
        lost = 0
        for loss in losses:
            number = parts if loss.parts is None else min(loss.parts, parts)
            lost = min(parts, lost + number)
            share = "lost" if number >= parts else f"{number} of {plural(parts, 'part')} lost"
            cause = f" ({loss.cause})" if loss.cause else ""
            self.findings.say(
                60 + 30 * number / parts,
                f"{self.lot.name}: {share} on {day_words(loss.on)}{cause}",
            )
        return lost

    def _tray(self, parts: int, sown: date, due: date | None) -> Stands:
        lot, base = self.lot, self.lot.base
        in_tray = base is not None and (base.transplant is None or base.transplant > base.as_of)
        kept = base if in_tray and base is not None and base.parts == parts else None
        row = Standing(
            id=lot.id,
            crop=lot.crop.id,
            zone=lot.zone.name,
            parts=parts,
            places=() if kept is None else kept.places,
            parts_in=() if kept is None else kept.parts_in,
            sow=sown,
            transplant=due if due is not None and due > self.today else None,
            as_of=self.today,
        )
        return Stands(row=row, certain=True, set_out=False)

    def _cuts(self, late: int) -> Cuts:
        lot = self.lot
        cuts = cuts_of(lot.planned_cuts, lot.news, self.today, late)
        for cut in cuts.planned:
            if not cut.harvests and cut.done.day is not None and cut.done.assumed:
                self.findings.assume(cut.done.day, lot.id, f"cut {lot.name}")
            if not cut.harvests and isinstance(cut.done.said, Skipped):
                self._tell_skipped("cut", cut.day, cut.done.said)
        weighed = [cut for cut in cuts.planned if cut.harvests]
        kg, planned_kg = sum(c.cut_kg for c in weighed), sum(c.kg for c in weighed)
        if planned_kg > 0 and abs(kg - planned_kg) >= max(LEAST_KG, WORTH_TELLING * planned_kg):
            units = self.findings.units
            self.findings.say(
                100 * abs(kg / planned_kg - 1),
                f"{lot.name}: {weight(kg, units)} cut, planned {weight(planned_kg, units)} "
                f"({percent(kg, planned_kg)})",
            )
        extra_kg = sum(h.kg for h in cuts.extra)
        if lot.batch is not None and extra_kg >= LEAST_KG:
            amount = weight(extra_kg, self.findings.units)
            self.findings.say(20, f"{lot.name}: {amount} cut beside the plan")
        return cuts

    def _after_clearing(self, cuts: Cuts, parts: int, late: int) -> int:
        """Parts that still stand: a clearing without a record waits for the cut before it."""
        lot = self.lot
        words = steps(lot.news, "clear")
        planned = lot.planned("clear")
        when = None if planned is None or cuts.put_off else planned + timedelta(days=late)
        result = outcome(words, when, self.today)
        self._tell_step("clear", result)
        if result.day is None:
            return parts
        if result.assumed:
            after = [e.on for e in lot.news if isinstance(e, Loss) and e.on > result.day]
            after += [day for day in self._seen_cut() if day > result.day]
            if after:
                self.findings.doubt(
                    f"{lot.name} was to be cleared on {day_words(result.day)}, but there is a "
                    f"record of {day_words(max(after))}; it is taken to stand still"
                )
                return parts
            self.findings.assume(result.day, lot.id, f"clear {lot.name}")
            return 0
        given = [e.parts for e in words if isinstance(e, Done)]
        counted = [number for number in given if number is not None]
        return max(0, parts - sum(counted)) if len(counted) == len(given) else 0

    def _first_cut(self, cuts: Cuts, out: date) -> date | None:
        base = self.lot.base
        days = [day for day in (None if base is None else base.first_cut, cuts.first) if day]
        return max(out, min(days)) if days else None

    def _ripe(self, cuts: Cuts) -> date | None:
        if cuts.ready is not None:
            return cuts.ready
        seen = [entry.on for entry in self.lot.news if _done(entry, "ripe")]
        if seen and not cuts.first:
            return min(seen)
        return None if self.lot.base is None or cuts.first else self.lot.base.ripe

    # Words

    def _tell_step(self, step: str, result: Outcome) -> None:
        planned = self.lot.planned(step)
        if isinstance(result.said, Skipped):
            self._tell_skipped(step, planned, result.said)
        elif result.day is not None and isinstance(result.said, Done) and planned is not None:
            days = (result.day - planned).days
            if days:
                side = "late" if days > 0 else "early"
                self.findings.say(
                    10 + min(20, abs(days)),
                    f"{self.lot.name}: {_DONE_WORDS[step]} on {day_words(result.day)}, "
                    f"{plural(abs(days), 'day')} {side}",
                )

    def _tell_skipped(self, step: str, planned: date | None, said: Skipped) -> None:
        day = said.planned_on or planned or said.on
        cause = f" ({said.cause})" if said.cause else ""
        until = f"; now {day_words(said.until)}" if said.until else "; no new day is given"
        self.findings.say(
            35, f"{self.lot.name}: not {_DONE_WORDS[step]} on {day_words(day)}{cause}{until}"
        )

    def _tell_rest(self, cuts: Cuts, left: float | None, finished: bool) -> None:
        """Doubt heads left over after the last planned cut: they may be gone."""
        last = cuts.planned[-1] if cuts.planned else None
        if (
            self.lot.crop.harvest_kind == "once"
            and left is not None
            and not finished
            and last is not None
            and last.harvests
        ):
            self.findings.doubt(
                f"{self.lot.name}: {100 * left:.0f} % is taken to stand still after its last "
                "planned cut; if it is not so, record the harvest as the last"
            )


def carried(lot: Lot, today: date, findings: Findings) -> list[Stands]:
    """Return what stands of a lot today: nothing, a tray, or its sound and its lost parts."""
    return _Follow(lot, today, findings).rows()


def _done(entry: Entry, step: str) -> bool:
    return isinstance(entry, Done) and entry.step == step


def _days_late(day: date, planned: date | None) -> int:
    return 0 if planned is None else max(0, (day - planned).days)


def trimmed(places: Mapping[int, int], parts: int) -> dict[int, int]:
    """Return the first `parts` parts of the places; nothing when there are fewer."""
    found: dict[int, int] = {}
    left = parts
    for place, held in sorted(places.items()):
        if left > 0:
            found[place] = min(held, left)
            left -= found[place]
    return found if left == 0 else {}


def _held(places: Mapping[int, int], parts: int) -> dict[str, tuple[int, ...]]:
    found = trimmed(places, parts)
    return {"places": tuple(found), "parts_in": tuple(found.values())}


def _parted(row: Standing, lot: Lot, lost: int) -> list[Standing]:
    """Return the sound rest, which keeps the id, and the lost parts, which wait to be cleared."""
    kept = _held(row.parts_by_place, row.parts - lost)
    here = row.parts_by_place
    for place, parts in zip(kept["places"], kept["parts_in"], strict=True):
        here[place] -= parts
    gone = _held({place: parts for place, parts in here.items() if parts}, lost)
    return [
        row.model_copy(update={"parts": row.parts - lost, **kept}),
        row.model_copy(
            update={"id": f"{row.id}-lost", "parts": lost, "finished": True, "left": None, **gone}
        ),
    ]


def unlike(name: str, taken: Iterable[str]) -> str:
    """Return a name that is not taken: itself, or with the first number that is free."""
    used = set(taken)
    return (
        name
        if name not in used
        else next(made for n in count(2) if (made := f"{name}-{n}") not in used)
    )
