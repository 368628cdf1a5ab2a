"""The growth law against an open data set of fish that nobody fed to a plan."""

from dataclasses import replace

import numpy as np

from planner.fish import grow_g, growth_coefficient
from planner.tables import load_fish

# Weight in g and length in cm of 56 perch (Perca fluviatilis) caught in Lake Längelmävesi, Finland:
# P. Brofeldt, 1917, as handed down with Cannon and others, *Stat2* (both from memory).
# fmt: off
PERCH = (
    (5.9, 8.8), (32.0, 14.7), (40.0, 16.0), (51.5, 17.2), (70.0, 18.5), (100.0, 19.2),
    (78.0, 19.4), (80.0, 20.2), (85.0, 20.8), (85.0, 21.0), (110.0, 22.5), (115.0, 22.5),
    (125.0, 22.5), (130.0, 22.8), (120.0, 23.5), (120.0, 23.5), (130.0, 23.5), (135.0, 23.5),
    (110.0, 23.5), (130.0, 24.0), (150.0, 24.0), (145.0, 24.2), (150.0, 24.5), (170.0, 25.0),
    (225.0, 25.5), (145.0, 25.5), (188.0, 26.2), (180.0, 26.5), (197.0, 27.0), (218.0, 28.0),
    (300.0, 28.7), (260.0, 28.9), (265.0, 28.9), (250.0, 28.9), (250.0, 29.4), (300.0, 30.1),
    (320.0, 31.6), (514.0, 34.0), (556.0, 36.5), (840.0, 37.3), (685.0, 39.0), (700.0, 38.3),
    (700.0, 39.4), (690.0, 39.3), (900.0, 41.4), (650.0, 41.4), (820.0, 41.3), (850.0, 42.3),
    (900.0, 42.5), (1015.0, 42.4), (820.0, 42.5), (1100.0, 44.6), (1000.0, 45.2), (1100.0, 45.5),
    (1000.0, 46.0), (1000.0, 46.6),
)
# fmt: on


def test_weight_between_small_and_large_perch_follows_the_growth_law():
    """Fish that lengthen evenly, from the smallest perch to the ten longest, pass the others.

    The law's coefficient is set by the two ends alone. The fish between them are then missed by a
    tenth, where growth at an even share of weight a day would miss them by more than half.
    """
    weight_g, length_cm = np.array(PERCH).T
    start_g, start_cm = weight_g[0], length_cm[0]
    end_g, end_cm = np.median(weight_g[-10:]), np.median(length_cm[-10:])
    days = round((end_cm - start_cm) * 100)  # a tenth of a millimetre a day
    water_c = 22.0
    fish = replace(
        load_fish()["perch_yellow"],
        tgc_per_1000_degree_days=growth_coefficient(start_g, end_g, water_c * days),
    )
    grown_g = grow_g(fish, start_g, [water_c] * days)

    between = (length_cm > start_cm) & (length_cm < end_cm)
    day = np.round((length_cm[between] - start_cm) * 100).astype(int)
    off = grown_g[day] / weight_g[between] - 1
    assert between.sum() == 50
    assert np.median(np.abs(off)) < 0.10
    assert np.abs(off).max() < 0.35

    even_share = start_g * (end_g / start_g) ** (day / days)
    assert np.median(np.abs(even_share / weight_g[between] - 1)) > 0.5
