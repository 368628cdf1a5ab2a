"""Chemistry of the water: ammonia, oxygen, nitrification and what is added to it.

These figures size a plan. They do not replace a test kit, an oxygen alarm or a fish vet.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

NITRATE_PER_N = 62.004 / 14.007  # molar masses
NITRITE_PER_N = 46.005 / 14.007

OXYGEN_G_PER_G_TAN = 4.57  # 64 / 14, without cell growth
ALKALINITY_G_PER_G_TAN = 7.14  # as CaCO3, 100 / 14, without cell growth

BASES_G_PER_G_ALKALINITY = {  # g of pure product per g alkalinity as CaCO3, from molar masses
    "potassium hydroxide": 1.121,
    "calcium hydroxide": 0.740,
    "potassium carbonate": 1.381,
    "potassium bicarbonate": 2.001,
    "calcium carbonate": 1.000,
}
CHLORIDE_IN_SALT = {"sodium chloride": 0.607, "calcium chloride dihydrate": 0.482}  # molar masses

NITRIFIERS_C = (14.0, 34.0)  # FAO 589, Tables 3.1-3.2, bacteria
RATE_REFERENCE_C = 27.0
RATE_PER_K = 1.05  # from memory

RESTING_FEED_FRACTION = 0.005  # kg/kg/day; unfed fish breathe too; judgement
SYSTEM_OXYGEN_KG_KG_FEED = 0.5  # whole system 0.4 to 1.0 (Timmons & Ebeling, from memory)


def nitrate_n_mg_l(nitrate_ion_mg_l: float) -> float:
    """Return nitrate nitrogen of a test that reads the nitrate ion. [mg N/L]"""
    return nitrate_ion_mg_l / NITRATE_PER_N


def nitrate_ion_mg_l(nitrate_n_mg_l: float) -> float:
    """Return the nitrate ion, which many test kits read, of nitrate nitrogen. [mg/L]"""
    return nitrate_n_mg_l * NITRATE_PER_N


def ammonia_fraction(ph: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Return the share of TAN that is un-ionised ammonia, in fresh water of 0 to 50 °C. [-]

    References
    ----------
    .. [1] Emerson, K., Russo, R. C., Lund, R. E., Thurston, R. V., "Aqueous ammonia equilibrium
       calculations", J. Fish. Res. Board Can. 32, 1975, 2379-2383.
    """
    pka = 0.09018 + 2729.92 / (273.15 + np.asarray(temperature_c, dtype=float))
    share: Floats = 1 / (10 ** (pka - np.asarray(ph, dtype=float)) + 1)
    return share


