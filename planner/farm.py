"""The farm as the grower describes it: frozen, checked, in SI units.

Keys in `farm.toml` are the aliases here (`volume`, not `volume_m3`); the reader is `farmfile`.
Every default that is a judgement says so where it stands.
"""

from datetime import date
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints, ValidationInfo, field_validator
from pydantic.json_schema import SkipJsonSchema

from planner.farmlists import (
    CohortAtHand,
    FishOrdered,
    Money,
    Month,
    Order,
    Outlet,
    Part,
    Standing,
    Text,
)
from planner.quantities import (
    AreaM2,
    ConcentrationMgL,
    Count,
    Day,
    DensityKgM3,
    ElevationM,
    FlowM3Day,
    Fraction,
    Number,
    PhotonFluxUmol,
    SurfaceM2,
    TemperatureC,
    VolumeM3,
    WarmthK,
    WeightG,
)

__all__ = [
    "CohortAtHand",
    "Farm",
    "Fingerlings",
    "House",
    "Labour",
    "Method",
    "Nursery",
    "Order",
    "Outlet",
    "Part",
    "Person",
    "Prices",
    "Rules",
    "Site",
    "Standing",
    "Tank",
    "Water",
    "Weights",
    "Zone",
]

MONTHS = 12
NITRATE_UNTESTED_MG_L = 30.0  # nitrate nitrogen taken where there is no test; judgement


class Method(StrEnum):
    """How a zone grows its plants."""

    MEDIA_BED = "media_bed"
    RAFT = "raft"
    TOWER = "tower"


def _by_month(value: object) -> object:
    """Spread one value over the twelve months."""
    return value if isinstance(value, list | tuple) else [value] * MONTHS


Monthly = Annotated[
    tuple[TemperatureC, ...],
    Field(min_length=MONTHS, max_length=MONTHS),
    BeforeValidator(_by_month),
]


class Site(Part):
    """Where the house stands."""

    latitude: Annotated[Number, Field(ge=-66, le=66)]
    longitude: Annotated[Number, Field(ge=-180, le=180)]
    elevation_m: ElevationM = Field(default=0.0, alias="elevation")
    timezone: Text
    climate: Text = Field(description="A shipped station or a CSV file in the farm folder")


class House(Part):
    """The greenhouse as a climate.

    Parameters
    ----------
    transmission
        Share of outside light that reaches the crop. [-]
    set_points_c
        Mean air temperature that the heating holds, by month. [°C]
    solar_warming_k
        Rise of the closed house's daily mean above outside at 20 MJ m⁻² d⁻¹ (judgement). [K]
    vent_above_c
        Daily mean at which the vents hold the house, unless it is warmer outside. [°C]
    """

    transmission: Annotated[Number, Field(ge=0.1, le=1)] = 0.60
    set_points_c: Monthly = Field(alias="set_points")
    solar_warming_k: WarmthK = Field(default=6.0, alias="solar_warming")
    vent_above_c: TemperatureC = Field(default=27.0, alias="vent_above", validate_default=True)

    @field_validator("vent_above_c")
    @classmethod
    def _above_set_points(cls, vent_above_c: float, given: ValidationInfo) -> float:
        warmest_c = max(given.data.get("set_points_c", ()), default=vent_above_c)
        if vent_above_c < warmest_c:
            raise ValueError(f"the vents would open below the warmest set point, {warmest_c:g} °C")
        return vent_above_c


class Water(Part):
    """The one water that fish and plants share.

    Parameters
    ----------
    volumes_m3
        Every part that holds system water, tanks included. [m³]
    biofilter_area_m2
        Surface on which nitrifiers live: filter media and gravel. [m²]
    solids_kept
        True when solids stay in the gravel and mineralise; false when filters take them out.
    """

    volumes_m3: dict[Text, VolumeM3] = Field(alias="volumes", min_length=1)
    temperatures_c: Monthly = Field(alias="temperatures")
    biofilter_area_m2: SurfaceM2 = Field(alias="biofilter_area")
    solids_kept: bool = False
    solid_share: Fraction = 0.12  # of feed N; judgement
    gas_loss: Fraction = 0.30  # of dissolved N, for the house; judgement
    mineralised: Fraction = 0.5  # of solids N, where they are kept; judgement
    pool_loss_week: Fraction = 0.02  # exchanged water and sludge; judgement
    make_up_m3_day: FlowM3Day = Field(default=0.0, alias="make_up")
    ph: Annotated[Number, Field(ge=4, le=10)] = 7.0
    nitrate_n_mg_l: ConcentrationMgL | None = Field(default=None, alias="nitrate_n")
    nitrate_tested: Day | None = None  # the day of that test
    band_low_mg_l: ConcentrationMgL = Field(default=5.0, alias="band_low")
    band_high_mg_l: ConcentrationMgL = Field(default=60.0, alias="band_high", validate_default=True)

    @property
    def volume_m3(self) -> float:
        """All system water. [m³]"""
        return sum(self.volumes_m3.values())

    @field_validator("nitrate_tested")
    @classmethod
    def _test_has_a_value(cls, day: date | None, given: ValidationInfo) -> date | None:
        if day is not None and given.data.get("nitrate_n_mg_l", 0.0) is None:
            raise ValueError("a test needs its value too: nitrate_n, in mg/L of nitrate nitrogen")
        return day

    @field_validator("band_high_mg_l")
    @classmethod
    def _band_has_width(cls, high_mg_l: float, given: ValidationInfo) -> float:
        low_mg_l = given.data.get("band_low_mg_l")
        if low_mg_l is not None and high_mg_l <= low_mg_l:
            raise ValueError(f"it must be above band_low, which is {low_mg_l:g}")
        return high_mg_l


