"""The plan as a document: the keys of plan.json, typed. Dates ISO, units SI, nitrogen as N."""

from typing import Any, TypedDict


class HorizonDoc(TypedDict):
    start: str
    weeks: int


class SolverDoc(TypedDict):
    status: str
    value: float
    bound: float
    gap: float
    work: float
    seconds: float
    seed: int
    stopped_by: str  # proven | work | seconds | interrupt


class ZoneDoc(TypedDict):
    name: str
    method: str
    places: int
    parts: int
    sanitation_days: int


class TankDoc(TypedDict):
    name: str
    volume_m3: float
    max_kg_m3: float


class WaterDoc(TypedDict):
    volume_m3: float
    nitrate_n_start_mg_l: float
    band_n_mg_l: list[float]


class PlaceDoc(TypedDict):
    name: str
    parts: int


class WeekKgDoc(TypedDict):
    week: str  # the Monday
    kg: float
    kg_p10: float | None
    kg_p50: float | None
    kg_p90: float | None


class WeekGramsDoc(TypedDict):
    week: str
    g: float


class CutDoc(TypedDict):
    date: str
    kg: float


class BatchDoc(TypedDict):
    id: str
    origin: str | None  # the batch in the house that it is, or is a share of
    crop: str
    zone: str
    method: str
    places: list[PlaceDoc]
    parts: int
    plants: int
    cells: int
    state: str  # planned | sown | growing | cutting | cleared | lost
    sow: str
    transplant: str | None
    ripe: str
    first_harvest: str | None
    first_harvest_p10: str | None
    first_harvest_p90: str | None
    last_harvest: str | None
    clear: str
    harvest: list[WeekKgDoc]
    cuts: list[CutDoc]  # the harvest, day by day
    uptake_g_n: list[WeekGramsDoc]
    warnings: list[str]


class TakenDoc(TypedDict):
    week: str
    date: str
    count: int
    kg: float
    saleable: bool  # lighter fish, taken out to save the rest, bring nothing


class CohortWeekDoc(TypedDict):
    week: str
    mean_g: float
    count: float
    biomass_kg: float
    feed_kg: float


class CohortDoc(TypedDict):
    id: str
    at_hand: bool  # in the house on the plan date
    species: str
    tank: str
    max_kg_m3: float  # of this species in this tank
    order_by: str | None  # last day to order the fish; before made_on when they are ordered
    stock: str
    harvest: str | None  # the day the tank is empty; None when after the horizon's tail
    taken: list[TakenDoc]
    weeks: list[CohortWeekDoc]


class WeekDoc(TypedDict):
    week: str
    feed_kg: float
    feed_n_g: float
    supply_n_g: float
    uptake_n_g: float
    lost_n_g: float
    pool_loss_n_g: float
    deficit_n_g: float
    nitrate_n_mg_l: float
    tan_g_day: float
    biofilter_g_day: float
    inherited: bool
    air_c: float
    water_c: float
    dli_mol: float
    day_length_h: float
    labour_h: float
    nursery_cells: int


class ProduceDoc(TypedDict):
    week: str
    crop: str
    cut_kg: float
    from_cooler_kg: float
    orders_kg: float
    outlets_kg: float
    to_cooler_kg: float
    wasted_kg: float


class OrderWeekDoc(TypedDict):
    line: str
    customer: str
    crop: str
    week: str
    unit: str
    kg_per_unit: float
    ordered: float
    planned: float
    short: float
    within_tolerance: bool
    why: str | None  # it is short beyond its tolerance
    chance: float | None


class DeliveryDoc(TypedDict):
    line: str
    week: str
    batch: str
    quantity: float


class MarginalDoc(TypedDict):
    """Worth of one more in a week, by the relaxation's prices. [money]"""

    week: str
    place: dict[str, float]  # by zone
    nursery_tray: float  # of 72 cells
    labour_h: float
    feed_n_kg: float


