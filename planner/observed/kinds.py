"""What a record tells about a figure of the tables: planned against real, one kind for each."""

from dataclasses import dataclass
from typing import Literal

Told = Literal["ripe", "by", "after", "between"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DaysObs:
    """Days from setting out to ripeness of one batch.

    Parameters
    ----------
    planned_days
        By the tables, without what the plan had learned. [d]
    real_days
        What `told` says of. [d]
    told
        `ripe`: it was ripe after `real_days`; `by`: no later than that; `after`: not so soon;
        `between`: after `from_days` and no later than `real_days`.
    on_time
        Whether it only says that the batch was ripe when the plan wanted it.
    from_days
        Of `between`: it was not ripe so soon. [d]
    """

    crop: str
    method: str
    batch: str
    planned_days: float
    real_days: float
    told: Told
    on_time: bool = False
    from_days: float = 0.0

    @property
    def censored(self) -> bool:
        """Whether there is only one bound, and no figure."""
        return self.told in {"by", "after"}

    @property
    def middle_days(self) -> float:
        """The figure itself, or the middle of both bounds. [d]"""
        if self.told == "between":
            return (self.from_days + self.real_days) / 2
        return self.real_days


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldObs:
    """Kilograms of one batch: of the cuts that were taken, of the parts that stood. [kg]

    `planned_kg` is by the tables, without what the plan had learned, and net of their loss;
    `plants` is how many stood in those parts [-], where that is known.
    """

    crop: str
    method: str
    batch: str
    planned_kg: float
    real_kg: float
    plants: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LossObs:
    """Plants set out in one batch, and those of them in parts that were lost whole. [-]

    `event` names what took them, by its day and cause: one event tells once, however many
    batches it took. Empty where none were lost.
    """

    crop: str
    method: str
    batch: str
    plants: float
    lost: float
    event: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthObs:
    """What a fish gained between two weighings.

    Parameters
    ----------
    start_g, real_gain_g
        Mean weight at the first weighing, and what the second was above it. [g]
    planned_gain_g
        From the same start in the same days by the tables, without what the plan had learned. [g]
    noise_log
        Standard deviation of the log of real over planned growth for the weighings alone. [-]
    """

    species: str
    cohort: str
    start_g: float
    planned_gain_g: float
    real_gain_g: float
    noise_log: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalObs:
    """Fish found dead in a tank, of `count` at the start, in so many days.

    `expected` is the deaths by the tables, without what the plan had learned. [-]
    """

    species: str
    cohort: str
    count: float
    dead: float
    days: float
    expected: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FcrObs:
    """Feed given and live weight gained between two weighings of a tank. [kg]

    `noise_log` is the standard deviation of the log of the gain for the weighings alone. [-]
    """

    species: str
    cohort: str
    feed_kg: float
    gain_kg: float
    noise_log: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """All that the book tells about the figures of the tables."""

    days: tuple[DaysObs, ...] = ()
    yields: tuple[YieldObs, ...] = ()
    losses: tuple[LossObs, ...] = ()
    growth: tuple[GrowthObs, ...] = ()
    survival: tuple[SurvivalObs, ...] = ()
    fcr: tuple[FcrObs, ...] = ()
