"""Crop, fish and climate tables: read, typed, range-checked, with a source on every row."""

from dataclasses import dataclass
from typing import Literal

HarvestKind = Literal["once", "cut-and-come", "picking", "perennial"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One row of `cropdata/crops.csv`; the columns' units are in their names."""

    id: str
    name: str
    botanical_name: str
    family: str
    harvest_kind: HarvestKind
    nursery_days: int
    days_to_harvest: int  # from set-out, or from sowing when `direct_sow`
    direct_sow: bool
    harvest_window_days: int
    regrowth_interval_days: int  # 0 for crops cut once
    base_temp_c: float
    growth_min_c: float
    growth_opt_low_c: float
    growth_opt_high_c: float
    growth_max_c: float
    ref_temp_c: float
    bolts_above_c: float | None
    dli_min_mol: float
    dli_target_mol: float
    light_exponent: float  # 1 unless the row says otherwise
    germination_min_c: float
    germination_max_c: float
    bed_plants_per_m2: float
    raft_plants_per_m2: float
    tower_plants_per_slot: int
    media_bed_fit: str  # good | possible | no
    raft_fit: str
    tower_fit: str
    trellis: bool
    yield_kg_per_plant: float
    yield_unit: str  # head | bunch | each | kg
    kg_per_unit: float
    n_uptake_g_per_plant: float
    feed_rate_class: str  # leafy | fruiting
    germination_rate_pct: float
    seeds_per_cell: int
    succession_interval_days: int
    storage_temp_c: float
    started_from: str  # seed | plug | division | cutting
    shelf_days: int
    loss_pct: float
    renew_after_days: int  # 0 unless perennial
    confidence: str
    sources: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fish:
    """One row of `cropdata/fish.csv`."""

    id: str
    name: str
    scientific_name: str
    food_fish: bool
    temp_lethal_low_c: float
    temp_min_feed_c: float
    temp_opt_low_c: float
    temp_opt_high_c: float
    temp_max_c: float
    fingerling_g: float
    market_g: float
    tgc_per_1000_degree_days: float | None  # None: the growth model must not be used
    fcr: float
    feed_protein_growout_pct: float
    density_max_kg_m3: float
    do_min_mg_l: float
    do_critical_mg_l: float
    tan_max_mg_l: float
    uia_n_max_mg_l: float
    nitrite_n_max_mg_l: float
    nitrate_n_max_mg_l: float
    survival_growout_fraction: float
    body_n_fraction: float
    legal_caution: str
    sources: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Monthly climate of one place: twelve values of each, January first."""

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    tmin_c: tuple[float, ...]  # mean of daily minima
    tmax_c: tuple[float, ...]
    ghi_mj_m2_d: tuple[float, ...]
    source: str
