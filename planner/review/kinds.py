"""What a review finds, row by row; None where nothing was recorded, which is not nought."""

from dataclasses import dataclass
from datetime import date

from planner.learning import LearnedRow
from planner.words import Units


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow:
    """One batch: the plan in force when it was set out, against the book.

    Parameters
    ----------
    month, area_m2
        Month of sowing such as `2027-03`, and the share of the zone that it holds. [m²]
    planned_days, real_days
        From setting out to the first cut. [d]
    planned_kg
        Planned cuts of the span. [kg]
    counted_kg, real_kg
        Those of them that are held against the book, and what was cut. [kg]
    lost_plants, lost_kg, lost_counted_kg
        Plants in parts that were lost, what the plan still had of them, and what of that is in
        `counted_kg`. [-] [kg]
    planned_loss
        Share of the plants that the plan took off. [-]
    planned_hours
        Work of the planned steps within the span. [h]
    planned_m2_weeks, real_m2_weeks
        Area times the time held up to the span's end, by the counted share of the planned
        kilograms. [m² weeks]
    course_value
        All that was planned of it at the crop's price, over area and time. [money m⁻² week⁻¹]
    late_days
        Setting out, or sowing where only that is recorded, after its planned day. [d]
    """

    batch: str
    crop: str
    zone: str
    method: str
    month: str
    plants: int
    area_m2: float
    planned_days: int | None
    real_days: int | None
    planned_kg: float
    counted_kg: float
    real_kg: float | None
    lost_plants: float | None
    lost_kg: float
    lost_counted_kg: float
    planned_loss: float
    planned_hours: float
    planned_m2_weeks: float
    real_m2_weeks: float
    course_value: float
    late_days: int | None
    price_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CropRow:
    """Batches of a crop, growing method and sowing month together.

    What was cut without a word of its batch has a row of its own, method and month empty.

    Parameters
    ----------
    batches, recorded, days_recorded
        All batches, those with weighed cuts, and those with both days. [-]
    counted_kg
        Planned kilograms of what is recorded. [kg]
    planned_value, real_value
        Kilograms at the crop's mean price, over area and time held: of the recorded batches, and
        where there are none the planned value is that of all with a cut. [money m⁻² week⁻¹]
    price_kg
        Mean price of the crop; 0 when nobody pays for it. [money kg⁻¹]
    """

    crop: str
    method: str
    month: str
    batches: int
    recorded: int
    days_recorded: int
    planned_days: float | None
    real_days: float | None
    planned_kg: float
    counted_kg: float
    real_kg: float | None
    planned_loss: float
    plants: int
    lost_plants: float | None
    planned_hours: float
    planned_value: float | None
    real_value: float | None
    price_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FishRow:
    """One species in one tank.

    Parameters
    ----------
    weighed_on, planned_mean_g, real_mean_g
        Last weighing, foretold by the plan before it. [g]
    planned_survival, real_survival
        Share of the fish of the first day that do not die within the span. [-]
    planned_dead, dead
        Fish that die. [-]
    planned_fcr, real_fcr
        Feed over gain, where feed is recorded from one weighing to the next. [kg kg⁻¹]
    planned_taken_kg, real_taken_kg
        Fish taken out to sell or eat; where some are recorded, planned up to the last of them. [kg]
    """

    tank: str
    species: str
    weighed_on: date | None
    planned_mean_g: float | None
    real_mean_g: float | None
    planned_survival: float | None
    real_survival: float | None
    planned_dead: float | None
    dead: int | None
    planned_fcr: float
    real_fcr: float | None
    planned_taken_kg: float
    real_taken_kg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekRow:
    """Water and feed of one whole week.

    Parameters
    ----------
    planned_mg_l, band_mg_l, tested_low_mg_l, tested_high_mg_l, out_mg_l
        Nitrate nitrogen: the plan's at the week's end, its band, lowest and highest test, and how
        far beyond the band the worst test is. [mg L⁻¹]
    planned_feed_kg, real_feed_kg
        Of the tanks for which feed was written down. [kg]
    """

    week: date
    planned_mg_l: float
    band_mg_l: tuple[float, float]
    tests: int
    tested_low_mg_l: float | None
    tested_high_mg_l: float | None
    out_mg_l: float | None
    planned_feed_kg: float
    real_feed_kg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProduceRow:
    """What was cut or taken of a crop or fish in a whole week, against the plan in force. [kg]"""

    week: date
    crop: str
    planned_kg: float
    p10_kg: float | None
    p50_kg: float | None
    p90_kg: float | None
    real_kg: float | None

    @property
    def inside(self) -> bool | None:
        """Whether it came within the range; None when either is unknown."""
        if self.real_kg is None or self.p10_kg is None or self.p90_kg is None:
            return None
        return self.p10_kg - 5e-5 <= self.real_kg <= self.p90_kg + 5e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRow:
    """One order line in one whole week.

    Parameters
    ----------
    ordered, planned, delivered
        In the line's unit; delivered None when nothing is recorded. [unit]
    price
        Of one unit. [money unit⁻¹]
    short
        Ordered less delivered, or less planned when no delivery is recorded; 0 when within the
        line's tolerance. [unit]
    cause
        Of the shortage; empty when there is none.
    """

    week: date
    line: str
    customer: str
    crop: str
    unit: str
    kg_per_unit: float
    ordered: float
    planned: float
    delivered: float | None
    price: float
    short: float
    cause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomerRow:
    """One customer: order weeks, and the share of what was ordered that came.

    Parameters
    ----------
    planned_rate
        As planned, over all order weeks. [-]
    counted_rate, real_rate
        As planned and as delivered, over the order weeks with a recorded delivery. [-]
    """

    customer: str
    order_weeks: int
    recorded: int
    planned_rate: float
    counted_rate: float | None
    real_rate: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing to change: what it cost, how that was reckoned, what to do. [money]"""

    kind: str
    title: str
    money: float
    reckoned: str
    todo: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """All that a review finds.

    Parameters
    ----------
    names
        Names of crops and fish by id.
    entries
        Entries of the span. [-]
    beside
        Deliveries that belong to no order of their week. [-]
    """

    farm: str
    units: Units
    currency: str
    names: dict[str, str]
    first: date
    last: date
    plans: int
    entries: int
    batches: tuple[BatchRow, ...]
    crops: tuple[CropRow, ...]
    fish: tuple[FishRow, ...]
    weeks: tuple[WeekRow, ...]
    produce: tuple[ProduceRow, ...]
    orders: tuple[OrderRow, ...]
    customers: tuple[CustomerRow, ...]
    beside: int
    changes: tuple[Change, ...]
    learned: tuple[LearnedRow, ...]

    @property
    def ranged(self) -> int:
        """Recorded weeks of a crop for which there is a forecast. [-]"""
        return sum(row.inside is not None for row in self.produce)

    @property
    def inside(self) -> int:
        """Those of them that came within the range from p10 to p90. [-]"""
        return sum(row.inside is True for row in self.produce)
