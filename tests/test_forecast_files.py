"""The table of spread and the file of weather years: read, checked, every fault with its line."""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from planner import farmfile, sun
from planner.crops import progress_per_day
from planner.environment import daily
from planner.errors import InputError
from planner.farm import Farm
from planner.resources import shipped
from planner.spread import load_spread, spread_rows
from planner.tables import load_crops
from planner.weatheryears import WEEKS_OF_YEAR, leaf_crop, weather_years, week_of_year
from tests.farms import write_small_farm

CROPS = load_crops()


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    folder = write_small_farm(tmp_path_factory.mktemp("weather") / "farm")
    return farmfile.read_farm(folder).farm


def days(first: int, last: int) -> list[date]:
    day, end = date(first, 1, 1), date(last, 12, 31)
    return [day + timedelta(days=n) for n in range((end - day).days + 1)]


def written(folder: Path, rows: list[str], header: str = "date,ghi_mj_m2,air_c") -> Path:
    path = folder / "weather.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def faults(path: Path, farm: Farm) -> list[str]:
    with pytest.raises(InputError) as caught:
        weather_years(path, farm, CROPS)
    return str(caught.value).splitlines()


def test_every_size_has_a_source_or_is_a_judgement() -> None:
    rows = spread_rows()
    assert len(rows) == 25
    for row in rows:
        assert row.note
        assert (row.basis == "judgement") == (not row.source)
    assert sum(row.basis != "judgement" for row in rows) >= 5


def test_sizes_are_of_the_order_that_the_sources_tell() -> None:
    spread = load_spread()
    assert spread.days_prior == pytest.approx(0.10, abs=0.005)
    assert spread.yield_prior == pytest.approx(6.1 / 41, abs=0.005)
    assert spread.fish_growth_prior == pytest.approx(np.log(1.1 / 0.8) / 2.563, abs=0.005)
    fcr = np.hypot(spread.fcr_species, spread.fcr_cohort)
    assert fcr == pytest.approx(np.log(2.0 / 1.4) / 2.563, abs=0.007)


def test_scaling_leaves_memories_alone() -> None:
    spread, none = load_spread(), load_spread().scaled(0)
    assert none.days_prior == none.yield_prior == none.loss_prior == none.fish_growth_prior == 0
    assert none.germination == none.week_growth == 0
    assert none.season_memory_weeks == spread.season_memory_weeks
    assert spread.scaled(2).days_batch == pytest.approx(2 * spread.days_batch)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("days_batch,0.06", "days_batch,-1", 'line 8: size is "-1"'),
        ("days_batch,0.06", "days_batch,", "line 8: size is blank"),
        ("days_batch", "days_bacth", 'line 8: key "days_bacth" is not a size of spread'),
        ("days_crop", "days_class", 'key "days_class" stands twice'),
        ("weeks,judgement,,weather", "weeks,published,,weather", "anything else needs one"),
        ("week_memory_weeks,1", "week_memory_weeks,0", "a memory is above 0"),
        ("\nfcr_cohort", "\nfcr_species", 'key "fcr_species" stands twice'),
    ],
)
def test_faults_of_the_table_are_told(tmp_path: Path, old: str, new: str, fault: str) -> None:
    text = (shipped("cropdata") / "spread.csv").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "spread.csv").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        spread_rows(tmp_path / "spread.csv")
    assert fault in str(caught.value)


def test_a_missing_size_is_told(tmp_path: Path) -> None:
    lines = (shipped("cropdata") / "spread.csv").read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not line.startswith("germination")]
    (tmp_path / "spread.csv").write_text("\n".join(kept), encoding="utf-8")
    with pytest.raises(InputError, match="germination is missing"):
        spread_rows(tmp_path / "spread.csv")


def test_years_that_are_alike_have_factors_of_one(tmp_path: Path, farm: Farm) -> None:
    rows = [f"{d},{10 + d.month},{d.month}" for d in days(2018, 2020)]
    found = weather_years(written(tmp_path, rows), farm, CROPS)
    assert [year.year for year in found] == [2018, 2019, 2020]
    for year in found:
        assert len(year.by_week) == WEEKS_OF_YEAR
        assert year.by_week == pytest.approx([1.0] * WEEKS_OF_YEAR, abs=0.05)
        assert np.mean(year.by_week) == pytest.approx(1.0, abs=0.002)


