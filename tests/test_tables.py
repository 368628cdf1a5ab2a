"""The shipped tables are whole and sourced; a grower's own rows override them or are refused."""

import csv
import math
import re
from dataclasses import asdict, fields, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.resources import shipped
from planner.sheets import LARGEST_FILE_MB, MOST_COLUMNS, MOST_FAULTS, columns_of
from planner.tables import (
    Crop,
    Fish,
    cells_for,
    load_crops,
    load_fish,
    load_sources,
    load_stations,
    plants_per_part,
    read_station,
    resolve_group,
)

CROPS = load_crops()
FISH = load_fish()

# A column that is not marked as from memory or common practice leans on one of these sources.
BACKING = {
    "nursery_days": {"UDTP", "USUTP", "MSUHERB"},
    "days_to_harvest": {"FAO589"},
    "harvest_window_days": {"FAO589"},
    "germination_min_c": {"ORGERM"},
    "germination_opt_c": {"ORGERM"},
    "germination_max_c": {"ORGERM"},
    "base_temp_c": {"UDGDD", "PEET"},
    "growth_min_c": {"KNOTT97", "GPN20", "FAO589", "OSUSTR"},
    "growth_opt_low_c": {"KNOTT97", "GPN20", "FAO589", "OSUSTR"},
    "growth_opt_high_c": {"KNOTT97", "GPN20", "FAO589", "OSUSTR"},
    "growth_max_c": {"KNOTT97", "GPN20", "FAO589", "OSUSTR"},
    "bolts_above_c": {"FAO589"},
    "dli_min_mol": {"DLI3", "CORNELL", "RUNKLE"},
    "dli_target_mol": {"RUNKLE", "CORNELL", "BOTH"},
    "daylength_response": {"UCIPM"},
    "bed_plants_per_m2": {"FAO589", "UVI04", "HEND24", "PETR13"},
    "raft_plants_per_m2": {"FAO589", "UVI04", "HEND24", "PETR13"},
    "tower_plants_per_slot": set(),
    "yield_kg_per_plant": {"FAO589", "UVI04"},
    "dry_matter_pct": {"SR26"},
    "n_harvest_pct_fm": {"SR26", "UCDSTR"},
    "residue_n_share": {"UCDTOM", "UCDSTR", "EVER00", "NEV4"},
    "pollination": {"MSUPOL", "UFCUC", "SHIPP94"},
    "germination_rate_pct": {"FSA"},
    "storage_temp_c": {"NEV16"},
    "seeds_per_cell": set(),
    "succession_interval_days": set(),
    "shelf_days": set(),
    "loss_pct": set(),
    "light_exponent": set(),
}
BLANK = {
    "bolts_above_c": None,
    "bed_plants_per_m2": 0,
    "raft_plants_per_m2": 0,
    "tower_plants_per_slot": 0,
    "pollination": "none",
    "nursery_days": 0,
}