class MeasuresDoc(TypedDict):
    orders_met: float  # share of the orders' worth
    short_orders: int  # order weeks short beyond their tolerance
    weeks_in_band: int  # of nitrate
    margin: float  # sales less seed, feed, fingerlings and labour, within the horizon


class ComparisonDoc(TypedDict):
    plan: MeasuresDoc
    by_hand: MeasuresDoc


class ProduceRangeDoc(TypedDict):
    """What is cut or taken of a crop or a fish in a week."""

    week: str
    crop: str
    kg_p10: float
    kg_p50: float
    kg_p90: float


class WeekRangeDoc(TypedDict):
    week: str
    nitrate_n_mg_l_p10: float
    nitrate_n_mg_l_p50: float
    nitrate_n_mg_l_p90: float
    feed_kg_p10: float
    feed_kg_p50: float
    feed_kg_p90: float


class CohortRangeDoc(TypedDict):
    """Live fish of a cohort on a Monday: their mean weight and all of them together."""

    id: str
    week: str
    mean_g_p10: float
    mean_g_p50: float
    mean_g_p90: float
    kg_p10: float
    kg_p50: float
    kg_p90: float


class RangeDoc(TypedDict):
    p10: float
    p50: float
    p90: float


class ForecastDoc(TypedDict):
    """Nine of ten drawn seasons come to more than p10, half to more than p50, a tenth to p90."""

    draws: int
    seed: int
    produce: list[ProduceRangeDoc]
    weeks: list[WeekRangeDoc]
    cohorts: list[CohortRangeDoc]
    feed_total_kg: RangeDoc


class CertaintyPriceDoc(TypedDict):
    """What holding reserves for a certainty costs, by the relaxed model. [money]"""

    certainty: float
    cost: float
    missing: float  # charged for reserves that no plan can hold


class CertaintyDoc(TypedDict):
    """How far orders of the first priority are met with the certainty asked for."""

    asked: float
    order_weeks: int  # of the first priority
    met: int  # of them, with at least that chance
    prices: list[CertaintyPriceDoc]


class HouseDoc(TypedDict):
    """What stood in the house on the plan date, as the plan took it: rows of the farm's lists."""

    standing: list[dict[str, Any]]  # columns of growing.csv
    cohorts: list[dict[str, Any]]  # columns of cohorts.csv
    nitrate_n_mg_l: float
    rows_read: list[dict[str, Any]]  # of both files, as they stood; what differs later is news


class ChangeDoc(TypedDict):
    """One thing that is planned otherwise than in the plan before, in words."""

    kind: str  # of work
    week: str | None  # the Monday of the first week that it touches
    text: str


class ChangesDoc(TypedDict):
    """This plan against the plan before it, from this plan's date on."""

    before: str  # that plan's date
    kept: int  # sowings, settings out and stockings that stayed
    moved: int  # that did not
    cost: float  # what the changes are charged in the objective [money]
    items: list[ChangeDoc]


class PlanDoc(TypedDict):
    farm: str
    made_on: str
    units: str
    horizon: HorizonDoc
    solver: SolverDoc
    crops: dict[str, str]  # names of crops and fish by id
    zones: list[ZoneDoc]
    tanks: list[TankDoc]
    water: WaterDoc
    batches: list[BatchDoc]
    cohorts: list[CohortDoc]
    weeks: list[WeekDoc]
    produce: list[ProduceDoc]
    orders: list[OrderWeekDoc]
    deliveries: list[DeliveryDoc]
    marginal: list[MarginalDoc]
    comparison: ComparisonDoc
    forecast: ForecastDoc | None
    certainty: CertaintyDoc | None  # None when it was not asked for
    learned: dict[str, dict[str, float]]  # factors on the tables, by crop/method and species
    house: HouseDoc
    book_entries: int  # highest number of an entry of the book that the plan knew
    happened: list[str]  # since the plan before, or since the lists were written
    changes: ChangesDoc | None  # None when there was no plan before
    violations: list[str]
    warnings: list[str]
