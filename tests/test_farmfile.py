"""The farm folder: what is read, what is refused and in which words, what is doubted."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from planner.errors import InputError
from planner.farm import Farm, Method
from planner.farmfile import doubts, read_farm
from planner.tables import load_crops
from tests.farms import FARM_TOML, GROWING_CSV, write_small_farm

# What is written instead of what in farm.toml, and the one fault that follows.
FARM_FAULTS = [
    (
        "elevation =",
        "elevaton =",
        'site: unknown key "elevaton"; did you mean "elevation"?',
    ),
    (
        "[fish_prices]",
        "[fish_price]",
        'unknown key "fish_price"; did you mean "fish_prices"?',
    ),
    (
        "units =",
        "orders = []\nunits =",
        'unknown key "orders"; these are rows of orders.csv',
    ),
    (
        "units =",
        "doubts = []\nunits =",
        'unknown key "doubts"; take it out',
    ),
    (
        "latitude = 46.8\n",
        "",
        "site: latitude is missing; give a number from -66 to 66",
    ),
    (
        "[labour]\nhours_week = 20\nprice_hour = 18\n",
        "",
        "labour is missing; give a table with hours_week",
    ),
    (
        "[[tank]]",
        "[tank]",
        "tank is a table; give one table or more, each under its own heading in double "
        "brackets, such as [[zone]]",
    ),
    (
        "area = 1.44",
        "area = -2",
        'zone 2 "rafts": area is -2; give a number from 0.001 to 1,000,000 m2',
    ),
    (
        "volume = 1.0",
        "volume = nan",
        'tank 1 "fish tank": volume is nan; give a number from 0.001 to 1,000,000 m3',
    ),
    (
        "price_hour = 18",
        "price_hour = inf",
        "labour: price_hour is inf; give a number from 0 to 1,000,000",
    ),
    (
        "latitude = 46.8",
        'latitude = "north"',
        'site: latitude is "north"; give a number from -66 to 66',
    ),
    (
        "places = 6",
        "places = true",
        'zone 2 "rafts": places is true; give a whole number from 1 to 20,000',
    ),
    (
        "places = 6",
        "places = 6.5",
        'zone 2 "rafts": places is 6.5; give a whole number from 1 to 20,000',
    ),
    (
        'method = "raft"',
        'method = "rafts"',
        'zone 2 "rafts": method is "rafts"; give one of media_bed, raft, tower; did you '
        'mean "raft"?',
    ),
    (
        'units = "metric"',
        'units = "imperial"',
        'units is "imperial"; give one of us, metric',
    ),
    (
        'elevation = "1400 ft"',
        'elevation = "1400 kg"',
        'site: elevation is "1400 kg"; "kg" cannot be read as m',
    ),
    (
        'elevation = "1400 ft"',
        'elevation = "1400,5 ft"',
        'site: elevation is "1400,5 ft"; write a decimal point, not a comma',
    ),
    (
        "set_points = [15, 15, 16,",
        "set_points = [15, 15, 99,",
        "house: set_points: March is 99; give a number from -40 to 60 degC",
    ),
    (
        "set_points = [15, 15,",
        "set_points = [15,",
        "house: set_points is a list of 11; give one value, or a list of twelve, January first",
    ),
    (
        "lamp_months = [10,",
        "lamp_months = [13,",
        'zone 3 "towers": lamp_months: item 1 is 13; give a whole number from 1 to 12',
    ),
    (
        "transmission = 0.60",
        "vent_above = 18",
        "house: vent_above is 18; the vents would open below the warmest set point, 20 °C",
    ),
    (
        "biofilter_area = 400",
        "biofilter_area = 400\nband_low = 70",
        "water: band_high is 60; it must be above band_low, which is 70",
    ),
    (
        "biofilter_area = 400",
        "biofilter_area = 400\nband_low = 20\nband_high = 20",
        "water: band_high is 20; it must be above band_low, which is 20",
    ),
    (
        "nitrate_n = 38\n",
        "",
        "water: nitrate_tested is 2027-02-24; a test needs its value too: nitrate_n, in "
        "mg/L of nitrate nitrogen",
    ),
    (
        "nitrate_tested = 2027-02-24",
        "nitrate_tested = 2027-03-02",
        "water: nitrate_tested is 2027-03-02, after plan_date, 2027-03-01",
    ),
    (
        "plan_date = 2027-03-01",
        "plan_date = 2027-03-01T08:00:00",
        "plan_date is 2027-03-01 08:00:00; give a date such as 2027-03-01, year, month and "
        "day, from 2000 to 2200",
    ),
    (
        "nitrate_tested = 2027-02-24",
        "nitrate_tested = 1899-12-30",
        "water: nitrate_tested is 1899-12-30; give a date such as 2027-03-01, year, month "
        "and day, from 2000 to 2200",
    ),
    (
        "plan_date = 2027-03-01",
        "plan_date = 20270301",
        "plan_date is 20270301; give a date such as 2027-03-01, year, month and day, from "
        "2000 to 2200",
    ),
    (
        "area = 1.44\n",
        "",
        'zone 2 "rafts": area is missing; a raft zone needs the area of one place, such as '
        '"1.5 m2"',
    ),
    (
        "sites = 28\n",
        "",
        'zone 2 "rafts": sites is missing; a raft zone needs the sites of one place, such as 28',
    ),
    (
        'area = "16 ft2"\n',
        "",
        'zone 1 "north gravel": area is missing; a media_bed zone needs the area of one '
        'place, such as "1.5 m2"',
    ),
    (
        "sites = 20\n",
        "",
        'zone 3 "towers": sites is missing; a tower zone needs the sites of one place, such as 28',
    ),
    (
        "sites = 28",
        "sites = 1",
        'zone 2 "rafts": sites is 1; 2 parts need at least 2 sites',
    ),
    (
        "lamps_umol = 120\n",
        "",
        'zone 3 "towers": lamp_hours is 10; there are no lamps; give lamps_umol too, or '
        "leave lamp_hours out",
    ),
    (
        "lamp_hours = 10\n",
        "",
        'zone 3 "towers": lamp_hours is 0; the lamps need their hours a day, above 0 and '
        "at most 24",
    ),
    (
        "[nursery]",
        '[[tank]]\nname = "fish tank"\nvolume = 0.1\n[nursery]',
        'tank: the name "fish tank" stands 2 times; give each its own',
    ),
    (
        'name = "Small farm"',
        'name = "Small\\u0000farm"',
        'name is "Small\\u0000farm"; give a text on one line, without control characters',
    ),
    (
        'name = "Small farm"',
        'name = " "',
        'name is " "; give a text of 1 to 200 characters',
    ),
    (
        "volume = 1.0",
        "volume = 4",
        "water: volumes come to 6.246 m3, but the tanks alone hold 8 m3; volumes must list "
        "every part, the tanks too",
    ),
    (
        '"swiss_chard",',
        '"swiss_chard",\n    "Swiss chard",',
        "crops: swiss_chard stands there 2 times; once will do",
    ),
    (
        'species = "tilapia_nile"',
        'species = "tilapia_nil"',
        'fingerlings: species is "tilapia_nil"; the tables have no such fish; did you mean '
        '"tilapia_nile"?',
    ),
    (
        'species = "tilapia_nile"',
        'species = "crayfish_redclaw"',
        'fingerlings: species is "crayfish_redclaw"; its growth is not known (no '
        "tgc_per_1000_degree_days); take another species, or give the figure in your "
        "fish.csv",
    ),
    (
        "tilapia_nile = 9.0",
        "telapia_nile = 9.0",
        'fish_prices: the key is "telapia_nile"; the tables have no such fish; did you '
        'mean "tilapia_nile"?',
    ),
    (
        "America/Chicago",
        "America/Chicgo",
        'site: timezone is "America/Chicgo"; there is no such time zone; did you mean '
        '"America/Chicago"?',
    ),
    (
        'climate = "duluth_mn"',
        'climate = "duluth"',
        'site: climate is "duluth"; give a station (duluth_mn, helena_mt, '
        'chicago_ohare_il) or a CSV file in the farm\'s folder; did you mean "duluth_mn"?',
    ),
    (
        'climate = "duluth_mn"',
        'climate = "../duluth_mn.csv"',
        'site: climate is "../duluth_mn.csv"; give a station (duluth_mn, helena_mt, '
        'chicago_ohare_il) or a CSV file in the farm\'s folder; did you mean "duluth_mn"?',
    ),
    (
        "set_points = [15, 15, 16, 17, 18, 19, 20, 20, 18, 17, 15, 15]",
        'set_points = "99 degC"',
        'house: set_points is "99 degC"; give a number from -40 to 60 degC',
    ),
    (
        "set_points = [15, 15, 16, 17, 18, 19, 20, 20, 18, 17, 15, 15]",
        'set_points = "warm"',
        'house: set_points is "warm"; give a number from -40 to 60 degC, or a text such as '
        '"12 degC"',
    ),
]


def faults_in(folder: Path) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        read_farm(folder)
    return caught.value.faults


@pytest.mark.parametrize(("old", "new", "fault"), FARM_FAULTS)
def test_fault_of_farm_toml_names_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, fault: str
) -> None:
    folder = write_small_farm(tmp_path, farm_toml={old: new})
    assert faults_in(folder) == (f"farm.toml: {fault}",)


# Whole changes of a folder and all faults that follow.
FOLDER_FAULTS: list[tuple[dict[str, Any], list[str]]] = [
    (
        {"farm_toml": {"volume = 1.0": "volume_m3 = 1.0"}},
        [
            'farm.toml: tank 1 "fish tank": volume is missing; give a number from 0.001 to '
            "1,000,000 m3",
            'farm.toml: tank 1 "fish tank": unknown key "volume_m3"; did you mean "volume"?',
        ],
    ),
    (
        {"farm_toml": {"[[zone]]": "[[zones]]"}, "growing_csv": None},
        [
            "farm.toml: zone is missing; give one table or more, each under its own heading in "
            "double brackets, such as [[zone]]",
            'farm.toml: unknown key "zones"; did you mean "zone"?',
        ],
    ),
    (
        {"farm_toml": {"hours_week = 20": "hours_week = 1" + "0" * 400}},
        [
            f"farm.toml: labour: hours_week is 1{'0' * 39}…; give a number from 0 to 100,000",
        ],
    ),
    (
        {"farm_toml": {"hours_week = 20": "hours_week = 1" + "0" * 5000}},
        ["farm.toml: it is not read; a number in it is too long"],
    ),
    (
        {"farm_toml": {'name = "towers"': 'name = "Rafts"'}, "growing_csv": None},
        ['farm.toml: zone: the name "rafts" stands 2 times; give each its own'],
    ),
    (
        {
            "farm_toml": {'"swiss_chard",': '"swis_chard",'},
            "orders_csv": None,
            "outlets_csv": None,
        },
        [
            'farm.toml: crops: item 4 is "swis_chard"; the tables have no such crop; did you mean '
            '"swiss_chard"?'
        ],
    ),
    (
        {
            "farm_toml": {'climate = "duluth_mn"': 'climate = "here.csv"'},
            "here_csv": "month,tmin_c,tmax_c,ghi_mj_m2_d\n1,-5,warm,3\n",
        },
        [
            'here.csv line 2: tmax_c is "warm"; give a number from -50 to 55',
            "here.csv (here): months 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12 are missing",
        ],
    ),
    (
        {"farm_toml": {"latitude = 46.8": "latitude 46.8"}},
        [
            "farm.toml line 13, column 10: it is not TOML (Expected '=' after a key in a "
            "key/value pair)"
        ],
    ),
    (
        {"farm_toml": {"latitude = 46.8": "latitude = \0"}},
        ["farm.toml line 13, column 12: it is not TOML (Invalid value)"],
    ),
    (
        {"farm_toml": 'name = """Small farm'},
        ["farm.toml: it is not TOML at its end (Unterminated string)"],
    ),
    (
        {"farm_toml": "crops = " + "[" * 5000},
        ["farm.toml: it is not read; its lists lie too deep in each other"],
    ),
    (
        {"crops_csv": "id,days_to_harvest\nlettuce_romaine,soon\n"},
        [
            'crops.csv line 2 (lettuce_romaine): days_to_harvest is "soon"; give a whole number '
            "from 1 to 730"
        ],
    ),
    (
        {"fish_csv": "id,fcr\ntilapia_nile,99\n"},
        ['fish.csv line 2 (tilapia_nile): fcr is "99"; give a number from 0.3 to 10'],
    ),
    (
        {"farm_toml": {"crops = [": 'crops = "basil_genovese"\nrules = ['}},
        [
            'farm.toml: crops is "basil_genovese"; give a list, each a text of 1 to 200 characters',
            "farm.toml: rules is a list of 5; give a table of keys and values",
        ],
    ),
]


