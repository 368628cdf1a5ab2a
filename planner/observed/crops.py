"""Days, kilograms and losses of each batch: planned against real."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.book.entries import Done, Harvest, Loss, Recorded, Skipped
from planner.observed.kinds import DaysObs, LossObs, Told, YieldObs
from planner.observed.plans import Plan, Version, roots, versions
from planner.tables import Crop

NEAR = timedelta(days=3)  # a cut so soon after the planned day was made when planned; judgement
LOOK = timedelta(days=4)  # at most, between looks at a batch that is waited for; judgement
PUTS_OFF = 2  # batches put off that show that a grower says when one is not ripe; judgement
WEEK = timedelta(days=7)
LEAST_CUT = timedelta(days=21)  # of cutting that tell of a batch that is not finished; judgement

OfBatch = Done | Skipped | Harvest | Loss


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """One batch: how the plan in force at its setting out had it, and what is recorded of it.

    Parameters
    ----------
    whole
        Whether `planned` has all of it, from setting out on, dated by the model.
    later
        As each plan had it, in the order of the plans.
    unnamed
        Days on which the crop was cut without a word of which batch.
    puts_off
        Whether its grower is known to say when a batch is not ripe on its day.
    """

    root: str
    crop: Crop
    method: str
    planned: Version
    whole: bool
    later: Sequence[Version]
    said: Sequence[OfBatch]
    unnamed: Sequence[date]
    puts_off: bool

    def learned(self, figure: str) -> float:
        """Return the factor that the plan had learned for this crop and method."""
        return self.planned.plan.learned(f"{self.crop.id}/{self.method}", figure)

    def done(self, step: str) -> list[date]:
        """Return the days on which a step was done."""
        return _done(self.said, step)

    @property
    def set_out(self) -> date:
        """Day of setting out or sowing in place, as recorded or as the last plan had it."""
        return _set_out(self.said, self.later[-1])

    @property
    def harvests(self) -> list[Harvest]:
        """What was weighed of it."""
        return [e for e in self.said if isinstance(e, Harvest)]

    @property
    def cut_days(self) -> list[date]:
        """Days on which it was cut, weighed or not."""
        return sorted({*self.done("cut"), *(e.on for e in self.harvests)})

    @property
    def end(self) -> date | None:
        """Day on which the grower cleared it or called it finished; None when neither is said."""
        last = [e.on for e in self.harvests if e.last]
        cleared = {e.batch for e in self.said if isinstance(e, Done) and e.step == "clear"}
        if last or {lot["id"] for lot in self.later[-1].lots} <= cleared:
            return max([*last, *self.done("clear")])
        return None

    def lost_parts(self, until: date = date.max) -> int:
        """Parts that were lost up to a day. [-]"""
        lost, parts = 0, self.planned.parts
        for entry in self.said:
            if isinstance(entry, Loss) and entry.on <= until:
                lost += parts if entry.parts is None else entry.parts
        return min(lost, parts)

    def days(self) -> DaysObs | None:
        """Return what is known of its days to ripeness."""
        known = self._ripeness() if self.whole else None
        if known is None:
            return None
        not_on, day, told = known
        real_days = (day - self.set_out).days
        planned_days = (self.planned.ripe - self.planned.set_out).days
        if real_days < 1 or planned_days < 1:
            return None
        return DaysObs(
            crop=self.crop.id,
            method=self.method,
            batch=self.root,
            planned_days=planned_days / self.learned("days"),
            real_days=real_days,
            told=told,
            on_time=told == "by" and real_days >= planned_days,
            from_days=max(0, (not_on - self.set_out).days) if told == "between" else 0,
        )

    def _ripeness(self) -> tuple[date, date, Told] | None:
        """Return a day, if any, on which it was not ripe, another, and what is known of that."""
        cuts, seen = self.cut_days, self.done("ripe")
        waits = put_off(self.said)
        if seen and (not cuts or seen[0] <= cuts[0]):
            return self.set_out, seen[0], "ripe"
        if not cuts:
            return (self.set_out, waits[-1], "after") if waits else None
        if waits:
            return max(waits[-1], cuts[0] - LOOK), cuts[0], "between"
        wanted = self._wanted(cuts[0])
        if cuts[0] > wanted + NEAR:
            return max(wanted, cuts[0] - LOOK), cuts[0], "between"
        due = cuts[0] >= wanted and not self.puts_off
        return self.set_out, wanted + NEAR if due else cuts[0], "by"

    def _wanted(self, cut: date) -> date:
        """Day of the first cut, as planned at setting out or as the plan in force had moved it."""
        late = max(timedelta(0), self.set_out - self.planned.set_out)
        wanted = max(self.planned.ripe, self.planned.first_cut or self.planned.ripe) + late
        then = [version for version in self.later if version.plan.made_on <= cut]
        moved = then[-1].first_cut if then else None
        return wanted if moved is None else max(wanted, moved)

    def yields(self) -> YieldObs | None:
        """Return what the cuts that were taken gave, against what was planned of them."""
        harvests, end = self.harvests, self.end
        weighed = [e.on for e in harvests]
        once = self.crop.harvest_kind == "once"
        if not self.whole or not harvests or (once and end is None):
            return None
        end_known = max(weighed) if end is None else end
        if any(all(abs(day - other) > NEAR for other in weighed) for day in self.done("cut")):
            return None  # cut, and nobody weighed it
        if any(min(weighed) - NEAR <= day <= end_known + NEAR for day in self.unnamed):
            return None  # it may have been cut of this one
        cuts = self._taken(end_known, min(weighed))
        if not cuts or (end is None and cuts[-1][0] - cuts[0][0] < LEAST_CUT):
            return None
        until = date.max if once else cuts[-1][0] + WEEK
        real_kg = sum(e.kg for e in harvests if e.on < until)
        parts = self.planned.parts
        planned_kg = sum(kg * (1 - self.lost_parts(day) / parts) for day, kg in cuts)
        keep = 1 - self.crop.loss_pct / 100
        kept_then = 1 - min(0.95, self.crop.loss_pct / 100 * self.learned("loss"))
        planned_kg *= keep / kept_then / self.learned("yield")
        if planned_kg <= 0 or real_kg <= 0:
            return None
        return YieldObs(
            crop=self.crop.id,
            method=self.method,
            batch=self.root,
            planned_kg=planned_kg,
            real_kg=real_kg,
            plants=self.planned.plants * (1 - self.lost_parts(min(weighed)) / parts),
        )

    def _taken(self, end: date, first: date) -> list[tuple[date, float]]:
        """Return the planned cuts up to the end, as late as the first one was."""
        cuts, version = self.planned.cuts, self.planned
        if not cuts:
            return []
        if self.crop.harvest_kind == "once":
            return cuts if version.clear <= version.plan.end else []
        late = max(timedelta(0), first - cuts[0][0])
        return [(day + late, kg) for day, kg in cuts if day + late <= end + NEAR]

    def losses(self) -> LossObs | None:
        """Return the plants in parts that were lost; None while nothing tells how it went."""
        lost = self.lost_parts()
        if not lost and self.end is None and not self.cut_days:
            return None
        plants = self.planned.plants
        return LossObs(
            crop=self.crop.id,
            method=self.method,
            batch=self.root,
            plants=plants,
            lost=plants * lost / self.planned.parts,
            event="; ".join(
                f"{entry.on} {entry.cause}" for entry in self.said if isinstance(entry, Loss)
            ),
        )


def batches(
    plans: Sequence[Plan], entries: Sequence[Recorded], crops: Mapping[str, Crop]
) -> Iterator[Batch]:
    """Yield every batch of the plans of which something is recorded."""
    first = roots(plans)
    said: dict[str, list[OfBatch]] = {}
    unnamed: dict[str, list[date]] = {}
    for recorded in sorted(entries, key=lambda r: (r.entry.on, r.number)):
        entry = recorded.entry
        if isinstance(entry, Harvest) and entry.batch is None:
            unnamed.setdefault(entry.crop, []).append(entry.on)
        elif isinstance(entry, Done | Skipped | Harvest | Loss) and entry.batch in first:
            said.setdefault(first[entry.batch], []).append(entry)
    puts_off = sum(bool(put_off(of)) for of in said.values()) >= PUTS_OFF
    for root, group in versions(plans).items():
        crop = crops.get(group[0].lots[0]["crop"])
        if crop is None or root not in said:
            continue
        planned, whole = _planned_by(_set_out(said[root], group[-1]), group)
        yield Batch(
            root=root,
            crop=crop,
            method=planned.lots[0]["method"],
            planned=planned,
            whole=whole,
            later=group,
            said=said[root],
            unnamed=unnamed.get(crop.id, ()),
            puts_off=puts_off,
        )


def put_off(said: Sequence[OfBatch]) -> list[date]:
    """Return the days on which the first cut of a batch was put off to another, earliest first."""
    cuts = [e.on for e in said if isinstance(e, Harvest)] + _done(said, "cut")
    days = [
        e.on for e in said if isinstance(e, Skipped) and e.step == "cut" and e.until is not None
    ]
    return sorted(day for day in days if not cuts or day < min(cuts))


def _done(said: Sequence[OfBatch], step: str) -> list[date]:
    """Return the days on which a step was done, earliest first."""
    return sorted(e.on for e in said if isinstance(e, Done) and str(e.step) == step)


def _set_out(said: Sequence[OfBatch], last: Version) -> date:
    """Return the day of setting out or sowing in place, as recorded or as the last plan had it."""
    in_place = last.lots[0]["transplant"] is None
    days = _done(said, "sow" if in_place else "set out")
    return days[0] if days else last.set_out


def _planned_by(set_out: date, group: Sequence[Version]) -> tuple[Version, bool]:
    """Return the batch as planned when it was set out, and whether that plan had it whole.

    A batch that stood in the house before the first plan is held against that one, if it had not
    been cut and its ripeness was still to come.
    """
    before = [version for version in group if version.plan.made_on <= set_out]
    if before and before[-1].among("planned", "sown", "growing"):
        return before[-1], True
    version = group[0]
    by_hand = version.plan.dated_by_hand() & {lot["id"] for lot in version.lots}
    still = version.among("growing") and version.ripe > version.plan.made_on
    return version, still and not by_hand
