"""What the forecast says of a job, in a few words: how much may be cut or taken, and when.

All of it is empty where there is no forecast, or it has no spread that words would show.
"""

from datetime import date

from planner.document import BatchDoc, CutDoc, TakenDoc, WeekRangeDoc
from planner.horizon import monday_of
from planner.ranges import Range, days_range, quantity_range, weight_range
from planner.tables import Crop
from planner.words import Units, figure, plural, weight


def cut_amount(cut: CutDoc, crop: Crop | None, units: Units) -> tuple[float, str, str]:
    """Return what is planned: number, unit and words, such as `56 heads (14 kg)`.

    Less than half a head is weighed, and so is a crop without a row.
    """
    words = weight(cut["kg"], units)
    counted = round(cut["kg"] / crop.kg_per_unit) if crop else 0
    if crop and crop.yield_unit != "kg" and counted:
        return counted, crop.yield_unit, f"{plural(counted, crop.yield_unit)} ({words})"
    return cut["kg"], "kg", words


def likely_cut(
    batch: BatchDoc, cut: CutDoc, crop: Crop | None, units: Units, *, first: bool
) -> str:
    """Return the forecast's range of a cut, such as `likely 45 to 67 heads, 11 to 16 Mar`.

    A week's range is shared out as the week's plan is. The days are those of the batch's first
    cut, and stand there alone.
    """
    days = _days(batch) if first else ""
    amount = _amount(batch, cut, crop, units)
    said = ", ".join(filter(None, (amount, days)))
    return f"likely {said}" if said else ""


def _amount(batch: BatchDoc, cut: CutDoc, crop: Crop | None, units: Units) -> str:
    monday = monday_of(date.fromisoformat(cut["date"])).isoformat()
    row = next((week for week in batch["harvest"] if week["week"] == monday), None)
    if row is None or row["kg_p10"] is None or row["kg_p90"] is None or row["kg"] <= 0:
        return ""
    kg = Range(row["kg_p10"], row["kg_p90"]).times(cut["kg"] / row["kg"])
    number, unit, _ = cut_amount(cut, crop, units)
    if unit == "kg" or crop is None:
        said, plan = quantity_range(kg, "kg", units), weight(cut["kg"], units)
    else:
        said = quantity_range(kg.times(1 / crop.kg_per_unit), unit, units)
        plan = plural(number, unit)
    if said == plan:
        return ""
    return "none yet" if said.split(" ")[0] == "0" else said


def _days(batch: BatchDoc) -> str:
    first, last = batch["first_harvest_p10"], batch["first_harvest_p90"]
    if first is None or first == last:
        return ""
    return days_range(date.fromisoformat(first), None if last is None else date.fromisoformat(last))


def likely_take(taken: TakenDoc, share: Range | None, units: Units) -> str:
    """Return what the fish taken may weigh together, such as `likely 9.4 to 11.4 kg`.

    `share` is what a fish may weigh that week, as a share of the plan. [-]
    """
    said = "" if share is None else weight_range(share.times(taken["kg"]), units)
    return "" if said in ("", weight(taken["kg"], units)) else f"likely {said}"


def likely_nitrate(week: WeekRangeDoc | None) -> str:
    """Return where nitrate-N may stand at a week's end, such as `likely 29 to 36`. [mg/L]"""
    if week is None:
        return ""
    low, high = figure(week["nitrate_n_mg_l_p10"]), figure(week["nitrate_n_mg_l_p90"])
    return "" if low == high else f"likely {low} to {high}"
