"""Chemistry of the water: limit cases, shapes and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.water import (
    BASES_G_PER_G_ALKALINITY,
    CHLORIDE_IN_SALT,
    alkalinity_used_g,
    ammonia_fraction,
    base_g,
    biofilter_capacity_g_day,
    chloride_needed_mg_l,
    equal_bases_g,
    minutes_to_critical,
    nitrate_ion_mg_l,
    nitrate_n_mg_l,
    nitrification_g_m2_day,
    oxygen_saturation_mg_l,
    oxygen_used_g,
    pressure_atm,
    supplement_g,
    unionised_ammonia_mg_l,
)


def test_ammonia_is_half_un_ionised_where_ph_is_pka():
    pka = 0.09018 + 2729.92 / (273.15 + 25.0)
    assert ammonia_fraction(pka, 25.0) == pytest.approx(0.5, rel=1e-12)


def test_series_are_their_single_values():
    warmth = np.array([5.0, 15.0, 25.0])
    for compute in (
        lambda t: ammonia_fraction(7.4, t),
        lambda t: unionised_ammonia_mg_l(0.8, 7.4, t),
        lambda t: oxygen_saturation_mg_l(t, 0.95),
        lambda t: nitrification_g_m2_day(1.0, t),
        lambda t: biofilter_capacity_g_day(20.0, t),
    ):
        single = [float(compute(float(t))) for t in warmth]
        assert compute(warmth) == pytest.approx(single, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(ph=st.floats(5, 9.5), temperature_c=st.floats(0, 39), rise=st.floats(0.01, 0.5))
def test_ammonia_is_worse_with_ph_and_warmth(ph, temperature_c, rise):
    share = ammonia_fraction(ph, temperature_c)
    assert 0 < share < ammonia_fraction(ph + rise, temperature_c) < 1
    assert share < ammonia_fraction(ph, temperature_c + rise)
    assert unionised_ammonia_mg_l(2.0, ph, temperature_c) == pytest.approx(2 * share)


def test_warm_and_high_water_holds_less_oxygen():
    assert (np.diff(oxygen_saturation_mg_l(np.linspace(0, 40, 81))) < 0).all()
    assert pressure_atm(0.0) == 1.0
    assert (np.diff(pressure_atm(np.linspace(0, 4000, 41))) < 0).all()
    assert oxygen_saturation_mg_l(20.0, pressure_atm(1500.0)) < oxygen_saturation_mg_l(20.0)


def _minutes(**changes):
    figures = {
        "oxygen_mg_l": 6.5,
        "critical_mg_l": 3.0,
        "volume_m3": 2.0,
        "biomass_kg": 40.0,
        "feed_kg_day": 0.6,
    }
    return minutes_to_critical(**(figures | changes))


def test_time_to_critical_grows_with_water_and_falls_with_feed():
    assert _minutes(volume_m3=4.0) == pytest.approx(2 * _minutes())
    assert _minutes(feed_kg_day=1.2) == pytest.approx(_minutes() / 2)
    assert _minutes(oxygen_mg_l=2.0) == 0
    assert _minutes(biomass_kg=0.0, feed_kg_day=0.0) == math.inf


def test_unfed_fish_still_breathe():
    assert _minutes(feed_kg_day=0.0) == pytest.approx(_minutes(feed_kg_day=0.005 * 40))
    assert math.isfinite(_minutes(feed_kg_day=0.0))


def test_nitrifiers_need_ammonia():
    assert nitrification_g_m2_day([0.0, 0.05, 0.07], 25.0).tolist() == [0.0, 0.0, 0.0]
    assert (np.diff(nitrification_g_m2_day(np.linspace(0.07, 5, 50), 25.0)) > 0).all()


def test_nitrifiers_temperature_is_held_between_its_limits():
    rates = nitrification_g_m2_day(1.0, [0.0, 14.0, 20.0, 27.0, 34.0, 45.0])
    assert rates[0] == rates[1] < rates[2] < rates[3] < rates[4] == rates[5]
    assert rates[3] / rates[2] == pytest.approx(1.05**7)


def test_capacity_is_area_times_rate_over_safety():
    rate = float(nitrification_g_m2_day(0.5, 18.0))
    assert biofilter_capacity_g_day(30.0, 18.0, 0.5, 3.0) == pytest.approx(10 * rate)
    assert biofilter_capacity_g_day(0.0, 18.0) == 0


def test_nitrate_goes_there_and_back():
    assert nitrate_ion_mg_l(nitrate_n_mg_l(123.0)) == pytest.approx(123.0)
    assert nitrate_ion_mg_l(10.0) > 40


def test_equal_bases_together_bring_the_alkalinity():
    each = equal_bases_g(500.0)
    brought = sum(
        each / BASES_G_PER_G_ALKALINITY[base]
        for base in ("potassium hydroxide", "calcium hydroxide")
    )
    assert brought == pytest.approx(500.0)


def test_impure_base_takes_more():
    assert base_g(90.0, "potassium hydroxide", 0.9) == pytest.approx(1.121 * 100)
    assert base_g(0.0, "calcium hydroxide") == 0


def test_unknown_base_is_refused_with_what_is_known():
    with pytest.raises(ValueError, match=r"sodium hydroxide.*calcium carbonate"):
        base_g(10.0, "sodium hydroxide")


def test_product_without_the_element_is_refused():
    with pytest.raises(ValueError, match="element_fraction"):
        supplement_g(10.0, 2.0, 0.0)


def test_chloride_in_the_water_counts():
    assert chloride_needed_mg_l(2.0, 5.0) == pytest.approx(15.0)
    assert chloride_needed_mg_l(2.0, 50.0) == 0


# Atomic masses by IUPAC, g/mol, from memory; all of these are own arithmetic on them.
H_G, C_G, N_G, O_G, NA_G, CL_G, K_G, CA_G = (
    1.008,
    12.011,
    14.007,
    15.999,
    22.990,
    35.45,
    39.098,
    40.078,
)
CACO3_G = CA_G + C_G + 3 * O_G


@pytest.mark.parametrize(
    ("base", "mass", "charge"),
    [
        ("potassium hydroxide", K_G + O_G + H_G, 1),
        ("calcium hydroxide", CA_G + 2 * (O_G + H_G), 2),
        ("potassium carbonate", 2 * K_G + C_G + 3 * O_G, 2),
        ("potassium bicarbonate", K_G + H_G + C_G + 3 * O_G, 1),
        ("calcium carbonate", CACO3_G, 2),
    ],
)
def test_bases_follow_from_molar_masses(base, mass, charge):
    expected = (mass / charge) / (CACO3_G / 2)
    assert BASES_G_PER_G_ALKALINITY[base] == pytest.approx(expected, abs=0.001)


def test_nitrification_follows_from_molar_masses():
    assert oxygen_used_g(1.0) == pytest.approx(4 * O_G / N_G, abs=0.005)
    assert alkalinity_used_g(1.0) == pytest.approx(CACO3_G / N_G, abs=0.01)


def test_salts_follow_from_molar_masses():
    assert CHLORIDE_IN_SALT["sodium chloride"] == pytest.approx(CL_G / (NA_G + CL_G), abs=0.001)
    dihydrate = CA_G + 2 * CL_G + 2 * (2 * H_G + O_G)
    assert CHLORIDE_IN_SALT["calcium chloride dihydrate"] == pytest.approx(
        2 * CL_G / dihydrate, abs=0.001
    )
