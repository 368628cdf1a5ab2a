"""What could be foretold at best of a batch: by the hidden factors, and by all that lasts.

The first oracle puts the hidden factors of each crop and method into the planner's own model: what
learning factors comes to in the end. The second knows besides how things truly grow, get lost and
are weighed, and what the grower does with the plan: it takes the middle of what the batch comes to
in other years of the same house. Neither knows a batch's luck, the weather or the season.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from planner.crops import GrowthModel
from planner.spread import load_spread
from planner.tables import Crop
from tests.skill.grower import HEAD_UNITS, Batch, cuts, heads_fit, ripe_on
from tests.skill.nature import Habit, Nature, mean_lost_share

OTHER_YEARS = 40


class OtherYear(Nature):
    """The same house in another year: other weather, and batches with other luck."""

    def __init__(self, nature: Nature, number: int) -> None:
        self.same, self.number = nature, number
        super().__init__(nature.seed, nature.environment, load_spread(), nature.size)

    def stream(self, name: str) -> np.random.Generator:
        """Return the random numbers of a name in this year."""
        return super().stream(f"{name} in other year {self.number}")

    def habit(self, crop: Crop, method: str) -> Habit:
        """Return how a crop does here in a method, in every year."""
        return self.same.habit(crop, method)


def other_years(nature: Nature, years: int = OTHER_YEARS) -> list[Nature]:
    """Return other years of a house."""
    return [OtherYear(nature, number) for number in range(years)]


def factor_days(nature: Nature, batch: Batch, model: GrowthModel, at: int) -> float:
    """Return the days to ripeness with the hidden factor in the planner's model. [d]

    Parameters
    ----------
    model, at
        Of the table's crop, and its day of setting out in it.
    """
    factor = np.exp(nature.habit(batch.crop, batch.zone.method.value).days)
    grown = np.cumsum(model.progress[at:])
    return float(np.searchsorted(grown, batch.crop.days_to_harvest * factor - 1e-9) + 1)


def factor_kg(nature: Nature, batch: Batch) -> float:
    """Return the kilograms of a batch over the table's, with the hidden factors. [-]"""
    crop, method = batch.crop, batch.zone.method.value
    gain = float(np.exp(nature.habit(crop, method).yields))
    if crop.harvest_kind == "once" and crop.yield_unit in HEAD_UNITS:
        gain = heads_fit(gain)
    lost = mean_lost_share(crop, nature.habit(crop, method))
    return gain * (1 - lost) / (1 - crop.loss_pct / 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lasting:
    """What a batch comes to in the middle of other years: days [d], and kilograms [kg]."""

    days: float
    kg: float


def lasting(
    years: Sequence[Nature], batch: Batch, planned: Sequence[tuple[date, float]]
) -> Lasting:
    """Return what all that lasts in a house foretells of a batch and its planned cuts."""
    days = [(ripe_on(year, batch) - batch.set_out).days for year in years]
    kg = [sum(cut.kg for cut in cuts(year, batch, planned, ())) for year in years]
    return Lasting(days=float(np.median(days)), kg=float(np.median(kg)))