def raw_rows(name):
    """Return a shipped file's rows as texts."""
    with (shipped("cropdata") / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def own_file(folder, text, name="crops.csv"):
    """Write a grower's own table."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def faults_of(read, path):
    """Return the faults that reading a file raises."""
    with pytest.raises(InputError) as caught:
        read(path)
    return caught.value.faults


def faults_if_any(read, path):
    """Return the faults that reading a file raises; none where it gives a table."""
    try:
        read(path)
    except InputError as error:
        return error.faults
    return ()


def the_fault(read, path):
    """Return the only fault that reading a file raises."""
    faults = faults_of(read, path)
    assert len(faults) == 1, faults
    return faults[0]


# --- What is shipped ---------------------------------------------------------------------------


def test_shipped_tables_are_large_enough():
    assert len(CROPS) >= 45
    assert len(FISH) >= 12
    assert list(load_stations()) == ["duluth_mn", "helena_mt", "chicago_ohare_il"]


@pytest.mark.parametrize(("name", "kind"), [("crops.csv", Crop), ("fish.csv", Fish)])
def test_columns_of_the_file_are_the_fields(name, kind):
    assert set(raw_rows(name)[0]) == {field.name for field in fields(kind)}


def test_values_are_typed():
    lettuce = CROPS["lettuce_butterhead"]
    assert type(lettuce.nursery_days) is int
    assert type(lettuce.yield_kg_per_plant) is float
    assert lettuce.direct_sow is False
    assert CROPS["radish"].direct_sow is True
    assert lettuce.regrowth_interval_days == 0
    assert CROPS["mint"].bolts_above_c is None
    assert FISH["koi"].food_fish is False
    assert FISH["tilapia_nile"].tgc_per_1000_degree_days == 1.0


def test_crayfish_have_no_growth_model():
    without = {id for id, fish in FISH.items() if fish.tgc_per_1000_degree_days is None}
    assert without == {"crayfish_redclaw", "crayfish_red_swamp"}


@pytest.mark.parametrize("table", [CROPS, FISH], ids=["crops", "fish"])
def test_every_source_resolves(table):
    known = load_sources()
    cited = {id: row.sources.split(";") for id, row in table.items()}
    assert all(keys and len(keys) == len(set(keys)) for keys in cited.values())
    assert {key for keys in cited.values() for key in keys} - known.keys() == set()


def test_every_source_is_cited():
    rows = [*CROPS.values(), *FISH.values()]
    cited = {key for row in rows for key in row.sources.split(";")}
    assert load_sources().keys() - cited == {"OWN"}


def test_keys_in_notes_are_sources_of_the_row():
    known = load_sources()
    for row in (*CROPS.values(), *FISH.values()):
        named = {word for word in re.findall(r"[A-Z][A-Z0-9]{3,}", row.note) if word in known}
        assert named <= set(row.sources.split(";")), row.id


def test_what_is_from_memory_is_said():
    columns = columns_of(Crop)
    for row in CROPS.values():
        assert row.from_memory.startswith("from memory: "), row.id
        assert row.confidence in ("mixed", "memory")
        assert (row.confidence == "memory") == ("nearly all" in row.from_memory), row.id
        if row.confidence == "mixed":
            memory = row.from_memory.removeprefix("from memory: ").split("; ")
            habit = row.common_practice.removeprefix("common practice or judgement: ").split("; ")
            assert set(memory) | set(habit) <= set(columns), row.id
            assert not set(memory) & set(habit), row.id
    assert all(row.from_memory.startswith("from memory: ") for row in FISH.values())
    assert all(row.confidence in ("mixed", "memory") for row in FISH.values())


@pytest.mark.parametrize("column", BACKING)
def test_what_is_not_from_memory_has_its_source(column):
    for row in CROPS.values():
        marked = f"{row.from_memory}; {row.common_practice}".replace(":", ";").split("; ")
        nothing_said = getattr(row, column) == BLANK.get(column, "?")
        sown_in_place = column == "nursery_days" and row.direct_sow
        if row.confidence == "memory" or column in marked or nothing_said or sown_in_place:
            continue
        assert BACKING[column] & set(row.sources.split(";")), row.id


def test_derived_columns_agree():
    trays = {"microgreens_mixed", "pea_shoots"}
    for row in CROPS.values():
        assert row.ref_temp_c == (row.growth_opt_low_c + row.growth_opt_high_c) / 2
        harvested_g = row.yield_kg_per_plant * 1000 * row.n_harvest_pct_fm / 100
        whole_g = 0 if row.id in trays else harvested_g / (1 - row.residue_n_share)
        assert row.n_uptake_g_per_plant == pytest.approx(whole_g, abs=0.011), row.id
        if row.yield_unit == "head":
            assert row.kg_per_unit == row.yield_kg_per_plant


def test_crops_without_a_place_say_why():
    nowhere = [
        row
        for row in CROPS.values()
        if (row.media_bed_fit, row.raft_fit, row.tower_fit) == ("no", "no", "no")
    ]
    assert {row.id for row in nowhere} == {"rosemary", "microgreens_mixed", "pea_shoots"}
    assert all(row.note.startswith("not planted by the planner") for row in nowhere)
    for row in CROPS.values():
        assert row.media_bed_reason, row.id
        assert row.raft_reason, row.id
        assert row.tower_reason, row.id
        assert (row.media_bed_fit == "no") == (row.bed_plants_per_m2 == 0), row.id
        assert (row.raft_fit == "no") == (row.raft_plants_per_m2 == 0), row.id
        assert (row.tower_fit == "no") == (row.tower_plants_per_slot == 0), row.id


def test_fish_ranges_hold_their_values():
    for fish in FISH.values():
        assert fish.legal_caution
        assert fish.fcr_low <= fish.fcr <= fish.fcr_high
        if fish.tgc_per_1000_degree_days is not None:
            assert fish.tgc_low <= fish.tgc_per_1000_degree_days <= fish.tgc_high
            assert fish.tgc_basis


def test_nitrate_limit_of_fish():
    """FAO paper 589: under 400 mg/L, read as the ion; 14.007 of 62.004 g/mol is nitrogen."""
    highest_n_mg_l = 400 * 14.007 / 62.004
    assert all(fish.nitrate_n_max_mg_l <= highest_n_mg_l for fish in FISH.values())


@pytest.mark.parametrize(
    ("id", "start_g", "end_g", "days", "celsius"),
    [
        ("tilapia_nile", 79.2, 813.8, 168, 28),  # Rakocy et al. 2004; start and °C from memory
        ("tilapia_red", 58.8, 512.5, 168, 28),  # the same
        ("trout_rainbow", 0.1, 900, 365, 15),  # FAO AFFRIS; hatch weight assumed
    ],
)
def test_growth_coefficients_lie_near_trials(id, start_g, end_g, days, celsius):
    """Defaults are at or a little under what the trials reached."""
    trial = 1000 * (math.cbrt(end_g) - math.cbrt(start_g)) / (days * celsius)
    assert 0.8 * trial <= FISH[id].tgc_per_1000_degree_days <= trial


def test_stations_have_twelve_months_of_one_place():
    rows = raw_rows("climate.csv")
    assert len(rows) == 36
    assert all(row["source"] for row in rows)
    for station in load_stations().values():
        assert len(station.tmin_c) == len(station.tmax_c) == len(station.ghi_mj_m2_d) == 12
        own = [row for row in rows if row["station"] == station.id]
        for column in ("name", "latitude", "longitude", "elevation_m", "source"):
            assert len({row[column] for row in own}) == 1
        assert station.source
        assert station.ghi_mj_m2_d[5] > 3 * station.ghi_mj_m2_d[11]  # June and December, 40-50° N


@pytest.mark.parametrize(
    ("id", "mean_c", "kwh_m2"),
    [
        ("duluth_mn", 4.0206, 1342.32),
        ("helena_mt", 7.162, 1459.0),
        ("chicago_ohare_il", 9.988, 1406.6),
    ],
)
def test_stations_give_back_their_year(id, mean_c, kwh_m2):
    """Yearly means of the NREL TMY3 hourly files; the mean of extremes is near the hourly mean."""
    station = load_stations()[id]
    days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    year_kwh = sum(mj * n for mj, n in zip(station.ghi_mj_m2_d, days, strict=True)) / 3.6
    means = [(low + high) / 2 for low, high in zip(station.tmin_c, station.tmax_c, strict=True)]
    year_c = sum(mean * n for mean, n in zip(means, days, strict=True)) / 365
    assert year_kwh == pytest.approx(kwh_m2, rel=0.001)
    assert year_c == pytest.approx(mean_c, abs=0.6)


# --- A grower's own rows -----------------------------------------------------------------------


def test_own_row_overrides_and_blank_keeps(tmp_path):
    path = own_file(tmp_path, "id,days_to_harvest,shelf_days\nkale,,3\nokra,44,\n")
    crops = load_crops(path)
    assert list(crops) == list(CROPS)
    assert crops["kale"] == replace(
        CROPS["kale"], shelf_days=3, sources=CROPS["kale"].sources + ";OWN"
    )
    assert crops["okra"].days_to_harvest == 44
    assert crops["okra"].shelf_days == CROPS["okra"].shelf_days
    assert crops["mint"] is CROPS["mint"]
    assert load_crops()["kale"] == CROPS["kale"]


def test_uptake_follows_an_own_yield(tmp_path):
    crops = load_crops(own_file(tmp_path, "id,yield_kg_per_plant\nkale,1.0\nmicrogreens_mixed,1\n"))
    assert crops["kale"].n_uptake_g_per_plant == pytest.approx(
        2 * CROPS["kale"].n_uptake_g_per_plant
    )
    assert crops["microgreens_mixed"].n_uptake_g_per_plant == 0
    told = own_file(tmp_path, "id,yield_kg_per_plant,n_uptake_g_per_plant\nkale,1.0,4\n")
    assert load_crops(told)["kale"].n_uptake_g_per_plant == 4


def test_own_new_row(tmp_path):
    values = asdict(CROPS["radish"]) | {"id": "radish_winter", "name": "winter radish"}
    for column in ("sources", "confidence", "note", "light_exponent", "days_to_harvest_from"):
        values[column] = ""
    path = tmp_path / "crops.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, values)
        writer.writeheader()
        writer.writerow(values)
    crops = load_crops(path)
    assert list(crops) == [*CROPS, "radish_winter"]
    assert crops["radish_winter"] == replace(
        CROPS["radish"],
        id="radish_winter",
        name="winter radish",
        sources="OWN",
        confidence="own",
        note="",
    )


def test_shipped_file_reads_back_as_an_own_file():
    crops = load_crops(shipped("cropdata") / "crops.csv")
    assert dict(crops) == dict(CROPS)
    assert dict(load_fish(shipped("cropdata") / "fish.csv")) == dict(FISH)


def test_marks_spaces_and_capitals_are_tolerated(tmp_path):
    text = (
        '\ufeff ID , Shelf_Days ,direct_sow,media_bed_fit,,\n\n"\ufeffkale",  "3.0", FALSE ,No,,\n'
    )
    kale = load_crops(own_file(tmp_path, text))["kale"]
    assert kale.shelf_days == 3
    assert kale.media_bed_fit == "no"


def test_own_fish(tmp_path):
    path = own_file(tmp_path, "id,fcr,market_g\ntilapia_nile,1.5,700\n", "fish.csv")
    nile = load_fish(path)["tilapia_nile"]
    assert (nile.fcr, nile.market_g) == (1.5, 700)
    assert nile.sources.endswith(";OWN")
    fault = the_fault(load_fish, own_file(tmp_path, "id,fcr\ntilapia_nil,1.5\n", "fish.csv"))
    assert fault.startswith("fish.csv line 2 (tilapia_nil): is not a row of the shipped table")
    assert 'did you mean "tilapia_nile"?' in fault
    assert "market_g" in fault
    assert "fcr," not in fault


# --- Faults ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "column", "allowed"),
    [
        ("-2", "yield_kg_per_plant", "a number above 0 to 100"),
        ("nan", "yield_kg_per_plant", "a number above 0 to 100"),
        ("inf", "yield_kg_per_plant", "a number above 0 to 100"),
        ("1e999", "bed_plants_per_m2", "a number from 0 to 5000"),
        ("12 kg", "yield_kg_per_plant", "a number above 0 to 100"),
        ("1.5", "nursery_days", "a whole number from 0 to 730"),
        ("9" * 5000, "nursery_days", "a whole number from 0 to 730"),
        ("perhaps", "trellis", "true or false"),
        ("350", "growth_max_c", "a number from -5 to 50"),
        ("x" * 501, "name", "a text of at most 500 signs"),
    ],
)
def test_wrong_cell(tmp_path, cell, column, allowed):
    fault = the_fault(load_crops, own_file(tmp_path, f"id,{column}\nkale,{cell}\n"))
    shown = cell if len(cell) <= 40 else cell[:40] + "…"
    assert fault == f'crops.csv line 2 (kale): {column} is "{shown}"; give {allowed}'


def test_wrong_word_names_the_nearest(tmp_path):
    fault = the_fault(load_crops, own_file(tmp_path, "id,harvest_kind\nkale,picked\n"))
    assert fault == (
        'crops.csv line 2 (kale): harvest_kind is "picked"; give one of once, cut-and-come, '
        'picking, perennial; did you mean "picking"?'
    )


def test_all_faults_at_once(tmp_path):
    text = (
        "id,yeild_kg_per_plant,shelf_days,shelf_days,loss_pct\n"
        "kale,1,-1,2,3\n"
        "okra,1,,2\n"
        'mint,"two\nlines",-1,2,x\n'
        "kale,1,2,3,4\n"
        "Bad Id,1,2,3,4\n"
    )
    faults = faults_of(load_crops, own_file(tmp_path, text))
    assert faults[0] == (
        'crops.csv line 1: column "yeild_kg_per_plant" is not known;'
        ' did you mean "yield_kg_per_plant"?'
    )
    assert faults[1] == 'crops.csv line 1: column "shelf_days" stands twice; keep one'
    assert [fault.split(":")[0] for fault in faults[2:]] == [
        "crops.csv line 3",
        "crops.csv line 4 (mint)",
        "crops.csv line 6",
        "crops.csv line 7 (Bad Id)",
        "crops.csv line 7 (Bad Id)",
    ]
    assert "has 4 cells where the header has 5" in faults[2]
    assert 'loss_pct is "x"; give a number from 0 to 95' in faults[3]
    assert faults[4].endswith("id kale stands already in crops.csv line 2; keep one")
    assert "small letters, digits and _" in faults[5]


@pytest.mark.parametrize(
    ("header", "row", "told"),
    [
        ("growth_opt_low_c", "kale,25", "growth_opt_low_c is 25 and growth_opt_high_c is 24"),
        ("growth_max_c", "kale,20", "growth_opt_high_c is 24 and growth_max_c is 20"),
        ("base_temp_c", "kale,10", "base_temp_c is 10 and growth_min_c is 4.4"),
        ("ref_temp_c", "kale,4.4", "base_temp_c must be below ref_temp_c"),
        ("dli_min_mol", "kale,30", "dli_min_mol must be at most dli_target_mol"),
        ("germination_opt_c", "kale,1", "germination_min_c must be at most germination_opt_c"),
        ("raft_plants_per_m2", "kale,0", "raft_fit is good but raft_plants_per_m2 is 0"),
        ("regrowth_interval_days", "kale,0", "give the days between cuts of a cut-and-come crop"),
        ("renew_after_days", "mint,0", "after which a perennial is renewed"),
        ("direct_sow", "kale,true", "nursery_days is 28; it is 0 for a crop sown in place"),
        ("kg_per_unit", "okra,0.5", "kg_per_unit is 0.5; it is 1 where yield_unit is kg"),
        ("days_to_harvest_from", "kale,sowing", "give transplant"),
    ],
)
def test_cells_that_contradict(tmp_path, header, row, told):
    fault = the_fault(load_crops, own_file(tmp_path, f"id,{header}\n{row}\n"))
    assert fault.startswith(f"crops.csv line 2 ({row.split(',')[0]}): ")
    assert told in fault


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ("temp_opt_high_c,31,temp_max_c,31", "temp_opt_high_c must be below temp_max_c"),
        ("temp_lethal_low_c,20,fcr,2", "temp_lethal_low_c must be at most temp_min_feed_c"),
        ("fingerling_g,600,fcr,2", "fingerling_g must be below market_g"),
        ("do_critical_mg_l,6,fcr,2", "do_critical_mg_l must be at most do_min_mg_l"),
    ],
)
def test_fish_that_contradict(tmp_path, cells, told):
    first, value, second, other = cells.split(",")
    text = f"id,{first},{second}\ntilapia_nile,{value},{other}\n"
    assert told in the_fault(load_fish, own_file(tmp_path, text, "fish.csv"))


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty; its first line must name the columns"),
        (b"\n , ,\n\n", "is empty"),
        (b"id,name\nkale,gr\xfcn\n", "line 2: is not UTF-8 text"),
        ("id,name\nkale,x\n".encode("utf-16"), "is not UTF-8 text"),
        (b'id,name\nkale,"open\n', "line 2: is no CSV"),
        (b"id;name\nkale;x\n", "no commas between cells"),
        (b"name\nkale\n", "column id is missing; it is needed"),
        (b"id,,name\nkale,x,y\n", "column 2 has no name"),
        (b"id,name\nkale,x,y\n", "has 3 cells where the header has 2"),
        (b"id" + b",name" * MOST_COLUMNS, f"at most {MOST_COLUMNS} are read"),
        (b"id,name\n" + b"x" * (LARGEST_FILE_MB * 1_000_000), "is larger than 5 MB"),
        (b'id,name\nkale,"' + b"x" * 200_000 + b'"\n', "is no CSV (field larger than"),
    ],
)
def test_wrong_file(tmp_path, content, told):
    fault = the_fault(load_crops, own_file(tmp_path, content))
    assert fault.startswith("crops.csv")
    assert told in fault


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        assert the_fault(load_crops, path) == f"{path.name}: there is no such file"


def test_number_of_faults_is_bounded(tmp_path):
    faults = faults_of(load_crops, own_file(tmp_path, "id,name\n" + "a,\nb,\n" * 50_000))
    assert len(faults) == MOST_FAULTS + 1
    assert faults[-1] == "and more faults; mend these first"


# --- A grower's own climate --------------------------------------------------------------------

YEAR = "".join(f"{month},{month - 9},{month},{month + 1}\n" for month in range(12, 0, -1))


def test_own_station(tmp_path):
    path = own_file(tmp_path, "month,tmin_c,tmax_c,ghi_mj_m2_d\n" + YEAR, "ridge.csv")
    station = read_station(path)
    assert (station.id, station.name) == ("ridge", "ridge")
    assert station.tmin_c == tuple(range(-8, 4))
    assert station.tmax_c == tuple(range(1, 13))
    assert station.ghi_mj_m2_d == tuple(range(2, 14))
    assert math.isnan(station.latitude)
    assert station.source == "the grower's own ridge.csv"


def test_shipped_station_reads_back_as_an_own_file(tmp_path):
    text = (shipped("cropdata") / "climate.csv").read_text(encoding="utf-8")
    own = "".join(line for line in text.splitlines(True) if not re.match("duluth|chicago", line))
    assert read_station(own_file(tmp_path, own)) == load_stations()["helena_mt"]
    fault = the_fault(read_station, shipped("cropdata") / "climate.csv")
    assert fault == "climate.csv: holds 3 stations; give the twelve months of one"


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (YEAR.replace("12,3,12,13", "12,3,12,"), "ghi_mj_m2_d is blank; it is needed"),
        (YEAR.replace("12,3,12,13", "12,3,2,13"), "tmin_c is 3 and tmax_c is 2"),
        (YEAR.replace("12,3,12,13", "12,3,120,13"), 'tmax_c is "120"; give a number from -50'),
        (YEAR.replace("12,3,12,13\n", ""), "(ridge): months 12 are missing"),
        (YEAR + "12,3,12,13\n", "month 12 stands twice; give it once"),
        ("", "has no rows; give twelve, one for each month"),
    ],
)
def test_wrong_station(tmp_path, rows, told):
    path = own_file(tmp_path, "month,tmin_c,tmax_c,ghi_mj_m2_d\n" + rows, "ridge.csv")
    fault = the_fault(read_station, path)
    assert fault.startswith("ridge.csv")
    assert told in fault


def test_station_without_radiation(tmp_path):
    path = own_file(tmp_path, "month,tmin_c,tmax_c\n1,2,3\n", "ridge.csv")
    assert the_fault(read_station, path) == (
        "ridge.csv line 1: column ghi_mj_m2_d is missing; it is needed"
    )


# --- Any bytes ---------------------------------------------------------------------------------

_CELLS = st.one_of(
    st.sampled_from([*CROPS, "id", "true", "-1", "1e400", "nan", '"', "\ufeff", "\x00", "no", ""]),
    st.sampled_from([field.name for field in fields(Crop)]),
    st.floats().map(str),
    st.text(max_size=8),
)
_TABLES = st.lists(st.lists(_CELLS, max_size=6).map(",".join), max_size=6).map("\n".join)
_HEADERS = st.lists(st.sampled_from([*columns_of(Crop)][1:]), max_size=4, unique=True).map(
    lambda names: ["id", *names]
)
_ROWS = _HEADERS.flatmap(
    lambda names: st.lists(st.tuples(*[_CELLS] * len(names)).map(",".join), max_size=5).map(
        lambda rows: "\n".join([",".join(names), *rows])
    )
)
_MONTHS = st.lists(
    st.lists(st.one_of(st.integers(0, 13).map(str), _CELLS), min_size=4, max_size=4).map(",".join),
    max_size=13,
).map(lambda rows: "\n".join(["month,tmin_c,tmax_c,ghi_mj_m2_d", *rows]))
_TEXTS = st.one_of(_TABLES, _ROWS, _MONTHS)
_BYTES = st.one_of(st.binary(max_size=60), _TEXTS.map(lambda text: text.encode("utf-8", "replace")))


@pytest.mark.parametrize("read", [load_crops, load_fish, read_station])
@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(content=_BYTES)
def test_any_bytes_give_a_table_or_faults(tmp_path, read, content):
    faults = faults_if_any(read, own_file(tmp_path, content, "any.csv"))
    assert all(fault.startswith(("any.csv", "and more")) for fault in faults)
    assert all(fault.isprintable() for fault in faults)


# --- Groups, plants, cells ---------------------------------------------------------------------


def test_groups():
    lettuces = tuple(id for id in CROPS if id.startswith("lettuce"))
    assert len(lettuces) == 5
    assert resolve_group("any lettuce", CROPS) == lettuces
    assert resolve_group("  Any  LETTUCE ", CROPS) == lettuces
    assert resolve_group("any basil", CROPS) == ("basil_genovese", "basil_thai")
    assert resolve_group("any pea", CROPS) == ("pea_snap", "pea_shoots")
    assert resolve_group("any violaceae", CROPS) == ("viola",)
    family = resolve_group("any Solanaceae", CROPS)
    assert family == tuple(id for id, crop in CROPS.items() if crop.family == "Solanaceae")
    assert len(family) == 5


@pytest.mark.parametrize("text", ["", "any", "any ", "lettuce", "any let", "any zzz", "anylettuce"])
def test_no_group(text):
    assert resolve_group(text, CROPS) == ()


@pytest.mark.parametrize(
    ("id", "method", "area_m2", "sites", "parts", "plants"),
    [
        ("lettuce_butterhead", "raft", 1.44, 28, 1, 28),
        ("tomato_cherry_indet", "raft", 1.44, 28, 1, 3),
        ("lettuce_butterhead", "raft", 1.44, 28, 4, 7),
        ("lettuce_butterhead", "raft", 1.44, 28, 3, 9),
        ("lettuce_butterhead", "raft", 1.0, 28, 1, 24),
        ("lettuce_butterhead", "media_bed", 1.5, None, 1, 30),
        ("lettuce_butterhead", "media_bed", 1.5, None, 4, 7),
        ("okra", "media_bed", 0.75, None, 3, 1),
        ("lettuce_butterhead", "media_bed", 1.45, 1, 1, 29),
        ("lettuce_butterhead", "media_bed", 0.15 + 0.15 + 0.15, None, 1, 9),
        ("lettuce_butterhead", "tower", None, 28, 1, 28),
        ("lettuce_butterhead", "tower", None, 28, 3, 9),
        ("tomato_cherry_indet", "tower", None, 28, 1, 0),
        ("thyme", "raft", 1.44, 28, 1, 0),
        ("microgreens_mixed", "media_bed", 5.0, None, 1, 0),
    ],
)
def test_plants_per_part(id, method, area_m2, sites, parts, plants):
    assert plants_per_part(CROPS[id], method, area_m2, sites, parts) == plants


def test_plants_survive_floating_point():
    """0.29 m² at 100 plants is 28.999999999999996 in floating point."""
    crop = replace(CROPS["lettuce_butterhead"], bed_plants_per_m2=100.0)
    assert 100.0 * 0.29 < 29
    assert plants_per_part(crop, "media_bed", 0.29, None, 1) == 29


def test_slots_that_carry_more_than_one():
    crop = replace(CROPS["kale_baby"], tower_plants_per_slot=3)
    assert plants_per_part(crop, "tower", None, 28, 4) == 21


def test_no_fit_means_no_plants_whatever_the_density():
    crop = replace(CROPS["lettuce_butterhead"], media_bed_fit="no", raft_fit="no", tower_fit="no")
    for method in ("media_bed", "raft", "tower"):
        assert plants_per_part(crop, method, 2.0, 28, 1) == 0


@given(
    id=st.sampled_from([*CROPS]),
    method=st.sampled_from(["media_bed", "raft", "tower"]),
    area_m2=st.floats(0.1, 100),
    sites=st.integers(1, 500),
    parts=st.integers(1, 8),
)
def test_parts_never_carry_more_than_the_place(id, method, area_m2, sites, parts):
    whole = plants_per_part(CROPS[id], method, area_m2, sites, 1)
    assert 0 <= parts * plants_per_part(CROPS[id], method, area_m2, sites, parts) <= whole


@pytest.mark.parametrize(
    ("method", "area_m2", "sites", "parts"),
    [
        ("pot", 1, 1, 1),
        ("media_bed", None, 3, 1),
        ("raft", 1, None, 1),
        ("raft", None, 3, 1),
        ("tower", 1, None, 1),
        ("tower", 1, 3, 0),
    ],
)
def test_place_without_its_measures(method, area_m2, sites, parts):
    with pytest.raises(ValueError, match=method):
        plants_per_part(CROPS["kale"], method, area_m2, sites, parts)


@pytest.mark.parametrize(
    ("id", "plants", "cells"),
    [
        ("lettuce_butterhead", 28, 37),  # 28 / (0.80 × 0.95) = 36.8
        ("lettuce_butterhead", 76, 100),  # exactly
        ("okra", 1, 3),  # 1 / (0.50 × 0.95) = 2.1
        ("lettuce_butterhead", 0, 0),
        ("radish", 150, 0),
    ],
)
def test_cells(id, plants, cells):
    assert cells_for(CROPS[id], plants) == cells
