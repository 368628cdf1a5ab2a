"""Rows of the crop, fish and climate tables: what each column may hold, and what contradicts what.

The field types say the range or the allowed words, and whether a cell may stay blank; the reader
takes its checks and its messages from them, so a new column is one new field.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]
Words = Annotated[str, Field(min_length=1, max_length=500)]
Remark = Annotated[str, Field(max_length=2000)]
Days = Annotated[int, Field(ge=0, le=3650)]
FewDays = Annotated[int, Field(ge=0, le=730)]
Celsius = Annotated[float, Field(ge=-5, le=50)]
LightMol = Annotated[float, Field(ge=0, le=80)]
Percent = Annotated[float, Field(ge=0, le=100)]
PerM2 = Annotated[float, Field(ge=0, le=5000)]
Kilogram = Annotated[float, Field(gt=0, le=100)]
Gram = Annotated[float, Field(gt=0, le=50_000)]
MilligramL = Annotated[float, Field(gt=0, le=1000)]
Conversion = Annotated[float, Field(ge=0.3, le=10)]
GrowthRate = Annotated[float, Field(gt=0, le=10)]

HarvestKind = Literal["once", "cut-and-come", "picking", "perennial"]
Fit = Literal["good", "possible", "no"]
Confidence = Literal["mixed", "memory", "own"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One row of `cropdata/crops.csv`; the columns' units are in their names."""

    id: Id
    name: Words
    botanical_name: Words
    family: Words
    harvest_kind: HarvestKind
    nursery_days: FewDays
    days_to_harvest: Annotated[int, Field(ge=1, le=730)]  # from set-out, or sowing if `direct_sow`
    direct_sow: bool
    harvest_window_days: FewDays
    regrowth_interval_days: FewDays  # 0 for crops cut once
    base_temp_c: Celsius
    growth_min_c: Celsius
    growth_opt_low_c: Celsius
    growth_opt_high_c: Celsius
    growth_max_c: Celsius
    ref_temp_c: Celsius
    bolts_above_c: Celsius | None
    dli_min_mol: LightMol
    dli_target_mol: Annotated[float, Field(gt=0, le=80)]
    light_exponent: Annotated[float, Field(ge=0, le=4)] = 1.0
    germination_min_c: Celsius
    germination_max_c: Celsius
    bed_plants_per_m2: PerM2
    raft_plants_per_m2: PerM2
    tower_plants_per_slot: Annotated[int, Field(ge=0, le=50)]
    media_bed_fit: Fit
    raft_fit: Fit
    tower_fit: Fit
    trellis: bool
    yield_kg_per_plant: Kilogram
    yield_unit: Literal["head", "bunch", "each", "kg"]
    kg_per_unit: Kilogram
    n_uptake_g_per_plant: Annotated[float, Field(ge=0, le=500)]
    feed_rate_class: Literal["leafy", "fruiting"]
    germination_rate_pct: Annotated[float, Field(ge=1, le=100)]
    seeds_per_cell: Annotated[int, Field(ge=0, le=200)]
    succession_interval_days: FewDays
    storage_temp_c: Annotated[float, Field(ge=-5, le=30)]
    started_from: Literal["seed", "plug", "division", "cutting"]
    shelf_days: FewDays
    loss_pct: Annotated[float, Field(ge=0, le=95)]
    renew_after_days: Days  # 0 unless perennial
    confidence: Confidence
    sources: Words  # keys of cropdata/sources.csv
    note: Remark
    days_to_harvest_from: Literal["transplant", "sowing"] = "transplant"
    germination_opt_c: Celsius | None = None
    n_harvest_pct_fm: Annotated[float, Field(gt=0, le=5)] | None = None
    dry_matter_pct: Annotated[float, Field(gt=0, le=95)] | None = None
    residue_n_share: Annotated[float, Field(ge=0, le=0.95)] | None = None
    daylength_response: Literal["long", "short", "neutral"] = "neutral"
    pollination: Literal["none", "vibration", "insect"] = "none"
    media_bed_reason: Remark = ""
    raft_reason: Remark = ""
    tower_reason: Remark = ""
    from_memory: Remark = ""
    common_practice: Remark = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fish:
    """One row of `cropdata/fish.csv`."""

    id: Id
    name: Words
    scientific_name: Words
    food_fish: bool
    temp_lethal_low_c: Celsius
    temp_min_feed_c: Celsius
    temp_opt_low_c: Celsius
    temp_opt_high_c: Celsius
    temp_max_c: Celsius
    fingerling_g: Gram
    market_g: Gram
    tgc_per_1000_degree_days: GrowthRate | None  # None: the growth model must not be used
    fcr: Conversion
    feed_protein_growout_pct: Annotated[float, Field(ge=5, le=80)]
    density_max_kg_m3: Annotated[float, Field(ge=0.1, le=300)]
    do_min_mg_l: Annotated[float, Field(gt=0, le=20)]
    do_critical_mg_l: Annotated[float, Field(gt=0, le=20)]
    tan_max_mg_l: MilligramL
    uia_n_max_mg_l: MilligramL
    nitrite_n_max_mg_l: MilligramL
    nitrate_n_max_mg_l: MilligramL
    survival_growout_fraction: Annotated[float, Field(gt=0, le=1)]
    body_n_fraction: Annotated[float, Field(ge=0.005, le=0.1)]
    legal_caution: Annotated[str, Field(min_length=1, max_length=2000)]
    sources: Words  # keys of cropdata/sources.csv
    tgc_low: GrowthRate | None = None
    tgc_high: GrowthRate | None = None
    tgc_basis: Remark = ""
    fcr_low: Conversion | None = None
    fcr_high: Conversion | None = None
    confidence: Confidence = "own"
    verified: Remark = ""
    from_memory: Remark = ""
    note: Remark = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Monthly climate of one place: twelve values of each, January first.

    A grower's own file may leave out where it was measured; the place is then not a number.
    """

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    tmin_c: tuple[float, ...]  # mean of daily minima
    tmax_c: tuple[float, ...]
    ghi_mj_m2_d: tuple[float, ...]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthRow:
    """One row of a climate file: one month of one station."""

    station: Id
    name: Words
    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]
    elevation_m: Annotated[float, Field(ge=-430, le=6000)]
    month: Annotated[int, Field(ge=1, le=12)]
    tmin_c: Annotated[float, Field(ge=-60, le=40)]
    tmax_c: Annotated[float, Field(ge=-50, le=55)]
    ghi_mj_m2_d: Annotated[float, Field(ge=0, le=45)]  # mean global radiation on the flat
    source: Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One row of `cropdata/sources.csv`: what a key in `sources` stands for."""

    key: Words
    citation: Words
    read: Words  # how much of the work was read


