"""What differs from the plan and what is doubtful, gathered while the house is followed."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from planner.book import Deaths, Done, FishHarvest, Harvest, Loss, Recorded, Skipped, Weigh
from planner.errors import nearest
from planner.tables import Crop
from planner.words import Units, day_words, plural, spoken

MOST_SENTENCES = 30
SHOWN_JOBS = 3
FISH_STEPS = ("order", "stock", "take", "empty")


def name_of(crop: Crop, id: str) -> str:
    """Return a batch as the grower says it: the crop, then its id without the crop's own."""
    rest = id.removeprefix(crop.id).strip(" -") or id
    return f"{spoken(crop.name)} {rest}"


def percent(found: float, planned: float) -> str:
    """Return a deviation such as `-12 %`."""
    return f"{100 * (found / planned - 1):+.0f} %"


@dataclass(slots=True, kw_only=True)
class Findings:
    """Gathers what differs from the plan, what is doubtful, and the jobs taken as done."""

    today: date
    units: Units
    doubts: list[str] = field(default_factory=list)
    _said: list[tuple[float, int, str]] = field(default_factory=list)
    _assumed: dict[tuple[date, str], str] = field(default_factory=dict)

    def say(self, size: float, sentence: str) -> None:
        """Note a difference; the larger `size`, the earlier it is told."""
        self._said.append((-size, len(self._said), sentence))

    def doubt(self, sentence: str) -> None:
        """Note what the grower should look at."""
        if sentence not in self.doubts:
            self.doubts.append(sentence)

    def assume(self, day: date, key: str, job: str) -> None:
        """Note a job of a batch or cohort `key` that is taken as done without a record."""
        self._assumed[day, f"{key}/{job}"] = f"{job} ({day_words(day)})"

    def forget(self, key: str, *, but: str = "") -> None:
        """Take back what was assumed of a batch or cohort, but for jobs that begin with `but`."""
        for name in list(self._assumed):
            job = name[1].removeprefix(f"{key}/")
            if job != name[1] and not (but and job.startswith(but)):
                del self._assumed[name]

    @property
    def happened(self) -> tuple[str, ...]:
        """What differs from the plan, biggest first."""
        return tuple(sentence for _, _, sentence in sorted(self._said)[:MOST_SENTENCES])

    @property
    def all_doubts(self) -> tuple[str, ...]:
        """The doubts, jobs without a record first."""
        if not self._assumed:
            return tuple(self.doubts)
        jobs = [self._assumed[name] for name in sorted(self._assumed)]
        one = len(jobs) == 1
        more = f" and {len(jobs) - SHOWN_JOBS:,} more" if len(jobs) > SHOWN_JOBS else ""
        due = (
            f"{plural(len(jobs), 'job')} due before {day_words(self.today)} "
            f"{'has' if one else 'have'} no record; {'it is' if one else 'they are'} taken as "
            f"done as planned: {'; '.join(jobs[:SHOWN_JOBS])}{more}"
        )
        return (due, *self.doubts)


def unknown_names(
    news: Iterable[Recorded], batches: Iterable[str], tanks: Iterable[str], findings: Findings
) -> None:
    """Doubt entries about batches, cohorts and tanks that are not known, once for each name.

    Parameters
    ----------
    batches
        Ids of batches and cohorts.
    tanks
        Names of single tanks.
    """
    ids, tank_names = list(dict.fromkeys(batches)), list(dict.fromkeys(tanks))
    strange: Counter[tuple[str, str]] = Counter()
    no_batch = []
    for said in news:
        entry = said.entry
        if isinstance(entry, Weigh | Deaths | FishHarvest):
            if entry.tank not in tank_names:
                strange["tank", entry.tank] += 1
        elif isinstance(entry, Harvest) and not entry.batch:
            no_batch.append(entry)
        elif isinstance(entry, Done | Skipped | Loss | Harvest) and entry.batch:
            named = {entry.batch, getattr(entry, "tank", None)}
            of_tank = getattr(entry, "step", "") in FISH_STEPS and named & set(tank_names)
            if entry.batch not in ids and not of_tank:
                strange["batch or cohort", entry.batch] += 1
    for (kind, name), count in strange.items():
        hint = nearest(name, tank_names if kind == "tank" else ids)
        findings.doubt(
            f'{plural(count, "record")} on "{name}" left out: there is no such {kind}{hint}'
        )
    if no_batch:
        findings.doubt(
            f"{plural(len(no_batch), 'harvest')} without a batch, the last of "
            f"{day_words(no_batch[-1].on)}: nothing is taken off any batch"
        )