@pytest.mark.parametrize(("changes", "faults"), FOLDER_FAULTS)
def test_faults_of_a_folder_come_all_together(
    tmp_path: Path, changes: dict[str, Any], faults: list[str]
) -> None:
    assert list(faults_in(write_small_farm(tmp_path, **changes))) == faults


def test_empty_farm_file_asks_for_all_that_is_needed(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").touch()
    assert [fault.split(";")[0] for fault in faults_in(tmp_path)] == [
        f"farm.toml: {key} is missing"
        for key in ("name", "crops", "site", "house", "water", "zone", "nursery", "labour")
    ]


def test_faults_of_every_file_are_told_at_once(tmp_path: Path) -> None:
    folder = write_small_farm(
        tmp_path,
        farm_toml={
            "latitude = 46.8": "latitude = 95",
            "America/Chicago": "America/Chicgo",
            "sites = 28\n": "",
            "area = 1.44": "area = -2",
        },
        orders_csv={"basil_genovese": "basil_genovse", "tue;fri,1,2.50": "tue;fry,9,2.50"},
        outlets_csv={"4 lb": "4 gal"},
        growing_csv={"rafts,3,2-3": "rafts,3,two", "G3,swiss_chard,north": "G3,swiss_chard,nort"},
        cohorts_csv={"fish tank 2": "fish tank 3"},
        crops_csv="id,days_to_harvest\nlettuce_romaine,soon\n",
        fish_csv="id,fcr\ntilapia_nile,99\n",
    )
    found = faults_in(folder)
    assert [fault.split(" is ")[0] for fault in found] == [
        "farm.toml: site: latitude",
        'farm.toml: zone 2 "rafts": area',
        'farm.toml: zone 2 "rafts": sites',
        "orders.csv line 2: weekdays",
        "orders.csv line 2: priority",
        "orders.csv line 4: crop",
        "outlets.csv line 5: most_per_week",
        "growing.csv line 3: places",
        "growing.csv line 4: zone",
        "cohorts.csv line 3: tank",
        "crops.csv line 2 (lettuce_romaine): days_to_harvest",
        "fish.csv line 2 (tilapia_nile): fcr",
    ]
    with pytest.raises(InputError) as caught:
        read_farm(folder)
    assert str(caught.value) == "\n".join(found)


def test_a_zone_at_fault_is_not_held_against_its_batches(tmp_path: Path) -> None:
    folder = write_small_farm(tmp_path, farm_toml={"area = 1.44\n": ""})
    assert len(faults_in(folder)) == 1


def test_an_own_crop_at_fault_is_not_called_unknown(tmp_path: Path) -> None:
    folder = write_small_farm(
        tmp_path,
        crops_csv="id,name\npurslane,Purslane\n",
        orders_csv={"A3,Corner bistro,basil_genovese": "A3,Corner bistro,purslane"},
    )
    assert [fault.split(":")[0] for fault in faults_in(folder)] == ["crops.csv line 2 (purslane)"]


# ---- places of files


def test_missing_folder_file_for_folder_and_folder_without_farm(tmp_path: Path) -> None:
    absent = tmp_path / "none"
    assert faults_in(absent) == (f"{absent}: there is no such folder; give the farm's folder",)
    folder = write_small_farm(tmp_path / "farm")
    file = folder / "farm.toml"
    assert faults_in(file) == (f"{file}: it is a file; give the folder that holds farm.toml",)
    file.unlink()
    assert faults_in(folder) == (f"{folder}: there is no farm.toml in it; give the farm's folder",)
    odd = Path("a\0b")
    assert len(faults_in(odd)) == 1


def test_a_folder_where_a_file_should_be(tmp_path: Path) -> None:
    folder = write_small_farm(tmp_path, orders_csv=None)
    (folder / "orders.csv").mkdir()
    assert faults_in(folder) == ("orders.csv: it is not a file",)


def test_only_farm_toml_is_needed(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_text(FARM_TOML)
    farm = read_farm(tmp_path).farm
    assert (farm.orders, farm.outlets, farm.standing, farm.cohorts) == ((), (), (), ())


def test_too_large_and_too_many_rows(tmp_path: Path) -> None:
    folder = write_small_farm(tmp_path, growing_csv=GROWING_CSV + "\n" * 3_000_000)
    assert faults_in(folder) == ("growing.csv: it has 3.0 MB; at most 2 MB are read",)
    long = "id,crop,zone,parts,sow,as_of\n" + "\n".join(f"{n},,,,," for n in range(20_001))
    write_small_farm(tmp_path, growing_csv=long)
    assert faults_in(folder) == ("growing.csv: it has over 20,000 rows; at most so many are read",)
    write_small_farm(tmp_path, growing_csv=GROWING_CSV, farm_toml=FARM_TOML + "#" * 2_000_000)
    assert faults_in(folder) == ("farm.toml: it has 2.0 MB; at most 2 MB are read",)


def test_files_that_are_not_utf_8(tmp_path: Path) -> None:
    folder = write_small_farm(tmp_path)
    (folder / "farm.toml").write_bytes(FARM_TOML.replace("Small", "Café").encode("latin-1"))
    (folder / "growing.csv").write_bytes(GROWING_CSV.encode("utf-16"))
    assert faults_in(folder) == (
        "farm.toml line 1: it is not UTF-8 text; save it as UTF-8",
        "growing.csv line 1: is not UTF-8 text; save the table as CSV in UTF-8",
    )


def test_byte_order_marks_and_windows_line_ends_do_no_harm(tmp_path: Path) -> None:
    plain = read_farm(write_small_farm(tmp_path))
    for path in tmp_path.iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_farm(tmp_path) == plain


@pytest.mark.parametrize("name", ["farm.toml", "orders.csv"])
def test_a_file_without_permission(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    folder = write_small_farm(tmp_path)
    opened = Path.open

    def refuse(path: Path, *args: Any, **more: Any) -> Any:
        if path.name == name:
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, *args, **more)

    monkeypatch.setattr(Path, "open", refuse)
    (found,) = faults_in(folder)
    assert found.startswith(name)
    assert "Permission denied" in found


def test_reading_writes_nothing(tmp_path: Path) -> None:
    folder = write_small_farm(tmp_path)

    def state() -> list[tuple[str, int, bytes]]:
        files = sorted(folder.rglob("*"))
        return [(path.name, path.stat().st_mtime_ns, path.read_bytes()) for path in files]

    before = state()
    assert read_farm(folder) == read_farm(folder)
    assert state() == before


# ---- what is read


def test_small_farm_in_si(tmp_path: Path) -> None:
    inputs = read_farm(write_small_farm(tmp_path))
    farm = inputs.farm
    assert inputs.doubts == ()
    assert farm.plan_date == date(2027, 3, 1)
    assert farm.site.elevation_m == pytest.approx(1400 * 0.3048)
    assert farm.water.volume_m3 == pytest.approx(2.0 + 0.7 + 2.6 + 250 * 3.785412e-3, rel=1e-6)
    assert [zone.method for zone in farm.zones] == list(Method)
    assert farm.zones[0].area_m2 == pytest.approx(16 * 0.3048**2)
    assert [zone.all_parts for zone in farm.zones] == [8, 12, 8]
    assert inputs.station.id == "duluth_mn"
    assert inputs.crops == load_crops()


def test_names_and_groups_become_ids(tmp_path: Path) -> None:
    folder = write_small_farm(
        tmp_path,
        farm_toml={
            '"basil_genovese"': '"Basil, Genovese"',
            'species = "tilapia_nile"': 'species = "Nile tilapia (all-male)"',
            "tilapia_nile = 9.0": '"nile tilapia (all-male)" = 9.0',
        },
    )
    farm = read_farm(folder).farm
    assert "basil_genovese" in farm.crops_in_use
    assert farm.fingerlings[0].species == "tilapia_nile"
    assert dict(farm.fish_prices) == {"tilapia_nile": 9.0}


def test_own_tables_and_own_climate(tmp_path: Path) -> None:
    months = "".join(f"{month},{month - 10},{month + 5},{month + 2}\n" for month in range(1, 13))
    folder = write_small_farm(
        tmp_path,
        farm_toml={'climate = "duluth_mn"': 'climate = "here.csv"'},
        here_csv="month,tmin_c,tmax_c,ghi_mj_m2_d\n" + months,
        crops_csv="id,days_to_harvest\nlettuce_romaine,41\n",
        fish_csv="id,fcr\ntilapia_nile,1.5\n",
    )
    inputs = read_farm(folder)
    assert inputs.crops["lettuce_romaine"].days_to_harvest == 41
    assert inputs.fish["tilapia_nile"].fcr == 1.5
    assert inputs.station.tmin_c == tuple(range(-9, 3))
    assert inputs.doubts == ()


def _number_keys() -> list[tuple[str, str]]:
    """Every key of a single table of farm.toml that takes one number."""
    schema = Farm.model_json_schema()
    found = []
    for table in ("site", "house", "water", "nursery", "labour", "prices", "weights", "rules"):
        node = schema["properties"][table]
        node = schema["$defs"][node["$ref"].rsplit("/", 1)[-1]]
        for key, kind in node["properties"].items():
            kinds = kind.get("anyOf", [kind])
            if kinds[0].get("type") in ("number", "integer"):
                found.append((table, key))
    return found


@pytest.mark.parametrize("value", ["-1e9", "1e12", "nan", '"many"', "true", "[]"])
def test_every_number_of_farm_toml_has_a_range(tmp_path: Path, value: str) -> None:
    keys = _number_keys()
    assert len(keys) > 30
    for number, (table, key) in enumerate(keys):
        lines: list[str] = []
        for line in FARM_TOML.splitlines():
            if not line.startswith(f"{key} ="):
                lines.append(line)
            if line == f"[{table}]":
                lines.append(f"{key} = {value}")
        if f"[{table}]" not in lines:
            lines += [f"[{table}]", f"{key} = {value}"]
        folder = write_small_farm(tmp_path / str(number), farm_toml="\n".join(lines))
        found = [fault for fault in faults_in(folder) if f"{table}: {key} is " in fault]
        assert len(found) == 1, (table, key)
        assert "; give a " in found[0]


# ---- doubts

DOUBTS: list[tuple[dict[str, str | Mapping[str, str] | None], str]] = [
    (
        {"farm_toml": {"nitrate_n = 38\nnitrate_tested = 2027-02-24\n": ""}},
        "farm.toml: water: there is no nitrate test; 30 mg/L of nitrate nitrogen is assumed; test, "
        "and give nitrate_n and nitrate_tested",
    ),
    (
        {"farm_toml": {"nitrate_tested = 2027-02-24\n": ""}},
        "farm.toml: water: the nitrate test has no date; give nitrate_tested",
    ),
    (
        {"farm_toml": {"biofilter_area = 400": "biofilter_area = 0"}},
        "farm.toml: water: biofilter_area is 0; nothing turns the fish's ammonia into nitrate; "
        "give the surface of filter media and gravel",
    ),
    (
        {"farm_toml": {"biofilter_area = 400": "biofilter_area = 400\nband_high = 120"}},
        "farm.toml: water: band_high is 120 mg/L; Nile tilapia (all-male) bears 90, which is the "
        "limit that holds",
    ),
    (
        {"farm_toml": {"temperatures = [22,": "temperatures = [11,"}},
        "farm.toml: water: temperatures reach 11 °C; Nile tilapia (all-male) lives above 12 and "
        "below 36 °C",
    ),
    (
        {"farm_toml": {"24, 25, 25, 25,": "24, 25, 27, 26,"}},
        "farm.toml: water: temperatures are above 26 °C (July 27); too warm for lettuce, "
        "butterhead; lettuce, romaine; basil, Genovese",
    ),
    (
        {"farm_toml": {"cells = 600": "cells = 600\ntemperature = 34"}},
        "farm.toml: nursery: temperature is 34 °C; lettuce, butterhead germinates badly above "
        "29 °C",
    ),
    (
        {"farm_toml": {"cells = 600": "cells = 0"}},
        "farm.toml: nursery: cells is 0; no seedlings of lettuce, butterhead; lettuce, romaine; "
        "basil, Genovese; Swiss chard; cherry tomato, indeterminate can be raised",
    ),
    (
        {"farm_toml": {'"swiss_chard",': '"swiss_chard",\n    "kale",'}},
        "farm.toml: crops: nothing of kale is ordered, and no outlet takes it",
    ),
    (
        {
            "farm_toml": {
                'parts = 2\n\n[[zone]]\nname = "rafts"': 'parts = 4\n\n[[zone]]\nname = "rafts"'
            }
        },
        'orders.csv: line "A5": tomato_cherry_indet fits no zone of the farm (see its method, its '
        "trellis and the size of a part)",
    ),
    (
        {"farm_toml": {"latitude = 46.8": "latitude = 51"}},
        "farm.toml: site: the climate of Duluth Intl, Minnesota was measured 4 degrees of latitude "
        "away; take a nearer station, or give a climate file of your own",
    ),
]


@pytest.mark.parametrize(("changes", "doubt"), DOUBTS)
def test_doubt(tmp_path: Path, changes: dict[str, Any], doubt: str) -> None:
    assert doubt in read_farm(write_small_farm(tmp_path, **changes)).doubts


def test_old_counts_and_tests_are_doubted_after_fourteen_days(tmp_path: Path) -> None:
    inputs = read_farm(write_small_farm(tmp_path))
    assert doubts(inputs, date(2027, 3, 10)) == ()
    assert doubts(inputs, date(2027, 3, 12)) == (
        "farm.toml: water: nitrate_tested is 2027-02-24, over 14 days before 2027-03-12; test anew",
    )
    assert doubts(inputs, date(2027, 3, 13))[:2] == (
        'growing.csv: batch "G1" and 4 more: as_of is 2027-02-26, over 14 days before 2027-03-13; '
        "count anew",
        'cohorts.csv: tank "fish tank 1" and 1 more: as_of is 2027-02-26, over 14 days before '
        "2027-03-13; count anew",
    )
