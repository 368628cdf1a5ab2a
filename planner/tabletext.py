"""Rows of the crop and fish tables as a few lines of text, each with its sources."""

from collections.abc import Iterable, Mapping

from planner.tables import Crop, Fish, Source
from planner.words import plural, spoken

_KINDS = {
    "once": "cut once",
    "cut-and-come": "cut and comes again",
    "picking": "picked again and again",
    "perennial": "perennial",
}
_STARTS = {"seed": "seed", "plug": "plugs", "division": "divisions", "cutting": "cuttings"}
_FEEDS = {"leafy": "leafy crop", "fruiting": "fruiting crop"}
_SURE = {
    "mixed": "in part from memory or judgement",
    "memory": "mostly from memory",
    "own": "the grower's own",
}


def described(row: Crop | Fish) -> str:
    """Return a row of the crop or the fish table in a few lines, its id and name first."""
    lines = _crop(row) if isinstance(row, Crop) else _fish(row)
    head, *rest = [line for line in lines if line]
    return "\n".join([head, *(f"  {line}" for line in rest)])


def cited(rows: Iterable[Crop | Fish], sources: Mapping[str, Source]) -> str:
    """Return what the keys of the rows' sources stand for, a line each, in the order of `sources`.

    A key that `sources` does not know comes last.
    """
    used = {key.strip() for row in rows for key in row.sources.split(";")}
    known = [row for key, row in sources.items() if key in used]
    lines = [f"  {row.key}: {row.citation} ({row.read})" for row in known]
    lines += [f"  {key}: not a source of the shipped tables" for key in sorted(used - {*sources})]
    return "\n".join(["Sources (what was read of them)", *lines])


def _crop(crop: Crop) -> list[str]:
    bolts = "" if crop.bolts_above_c is None else f", bolts above {crop.bolts_above_c:g}"
    uses = (
        f"{crop.kg_per_unit:g} kg a {crop.yield_unit}" if crop.yield_unit != "kg" else "by the kg"
    )
    pollen = "" if crop.pollination == "none" else f"; flowers want {crop.pollination} pollination"
    return [
        f"{crop.id}: {spoken(crop.name)} ({crop.botanical_name}, {crop.family})",
        f"Days: {_crop_days(crop)}",
        f"Air °C: the days are for {crop.ref_temp_c:g}, best {crop.growth_opt_low_c:g} to "
        f"{crop.growth_opt_high_c:g}, grows {crop.growth_min_c:g} to {crop.growth_max_c:g}, "
        f"base {crop.base_temp_c:g}{bolts}; seed germinates {crop.germination_min_c:g} to "
        f"{crop.germination_max_c:g}",
        f"Light: target {crop.dli_target_mol:g} mol/m² a day, least {crop.dli_min_mol:g}{pollen}",
        f"Plants: {_spacing(crop)}{'; needs a trellis' if crop.trellis else ''}",
        f"Yield: {crop.yield_kg_per_plant:g} kg a plant, {crop.loss_pct:g} % lost, sold {uses}; "
        f"keeps {plural(crop.shelf_days, 'day')} at {crop.storage_temp_c:g} °C",
        f"Nitrogen: {crop.n_uptake_g_per_plant:g} g a plant, {_FEEDS[crop.feed_rate_class]}",
        *_grounds(crop),
        _remark("Common practice or judgement", crop.common_practice),
        _remark("Note", crop.note),
    ]


def _crop_days(crop: Crop) -> str:
    kind = _KINDS[crop.harvest_kind]
    if crop.direct_sow:
        start = f"sown in place, ripe {crop.days_to_harvest} after sowing"
    else:
        start = (
            f"from {_STARTS[crop.started_from]}, {crop.nursery_days} in the nursery, "
            f"ripe {crop.days_to_harvest} after setting out"
        )
    if crop.harvest_kind == "once":
        end = f"stands {crop.harvest_window_days} more"
    else:
        end = f"every {crop.regrowth_interval_days} for {crop.harvest_window_days}"
    if crop.renew_after_days:
        end += f", renewed after {crop.renew_after_days}"
    return f"{start}; {kind}, {end}"


def _spacing(crop: Crop) -> str:
    """Say how many plants each method carries, and how well the crop fits it."""
    found = []
    for method, fit, density, per, reason in (
        ("bed", crop.media_bed_fit, crop.bed_plants_per_m2, "m²", crop.media_bed_reason),
        ("raft", crop.raft_fit, crop.raft_plants_per_m2, "m²", crop.raft_reason),
        ("tower", crop.tower_fit, crop.tower_plants_per_slot, "slot", crop.tower_reason),
    ):
        if fit == "no":
            found.append(f"{method} no{_why(reason)}")
        else:
            found.append(
                f"{method} {density:g} a {per}, {fit}{'' if fit == 'good' else _why(reason)}"
            )
    return "; ".join(found)


def _why(reason: str) -> str:
    return f" ({reason})" if reason else ""


def _fish(fish: Fish) -> list[str]:
    tgc = fish.tgc_per_1000_degree_days
    if tgc is None:
        growth = "not known, so it cannot be planned"
    else:
        between = _between(fish.tgc_low, fish.tgc_high)
        growth = f"thermal growth coefficient {tgc:g}{between} per 1000 degree-days"
    return [
        f"{fish.id}: {fish.name} ({fish.scientific_name}){'' if fish.food_fish else ', not food'}",
        f"Water °C: best {fish.temp_opt_low_c:g} to {fish.temp_opt_high_c:g}, feeds above "
        f"{fish.temp_min_feed_c:g}, lives above {fish.temp_lethal_low_c:g} and below "
        f"{fish.temp_max_c:g}",
        f"Growth: {growth}; bought at {fish.fingerling_g:g} g, sold at {fish.market_g:g} g, "
        f"{fish.survival_growout_fraction * 100:g} % live that long",
        f"Feed: {fish.fcr:g}{_between(fish.fcr_low, fish.fcr_high)} kg for 1 kg of growth, "
        f"{fish.feed_protein_growout_pct:g} % protein; the body holds "
        f"{fish.body_n_fraction * 100:g} % nitrogen",
        f"Density: at most {fish.density_max_kg_m3:g} kg/m³",
        f"Water quality, mg/L: oxygen {fish.do_min_mg_l:g} or more, danger below "
        f"{fish.do_critical_mg_l:g}; at most TAN {fish.tan_max_mg_l:g}, un-ionised ammonia-N "
        f"{fish.uia_n_max_mg_l:g}, nitrite-N {fish.nitrite_n_max_mg_l:g}, nitrate-N "
        f"{fish.nitrate_n_max_mg_l:g}",
        f"Law: {fish.legal_caution}",
        *_grounds(fish),
        _remark("Growth is from", fish.tgc_basis),
        _remark("Checked", fish.verified),
        _remark("Note", fish.note),
    ]


def _grounds(row: Crop | Fish) -> list[str]:
    """Say where a row's figures come from, and which are from memory."""
    memory = row.from_memory.removeprefix("from memory: ")
    return [f"Sources ({_SURE[row.confidence]}): {row.sources}", _remark("From memory", memory)]


def _between(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f" ({low:g} to {high:g})"


def _remark(head: str, text: str) -> str:
    body = text.removeprefix("common practice or judgement: ")
    return f"{head}: {body}" if body else ""
