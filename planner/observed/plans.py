"""The plans kept in the book, as what happened is held against them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, cast

from planner.document import BatchDoc, PlanDoc

LOST = "-lost"  # ends the id of the lost parts of a batch, which only wait to be cleared


def day_of(text: str) -> date:
    """Return the date of a document's text."""
    return date.fromisoformat(text)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """A plan kept in the book: the day it was made on, and its document."""

    made_on: date
    document: PlanDoc

    @property
    def end(self) -> date:
        """First day after its horizon."""
        horizon = self.document["horizon"]
        return day_of(horizon["start"]) + timedelta(weeks=horizon["weeks"])

    def learned(self, key: str, figure: str) -> float:
        """Return the factor of a figure that the plan had learned: 1 when it had none."""
        known = cast(Mapping[str, Any], self.document).get("learned") or {}
        return float(known.get(key, {}).get(figure, 1.0))

    def counted(self) -> Mapping[str, date]:
        """Return, by tank, the day on which the fish of the house were counted."""
        rows = self.document["house"]["cohorts"]
        return {row["tank"]: day_of(row["as_of"]) for row in rows}

    def dated_by_hand(self) -> set[str]:
        """Return the batches of the house whose ripeness or first cut was not the model's."""
        rows = self.document["house"]["standing"]
        return {row["id"] for row in rows if row.get("ripe") or row.get("first_cut")}


def in_order(plans: Iterable[tuple[date, PlanDoc]]) -> list[Plan]:
    """Return the plans by the day they were made on; of one day, as they were kept."""
    found = [Plan(made_on=made_on, document=document) for made_on, document in plans]
    return sorted(found, key=lambda plan: plan.made_on)


def roots(plans: Sequence[Plan]) -> dict[str, str]:
    """Return, by each batch id, the id under which that batch was first planned.

    A plan that clears a batch in several weeks gives the later shares ids of their own.
    """
    found: dict[str, str] = {}
    for plan in plans:
        for batch in plan.document["batches"]:
            if batch["id"] in found:
                continue
            before = batch.get("origin") or batch["id"]
            if before.endswith(LOST) and before.removesuffix(LOST) in found:
                before = before.removesuffix(LOST)
            found[batch["id"]] = found.get(before, before)
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Version:
    """One batch as one plan had it: its lots, without parts that were lost already."""

    plan: Plan
    lots: tuple[BatchDoc, ...]

    @property
    def parts(self) -> int:
        """Parts of all lots. [-]"""
        return sum(lot["parts"] for lot in self.lots)

    @property
    def plants(self) -> int:
        """Plants of all lots. [-]"""
        return sum(lot["plants"] for lot in self.lots)

    @property
    def set_out(self) -> date:
        """Day of setting out, or of sowing in place."""
        return min(day_of(lot["transplant"] or lot["sow"]) for lot in self.lots)

    @property
    def ripe(self) -> date:
        """Day on which it is ripe."""
        return min(day_of(lot["ripe"]) for lot in self.lots)

    @property
    def first_cut(self) -> date | None:
        """Day of the first cut within the horizon."""
        days = [lot["first_harvest"] for lot in self.lots]
        return min((day_of(day) for day in days if day is not None), default=None)

    @property
    def clear(self) -> date:
        """Day on which the last of it is cleared."""
        return max(day_of(lot["clear"]) for lot in self.lots)

    @property
    def cuts(self) -> list[tuple[date, float]]:
        """Days and kilograms of its cuts within the horizon."""
        cuts = [(day_of(cut["date"]), cut["kg"]) for lot in self.lots for cut in lot["cuts"]]
        return sorted(cuts)

    def among(self, *states: str) -> bool:
        """Whether all lots were in one of these states on the plan date."""
        return all(lot["state"] in states for lot in self.lots)


def versions(plans: Sequence[Plan]) -> dict[str, list[Version]]:
    """Return every batch as each plan had it, by the id under which it was first planned."""
    first = roots(plans)
    found: dict[str, list[Version]] = {}
    for plan in plans:
        lots: dict[str, list[BatchDoc]] = {}
        for batch in plan.document["batches"]:
            if not batch["id"].endswith(LOST):
                lots.setdefault(first[batch["id"]], []).append(batch)
        for root, group in lots.items():
            found.setdefault(root, []).append(Version(plan=plan, lots=tuple(group)))
    return found