def unionised_ammonia_mg_l(tan_mg_l: ArrayLike, ph: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Return un-ionised ammonia nitrogen, the part that harms fish. [mg N/L]"""
    return np.asarray(tan_mg_l, dtype=float) * ammonia_fraction(ph, temperature_c)


def pressure_atm(elevation_m: ArrayLike) -> Floats:
    """Return the mean air pressure at an elevation, up to 11 000 m. [atm]

    The barometric formula of the standard atmosphere (from memory).
    """
    pressure: Floats = (1 - 2.25577e-5 * np.asarray(elevation_m, dtype=float)) ** 5.25588
    return pressure


def oxygen_saturation_mg_l(temperature_c: ArrayLike, pressure_atm: ArrayLike = 1.0) -> Floats:
    """Return dissolved oxygen of fresh water in balance with air, 0 to 40 °C. [mg/L]

    Pressure is a plain factor, which reads high by up to 0.3 % at 500 m and 1.1 % at 2000 m.

    References
    ----------
    .. [1] Benson, B. B., Krause, D., Limnology and Oceanography 29, 1984, 620-632 (volume and
       pages from memory), in the form of APHA, *Standard Methods for the Examination of Water
       and Wastewater*.
    """
    kelvin = np.asarray(temperature_c, dtype=float) + 273.15
    log_mg_l = (
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.243800e10 / kelvin**3
        - 8.621949e11 / kelvin**4
    )
    saturation: Floats = np.exp(log_mg_l) * np.asarray(pressure_atm, dtype=float)
    return saturation


def minutes_to_critical(
    *,
    oxygen_mg_l: float,
    critical_mg_l: float,
    volume_m3: float,
    biomass_kg: float,
    feed_kg_day: float,
    oxygen_kg_kg_feed: float = SYSTEM_OXYGEN_KG_KG_FEED,
) -> float:
    """Return the minutes until oxygen is critical when air and pumps stop. [min]

    Oxygen from the surface is left out, so the figure errs short. After a feeding fish breathe
    about 1.4 times as much (common practice). Infinite when there are no fish.

    Parameters
    ----------
    oxygen_mg_l, critical_mg_l
        Oxygen when the power fails, and the fish's emergency floor. [mg/L]
    volume_m3
        Water that the fish can breathe: the tank alone, once the pumps stand. [m³]
    biomass_kg, feed_kg_day
        Fish in it and their ration; taken as no less than 0.5 % of biomass a day (judgement). [kg]
    oxygen_kg_kg_feed
        Oxygen used for each kg of feed: 0.25 by the fish alone, 0.5 with what lives in the water.
    """
    ration_kg_day = max(feed_kg_day, RESTING_FEED_FRACTION * biomass_kg)
    if ration_kg_day <= 0:
        return math.inf
    use_g_min = ration_kg_day * oxygen_kg_kg_feed * 1000 / (24 * 60)
    return max(0.0, oxygen_mg_l - critical_mg_l) * volume_m3 / use_g_min


def nitrification_g_m2_day(tan_mg_l: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Return the TAN that a square metre of biofilm oxidises in a day. [g N m⁻² d⁻¹]

    The published curve [1]_ holds at 27 °C; 5 % a degree is from memory, and the temperature counts
    as no less than 14 and no more than 34 °C. Below 14 °C that is hopeful: growers reckon with a
    quarter of the best rate at 8 to 10 °C (common practice), where this gives half.

    References
    ----------
    .. [1] Zhu, S., Chen, S., series-reactor study of nitrification in biofilm; rate in
       mg m⁻² d⁻¹ = 1859 (S - 0.07) / (S + 1.93) at S mg/L TAN (unit inferred).
    """
    tan = np.asarray(tan_mg_l, dtype=float)
    at_reference = np.maximum(0.0, 1.859 * (tan - 0.07) / (tan + 1.93))
    warmth_c = np.clip(np.asarray(temperature_c, dtype=float), *NITRIFIERS_C)
    rate: Floats = at_reference * RATE_PER_K ** (warmth_c - RATE_REFERENCE_C)
    return rate


def biofilter_capacity_g_day(
    area_m2: float, temperature_c: ArrayLike, tan_mg_l: float = 1.0, safety: float = 2.0
) -> Floats:
    """Return the TAN that the media may be asked to oxidise in a day. [g N d⁻¹]

    Parameters
    ----------
    area_m2
        Surface of filter media and gravel. [m²]
    tan_mg_l
        TAN that the water may show; the lowest limit of the fish in it. [mg N/L]
    safety
        What the computed rate is divided by (common practice). [-]
    """
    return area_m2 * nitrification_g_m2_day(tan_mg_l, temperature_c) / safety


def oxygen_used_g(tan_g: float) -> float:
    """Return the oxygen that nitrifying `tan_g` of TAN takes. [g]"""
    return OXYGEN_G_PER_G_TAN * tan_g


def alkalinity_used_g(tan_g: float) -> float:
    """Return the alkalinity that nitrifying `tan_g` of TAN takes. [g as CaCO3]

    The most that can be missing: plants give part of it back as they take nitrate.
    """
    return ALKALINITY_G_PER_G_TAN * tan_g


def base_g(alkalinity_g: float, base: str, purity: float = 1.0) -> float:
    """Return the base that brings `alkalinity_g` as CaCO3. [g]

    Raises
    ------
    ValueError
        The base is none of `BASES_G_PER_G_ALKALINITY`.
    """
    if base not in BASES_G_PER_G_ALKALINITY:
        raise ValueError(f'base "{base}" is none of {", ".join(BASES_G_PER_G_ALKALINITY)}')
    return alkalinity_g * BASES_G_PER_G_ALKALINITY[base] / purity


def equal_bases_g(alkalinity_g: float) -> float:
    """Return the potassium hydroxide that with as much calcium hydroxide brings `alkalinity_g`. [g]

    Equal weights of the two in turn feed the plants potassium and calcium; that is how the
    University of the Virgin Islands runs its rafts (SRAC Publication 454). Both burn eyes and skin.
    """
    return alkalinity_g / sum(
        1 / BASES_G_PER_G_ALKALINITY[base] for base in ("potassium hydroxide", "calcium hydroxide")
    )


def supplement_g(volume_m3: float, rise_mg_l: float, element_fraction: float) -> float:
    """Return the product that raises an element by `rise_mg_l`, such as iron by 2 mg/L. [g]

    Parameters
    ----------
    element_fraction
        Share of the element in the product, as on its label; iron chelates 0.06 to 0.13. [-]
    """
    if not 0 < element_fraction <= 1:
        raise ValueError(f"element_fraction must be above 0, to 1, got {element_fraction}")
    return volume_m3 * rise_mg_l / element_fraction


def chloride_needed_mg_l(nitrite_ion_mg_l: float, chloride_mg_l: float = 0.0) -> float:
    """Return the chloride to add against nitrite: ten times the nitrite ion. [mg/L]

    First aid only (SRAC Publication 462). Sodium harms crops: prefer calcium chloride. With
    `supplement_g` and `CHLORIDE_IN_SALT` it becomes grams of a salt.
    """
    return max(0.0, 10 * nitrite_ion_mg_l - chloride_mg_l)
