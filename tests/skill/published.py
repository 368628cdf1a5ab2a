"""Two years of counts that somebody really made, and what the learning makes of them.

Leaves of cauliflower against degree-days above 32 °F, divided by 100: 14 counts, seven in 1956-57
and seven in 1957-58. Data set `mead.cauliflower` of the R package agridat (MIT licence), from Mead,
R., Curnow, R. N., Hasted, A. M., "Statistical Methods in Agriculture and Experimental Biology",
third edition, Chapman and Hall 2002, page 251; description and figures as the package prints them.

The first year is taken as the table: its line foretells the degree-days to a number of leaves, as
the crop table foretells days to harvest. The second year is the house.
"""

from dataclasses import dataclass
from math import exp, log
from statistics import NormalDist

import numpy as np

from planner.learning import priors_of
from planner.learning.shrinkage import Sample, fit
from planner.spread import Spread, load_spread

YEAR_1956 = ((4.5, 38), (7.5, 62), (9.5, 72), (10.5, 87), (13.0, 102), (16.0, 135), (18.0, 150))
YEAR_1957 = ((4.5, 60), (8.0, 85), (9.5, 91), (11.5, 120), (13.0, 126), (14.0, 133), (16.5, 152))

RANGE_SDS = NormalDist().inv_cdf(0.9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """Warmth to one count of the second year, in hundreds of degree-days.

    Attributes
    ----------
    table, learned
        By the first year alone, and with what the counts before this one teach.
    before, after
        The ranges of 80 % of both.
    """

    leaves: int
    real: float
    table: float
    learned: float
    before: tuple[float, float]
    after: tuple[float, float]

    @property
    def held_before(self) -> bool:
        """Whether the first year's range holds the count."""
        return self.before[0] <= self.real <= self.before[1]

    @property
    def held_after(self) -> bool:
        """Whether the learned range holds it."""
        return self.after[0] <= self.real <= self.after[1]


def line(counts: tuple[tuple[float, int], ...]) -> tuple[float, float]:
    """Return slope and intercept of leaves over warmth, by least squares."""
    warmth, leaves = np.array(counts, dtype=float).T
    slope, intercept = np.polyfit(warmth, leaves, 1)
    return float(slope), float(intercept)


def foretold(spread: Spread | None = None) -> list[Foretold]:
    """Foretell each count of the second year from the first year and what was counted before it.

    The spread is that of days to harvest: the table's error, learned or not, a batch, a season.
    """
    sizes = spread or load_spread()
    prior = priors_of(sizes).days
    slope, intercept = line(YEAR_1956)
    found: list[Foretold] = []
    known: list[Sample[str]] = []
    for real, leaves in YEAR_1957:
        table = (leaves - intercept) / slope
        estimate = fit(known, prior).own.get("cauliflower")
        mean, own = (0.0, prior.sd) if estimate is None else (estimate.mean, estimate.sd)
        found.append(
            Foretold(
                leaves=leaves,
                real=real,
                table=table,
                learned=table * exp(mean),
                before=_range(table, prior.sd, sizes),
                after=_range(table * exp(mean), own, sizes),
            )
        )
        known.append(Sample(shared="leafy", key="cauliflower", value=log(real / table)))
    return found


def _range(middle: float, own_sd: float, sizes: Spread) -> tuple[float, float]:
    sd = float(np.sqrt(own_sd**2 + sizes.days_batch**2 + sizes.season_growth**2))
    return middle * exp(-RANGE_SDS * sd), middle * exp(RANGE_SDS * sd)