def test_a_dull_year_grows_slower_where_light_is_short(tmp_path: Path, farm: Farm) -> None:
    rows = [f"{d},{6 if d.year == 2019 else 12},5" for d in days(2019, 2020)]
    dull, bright = weather_years(written(tmp_path, rows), farm, CROPS)
    assert max(dull.by_week) < 1 < min(bright.by_week)
    ratio = np.array(dull.by_week) / np.array(bright.by_week)
    assert (ratio > 0.4).all()  # growth goes with light, and a little with the sun's warmth
    for week in range(WEEKS_OF_YEAR):
        assert (dull.by_week[week] + bright.by_week[week]) / 2 == pytest.approx(1)


def test_growth_is_that_of_the_house(tmp_path: Path, farm: Farm) -> None:
    """A year of the climate file's own days gives the growth that the environment gives."""
    station = farmfile.read_farm(write_small_farm(tmp_path / "farm")).station
    year = daily(farm, station, date(2019, 1, 1), 365)
    mj = year.dli_outside_mol / float(sun.dli_mol(1.0))
    rows = [
        f"{d},{mj[n]:.6f},{year.outside_c[n]:.6f}"
        if d.year == 2019
        else f"{d},{mj[min(n - 365, 364)] * 0.8:.6f},{year.outside_c[min(n - 365, 364)]:.6f}"
        for n, d in enumerate(days(2019, 2020))
    ]
    usual, dull = weather_years(written(tmp_path, rows), farm, CROPS)
    crop = leaf_crop(farm, CROPS)
    assert crop.id == "lettuce_butterhead"
    for week in (2, 10, 26):
        here = slice(7 * week, 7 * week + 7)
        light = year.dli_house_mol[here]
        own = [progress_per_day(crop, year.air_c[here], light * f).mean() for f in (1, 0.8)]
        ratio = usual.by_week[week] / dull.by_week[week]
        assert ratio == pytest.approx(own[0] / own[1], rel=0.03)  # less light is cooler, too
    assert ratio < 1.1  # in summer there is light enough either way


def test_weeks_of_the_year_begin_on_new_years_day() -> None:
    assert [week_of_year(date(2027, 1, d)) for d in (1, 7, 8)] == [0, 0, 1]
    assert week_of_year(date(2028, 12, 31)) == 52
    assert week_of_year(date(2027, 12, 31)) == 52


def test_faults_of_the_weather_are_all_told_with_their_lines(tmp_path: Path, farm: Farm) -> None:
    rows = [f"{d},12,5" for d in days(2019, 2020)]
    rows[3] = "2019-01-04,-2,5"
    rows[8] = "2019-13-09,12,5"
    rows[20] = "2019-01-21,,5"
    rows[30] = rows[29]
    found = faults(written(tmp_path, rows), farm)
    for line, words in ((5, "ghi_mj_m2"), (10, "date"), (22, "ghi_mj_m2 is blank"), (32, "twice")):
        assert any(f"line {line}:" in fault and words in fault for fault in found), found


def test_two_whole_years_are_needed(tmp_path: Path, farm: Farm) -> None:
    rows = [f"{d},12,5" for d in days(2019, 2020)][:-1]
    (fault,) = faults(written(tmp_path, rows), farm)
    assert "1 whole years" in fault
    assert "2020: 365 days" in fault


def test_a_year_that_has_only_begun_is_left_out(tmp_path: Path, farm: Farm) -> None:
    rows = [f"{d},12,5" for d in days(2018, 2020)][:-100]
    found = weather_years(written(tmp_path, rows), farm, CROPS)
    assert [year.year for year in found] == [2018, 2019]


def test_columns_must_be_there(tmp_path: Path, farm: Farm) -> None:
    found = faults(written(tmp_path, ["2019-01-01,3"], header="date,ghi_mj_m2"), farm)
    assert any("column air_c is missing" in fault for fault in found)