class Tank(Part):
    """`places` identical rearing tanks; named `"<name> <number>"`."""

    name: Text
    places: Annotated[Count, Field(ge=1, le=500)] = 1
    volume_m3: VolumeM3 = Field(alias="volume")
    max_density_kg_m3: DensityKgM3 | None = Field(default=None, alias="max_density")

    @property
    def tank_names(self) -> tuple[str, ...]:
        """The single tanks' names."""
        return tuple(f"{self.name} {number}" for number in range(1, self.places + 1))


class Zone(Part):
    """`places` identical beds, boards or towers, each of `parts` equal shares.

    Parameters
    ----------
    area_m2
        Growing area of one place; media beds and rafts. [m²]
    sites
        Holes of one board (raft) or slots of one tower. [-]
    light
        Share of the house's light. [-]
    """

    name: Text
    method: Method
    places: Annotated[Count, Field(ge=1, le=20_000)]
    parts: Annotated[Count, Field(ge=1, le=20)] = 1
    area_m2: AreaM2 | None = Field(default=None, alias="area", validate_default=True)
    sites: Annotated[Count, Field(ge=1, le=2000)] | None = Field(
        default=None, validate_default=True
    )
    light: Annotated[Number, Field(ge=0.05, le=1.5)] | None = None
    lamps_umol: PhotonFluxUmol = 0.0
    lamp_hours: Annotated[Number, Field(ge=0, le=24)] = Field(default=0.0, validate_default=True)
    lamp_months: tuple[Month, ...] = tuple(range(1, 13))
    air_offset_k: WarmthK = Field(default=0.0, alias="air_offset")
    sanitation: Annotated[Count, Field(ge=0, le=60)] | None = Field(
        default=None, alias="sanitation_days"
    )
    trellis: bool | None = None

    @field_validator("area_m2")
    @classmethod
    def _has_area(cls, area_m2: float | None, given: ValidationInfo) -> float | None:
        method = given.data.get("method")
        if area_m2 is None and method in (Method.MEDIA_BED, Method.RAFT):
            raise ValueError(f'a {method} zone needs the area of one place, such as "1.5 m2"')
        return area_m2

    @field_validator("sites")
    @classmethod
    def _has_sites(cls, sites: int | None, given: ValidationInfo) -> int | None:
        method, parts = given.data.get("method"), given.data.get("parts", 1)
        if sites is None and method in (Method.RAFT, Method.TOWER):
            raise ValueError(f"a {method} zone needs the sites of one place, such as 28")
        if sites is not None and sites < parts:
            raise ValueError(f"{parts} parts need at least {parts} sites")
        return sites

    @field_validator("lamp_hours")
    @classmethod
    def _lamps_have_hours(cls, hours: float, given: ValidationInfo) -> float:
        lamps_umol = given.data.get("lamps_umol")
        if lamps_umol == 0 and hours > 0:
            raise ValueError("there are no lamps; give lamps_umol too, or leave lamp_hours out")
        if lamps_umol and hours == 0:
            raise ValueError("the lamps need their hours a day, above 0 and at most 24")
        return hours

    @property
    def light_share(self) -> float:
        """Share of the house's light; towers 0.8 by default (judgement). [-]"""
        default = 0.8 if self.method is Method.TOWER else 1.0
        return default if self.light is None else self.light

    @property
    def sanitation_days(self) -> int:
        """Days a place is cleaned and empty after a crop; gravel 3, others 1 (common practice)."""
        default = 3 if self.method is Method.MEDIA_BED else 1
        return default if self.sanitation is None else self.sanitation

    @property
    def carries_trellis(self) -> bool:
        """Whether trellis crops may stand here; gravel unless told otherwise."""
        return self.method is Method.MEDIA_BED if self.trellis is None else self.trellis

    @property
    def all_parts(self) -> int:
        """Parts in the whole zone. [-]"""
        return self.places * self.parts

    @property
    def place_names(self) -> tuple[str, ...]:
        """The single places' names."""
        return tuple(f"{self.name} {number}" for number in range(1, self.places + 1))


