"""The farm as it is on a day: what the plan had for it, corrected by what the book tells.

Without a plan in force the farm's own lists are the start, and the book's entries since then
change them. With one, the house that it began with is carried through its steps: a step is done
on the day that the book tells, not done when the book says so, and done as planned when the book
is silent. What the grower counted anew since then, in growing.csv or cohorts.csv, holds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from planner.book import Recorded
from planner.document import PlanDoc
from planner.farm import Farm, Part
from planner.present.coming import ordered_now
from planner.present.findings import Findings, unknown_names
from planner.present.fish import cohorts_now
from planner.present.house import by_lists, by_plan
from planner.present.told import ids_of, told
from planner.present.water import water_now
from planner.tables import Crop, Fish

__all__ = ["Present", "present", "row_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """The farm as it is on a day.

    Attributes
    ----------
    farm
        The farm with its batches, fish and nitrate as they are.
    happened
        What went otherwise than planned, in words, biggest first.
    doubts
        What was taken without a record, and what the grower should look at.
    """

    farm: Farm
    happened: tuple[str, ...]
    doubts: tuple[str, ...]


def present(
    farm: Farm,
    in_force: PlanDoc | None,
    entries: Sequence[Recorded],
    today: date,
    *,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
) -> Present:
    """Return the farm as it is on `today`.

    A tray keeps a set-out day only when the grower gave it; else the planner may set it out as
    soon as the seedlings are ready. For the share left of a cut see `cuts.left_of`.

    Parameters
    ----------
    in_force
        The plan in force; None when there is none. One made after `today` is left aside.
    entries
        Those of the book that are in force; entries after `today` are left out.
    """
    findings = Findings(today=today, units=farm.units)
    plan = in_force
    if plan is not None and date.fromisoformat(plan["made_on"]) > today:
        findings.doubt(
            f"the plan in force was made on {plan['made_on']}, after {today}, and is left aside: "
            "the house is taken from the farm's own lists and the book"
        )
        plan = None
    news = told(entries, 0 if plan is None else plan["book_entries"], today, findings)
    listed = farm if plan is None else _newer_rows(farm, plan)
    if plan is None:
        standing = by_lists(farm, news, today, crops, findings)
    else:
        standing = by_plan(listed, plan, news, today, crops, findings)
    cohorts = cohorts_now(listed, plan, news, today, fish, findings)
    ordered = ordered_now(listed, plan, news, today, findings)
    water = water_now(farm, plan, news, today, findings)
    tanks = [name for tank in farm.tanks for name in tank.tank_names]
    ids = [row.id for row in farm.standing] + ([] if plan is None else ids_of(plan))
    unknown_names(news.news, ids, tanks, findings)
    return Present(
        farm=farm.model_copy(
            update={
                "standing": standing,
                "cohorts": cohorts,
                "ordered": ordered,
                "water": water,
            }
        ),
        happened=findings.happened,
        doubts=findings.all_doubts,
    )


def row_of(part: Part) -> dict[str, Any]:
    """Return a row of the farm's lists by its columns, without what is left blank."""
    return part.model_dump(mode="json", by_alias=True, exclude_defaults=True)


def _newer_rows(farm: Farm, plan: PlanDoc) -> Farm:
    """Leave only the rows of the farm's lists that the plan in force has not read yet."""
    known = plan["house"]["rows_read"]
    return farm.model_copy(
        update={
            "standing": tuple(row for row in farm.standing if row_of(row) not in known),
            "cohorts": tuple(row for row in farm.cohorts if row_of(row) not in known),
        }
    )
