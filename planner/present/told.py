"""What the book tells beyond what the plan in force knew.

The latest word on a step holds; a step without one is taken as done when its day is past.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from planner.book import (
    Deaths,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Recorded,
    Skipped,
    WaterTest,
    Weigh,
)
from planner.document import BatchDoc, CohortDoc, PlanDoc
from planner.present.findings import FISH_STEPS, Findings
from planner.words import day_words, plural

AMOUNTS = (Harvest, Loss, Deaths, FishHarvest)  # said twice, they would count twice

OfTank = Done | Skipped | Weigh | Deaths | FishHarvest | Feed
OfBatch = Done | Skipped | Harvest | Loss


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The entries that are news, in the order of their days, and the days of known water tests."""

    news: tuple[Recorded, ...]
    known_tests: tuple[date, ...] = ()

    def of_batch(self, *ids: str) -> list[OfBatch]:
        """Entries that name a batch by one of its ids."""
        found = (said.entry for said in self.news)
        return [
            entry
            for entry in found
            if isinstance(entry, Done | Skipped | Harvest | Loss) and entry.batch in ids
        ]

    def of_fish(self) -> list[OfTank]:
        """Entries on fish: of a tank, or of a cohort's step."""
        found = (said.entry for said in self.news)
        return [
            entry
            for entry in found
            if isinstance(entry, Weigh | Deaths | FishHarvest)
            or (isinstance(entry, Feed) and entry.tank is not None)
            or (isinstance(entry, Done | Skipped) and entry.step in FISH_STEPS)
        ]

    def tests(self) -> list[WaterTest]:
        """Water tests with nitrate."""
        found = (said.entry for said in self.news)
        return [e for e in found if isinstance(e, WaterTest) and e.nitrate_n_mg_l is not None]


def spread(found: Told, shares: Mapping[str, Sequence[tuple[str, int]]]) -> Told:
    """Share out what is told of a batch over the lots that the plan clears it in.

    Parameters
    ----------
    shares
        By the batch's id: its lots and their parts. Kilograms go by parts; lost parts are taken
        from the lots in turn.
    """
    news: list[Recorded] = []
    for said in found.news:
        entry = said.entry
        lots = shares.get(getattr(entry, "batch", None) or "", ())
        if not lots or not isinstance(entry, Done | Skipped | Harvest | Loss):
            news.append(said)
            continue
        all_parts, left = sum(parts for _, parts in lots), getattr(entry, "parts", None)
        for lot, parts in lots:
            change: dict[str, object] = {"batch": lot}
            if isinstance(entry, Harvest):
                change["kg"] = entry.kg * parts / all_parts
            elif left is not None:
                change["parts"] = min(parts, left)
                left -= min(parts, left)
                if change["parts"] == 0:
                    continue
            news.append(replace(said, entry=entry.model_copy(update=change)))
    return replace(found, news=tuple(news))


def told(entries: Iterable[Recorded], known: int, today: date, findings: Findings) -> Told:
    """Return what the book tells beyond entry number `known`, up to and with `today`."""
    held = sorted(entries, key=lambda said: (said.entry.on, said.number))
    news = [said for said in held if said.number > known]
    late = [said for said in news if said.entry.on > today]
    if late:
        findings.doubt(
            f"{plural(len(late), 'record')} dated after {day_words(today)} left out, the first of "
            f"{day_words(late[0].entry.on)}"
        )
    kept = []
    for said in news:
        entry = said.entry
        if entry.on > today or entry.kind == "void":
            continue
        if isinstance(entry, AMOUNTS) and entry.corrects is not None and entry.corrects <= known:
            findings.doubt(
                f"record {said.number} of {day_words(entry.on)} corrects record {entry.corrects}, "
                "which the plan had counted already, and is left out; count what is there and "
                "enter it in growing.csv or cohorts.csv"
            )
            continue
        kept.append(said)
    tested = [
        said.entry.on
        for said in held
        if said.number <= known
        and isinstance(said.entry, WaterTest)
        and said.entry.nitrate_n_mg_l is not None
        and said.entry.on <= today
    ]
    return Told(news=tuple(kept), known_tests=tuple(tested))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a step.

    Attributes
    ----------
    day
        Day on which it was done, or is taken as done; None when it was not.
    due
        Day for which it stands now when it was not done; None when nobody knows.
    said
        The word that decided; None when there was none.
    """

    day: date | None
    due: date | None = None
    said: Done | Skipped | None = None

    @property
    def assumed(self) -> bool:
        """Whether it is taken as done without a record."""
        return self.day is not None and not isinstance(self.said, Done)


def outcome(words: Sequence[Done | Skipped], planned: date | None, today: date) -> Outcome:
    """Return what became of a step: the last of `words`, else its day if that is past."""
    last = words[-1] if words else None
    if isinstance(last, Done):
        skips = [n for n, word in enumerate(words) if isinstance(word, Skipped)]
        return Outcome(day=words[skips[-1] + 1 if skips else 0].on, said=last)
    due = last.until if last is not None else planned
    if due is not None and due < today:
        return Outcome(day=due, said=last)
    return Outcome(day=None, due=due, said=last)


def steps(entries: Iterable[Entry], step: str) -> list[Done | Skipped]:
    """The words on a step."""
    return [e for e in entries if isinstance(e, Done | Skipped) and e.step == step]


def ids_of(plan: PlanDoc) -> list[str]:
    """Ids of the plan's batches and cohorts, and of those it began with."""
    named: list[BatchDoc | CohortDoc] = [*plan["batches"], *plan["cohorts"]]
    origins = [batch["origin"] for batch in plan["batches"] if batch["origin"]]
    return [row["id"] for row in named] + origins + [row["id"] for row in plan["house"]["standing"]]
