"""What the draws are spread by: learned factors where there are any, else the shipped sizes.

The means of learned factors are in the tables already, so that the plan itself keeps to them; here
only what is left of their uncertainty counts.
"""

from dataclasses import dataclass

from planner.learning import Factors, priors_of
from planner.spread import Spread


@dataclass(frozen=True, slots=True)
class Sizes:
    """Standard deviations of the logs of what a crop and method, or a species, share.

    Attributes
    ----------
    spread
        Of everything else.
    """

    spread: Spread
    factors: Factors

    def days(self, crop: str, method: str) -> float:
        """Of days to harvest."""
        return self.factors.days_of(crop, method).sd_log

    def yields(self, crop: str, method: str) -> float:
        """Of kilograms a plant."""
        return self.factors.yield_of(crop, method).sd_log

    def losses(self, crop: str, method: str) -> float:
        """Of the share of plants lost."""
        return self.factors.loss_of(crop, method).sd_log

    def fish_growth(self, species: str) -> float:
        """Of the growth coefficient."""
        return self.factors.growth_of(species).sd_log

    def deaths(self, species: str) -> float:
        """Of the death rate."""
        return self.factors.survival_of(species).sd_log

    def fcr(self, species: str) -> float:
        """Of the feed conversion ratio."""
        return self.factors.fcr_of(species).sd_log


def sizes(spread: Spread, factors: Factors | None) -> Sizes:
    """Return the sizes to draw by; without factors, those of a house with no records."""
    return Sizes(spread, factors or Factors(priors=priors_of(spread)))