class Nursery(Part):
    """Where seedlings stand; it has its own heat and lamps."""

    cells: Annotated[Count, Field(ge=0, le=10_000_000)]
    temperature_c: TemperatureC = Field(default=21.0, alias="temperature")
    month_factor: Annotated[
        tuple[Annotated[Number, Field(ge=0.5, le=3)], ...],
        Field(min_length=MONTHS, max_length=MONTHS),
        BeforeValidator(_by_month),
    ] = (1.0,) * MONTHS


class Labour(Part):
    """Hours and what jobs take. Minutes are judgement; overwrite them with your own.

    `hours_week` is what remains for these jobs; feeding and daily rounds are outside it.
    """

    hours_week: Annotated[Number, Field(ge=0, le=1e5)]
    price_hour: Money = 0.0
    cell_min: Annotated[Number, Field(ge=0, le=60)] = 0.1
    plant_min: Annotated[Number, Field(ge=0, le=60)] = 0.4
    leaf_kg_min: Annotated[Number, Field(ge=0, le=600)] = 15.0
    fruit_kg_min: Annotated[Number, Field(ge=0, le=600)] = 6.0
    fish_kg_min: Annotated[Number, Field(ge=0, le=600)] = 3.0
    place_min: Annotated[Number, Field(ge=0, le=600)] = 10.0


class Fingerlings(Part):
    """Young fish that can be bought."""

    species: Text
    weight_g: WeightG = Field(alias="weight")
    price: Money = Field(description="each")
    lead_weeks: Annotated[Count, Field(ge=0, le=104)] = 4
    months: tuple[Month, ...] = Field(default=tuple(range(1, 13)), min_length=1)
    least_count: Annotated[Count, Field(ge=1, le=1_000_000)] = 1


class Prices(Part):
    """What is bought, in the farm's money."""

    feed_kg: Money = 2.5
    seed_cell: Money = 0.05
    nursery_cell_week: Money = 0.01  # heat and light at the margin; judgement


class Weights(Part):
    """Prices of what money does not say; tiers are prices far apart."""

    shortage: Annotated[Number, Field(ge=0, le=1e6)] = 10.0
    nitrate_mg_l_week: Money = 5.0
    waste_kg: Money = 0.0
    discard: Fraction = 0.1  # of the price of what a standing batch could still give; judgement
    tail_value: Fraction = 0.8
    change_part: Annotated[Number, Field(ge=0, le=1e6)] = 5.0  # a sowing moved, this week
    change_fish: Annotated[Number, Field(ge=0, le=1e6)] = 0.5  # a fish moved, this week


class Rules(Part):
    """Rules of the house."""

    horizon_weeks: Annotated[Count, Field(ge=4, le=104)] = 52
    tail_weeks: Annotated[Count, Field(ge=0, le=26)] = 12
    freeze_weeks: Annotated[Count, Field(ge=0, le=26)] = 1


class Person(Part):
    """Who does which kinds of work, named by role; each gets a calendar of their own."""

    role: Text
    does: tuple[Literal["sow", "set out", "cut", "clear", "fish", "water"], ...] = Field(
        min_length=1
    )


class Farm(Part):
    """A whole farm folder, checked. What the schema skips comes from the CSV files."""

    name: Text
    units: Literal["us", "metric"] = "metric"
    currency: Annotated[str, StringConstraints(min_length=1, max_length=5)] = "$"
    plan_date: Day | None = None
    crops_in_use: tuple[Text, ...] = Field(alias="crops", min_length=1)
    site: Site
    house: House
    water: Water
    tanks: tuple[Tank, ...] = Field(alias="tank", default=())
    zones: tuple[Zone, ...] = Field(alias="zone", min_length=1)
    nursery: Nursery
    labour: Labour
    fingerlings: tuple[Fingerlings, ...] = ()
    fish_prices: dict[Text, Money] = Field(default={}, description="per kg live, by species")
    prices: Prices = Prices()
    weights: Weights = Weights()
    rules: Rules = Rules()
    people: tuple[Person, ...] = ()
    orders: SkipJsonSchema[tuple[Order, ...]] = ()
    outlets: SkipJsonSchema[tuple[Outlet, ...]] = ()
    standing: SkipJsonSchema[tuple[Standing, ...]] = ()
    cohorts: SkipJsonSchema[tuple[CohortAtHand, ...]] = ()
    ordered: SkipJsonSchema[tuple[FishOrdered, ...]] = ()
    doubts: SkipJsonSchema[tuple[str, ...]] = ()