# Columns that must not fall from left to right.
_RISING: dict[type, tuple[tuple[str, ...], ...]] = {
    Crop: (
        ("growth_min_c", "growth_opt_low_c", "growth_opt_high_c", "growth_max_c"),
        ("base_temp_c", "growth_min_c"),
        ("germination_min_c", "germination_opt_c", "germination_max_c"),
        ("dli_min_mol", "dli_target_mol"),
    ),
    Fish: (
        (
            "temp_lethal_low_c",
            "temp_min_feed_c",
            "temp_opt_low_c",
            "temp_opt_high_c",
            "temp_max_c",
        ),
        ("do_critical_mg_l", "do_min_mg_l"),
        ("uia_n_max_mg_l", "tan_max_mg_l"),
    ),
    MonthRow: (("tmin_c", "tmax_c"),),
}
# Columns that must differ, the first being the lower.
_BELOW: dict[type, tuple[tuple[str, str], ...]] = {
    Crop: (("base_temp_c", "ref_temp_c"),),
    Fish: (
        ("temp_min_feed_c", "temp_opt_low_c"),
        ("temp_opt_high_c", "temp_max_c"),
        ("fingerling_g", "market_g"),
    ),
}


def contradictions(kind: type, values: Mapping[str, Any]) -> Iterator[str]:
    """Tell which cells of a row cannot both be true."""
    chains = [(chain, False) for chain in _RISING.get(kind, ())]
    chains += [(pair, True) for pair in _BELOW.get(kind, ())]
    for chain, strictly in chains:
        filled = [name for name in chain if values.get(name) is not None]
        for left, right in pairwise(filled):
            if values[left] > values[right] or (strictly and values[left] == values[right]):
                word = "below" if strictly else "at most"
                yield (
                    f"{left} is {values[left]:g} and {right} is {values[right]:g};"
                    f" {left} must be {word} {right}"
                )
    if kind is Crop:
        yield from _crop_contradictions(values)


def _crop_contradictions(values: Mapping[str, Any]) -> Iterator[str]:
    for fit, density in (
        ("media_bed_fit", "bed_plants_per_m2"),
        ("raft_fit", "raft_plants_per_m2"),
        ("tower_fit", "tower_plants_per_slot"),
    ):
        if values.get(density) == 0 and values.get(fit, "no") != "no":
            yield f"{fit} is {values[fit]} but {density} is 0; give a density, or no"
    kind = values.get("harvest_kind", "once")
    if kind != "once" and values.get("regrowth_interval_days") == 0:
        yield f"regrowth_interval_days is 0; give the days between cuts of a {kind} crop"
    if kind == "perennial" and values.get("renew_after_days") == 0:
        yield "renew_after_days is 0; give the days after which a perennial is renewed"
    if values.get("yield_unit") == "kg" and values.get("kg_per_unit", 1) != 1:
        yield f"kg_per_unit is {values['kg_per_unit']:g}; it is 1 where yield_unit is kg"
    if "direct_sow" in values:
        if values["direct_sow"] and values.get("nursery_days", 0) > 0:
            yield f"nursery_days is {values['nursery_days']}; it is 0 for a crop sown in place"
        counted = "sowing" if values["direct_sow"] else "transplant"
        if values.get("days_to_harvest_from", counted) != counted:
            yield f"days_to_harvest_from is {values['days_to_harvest_from']}; give {counted}"
