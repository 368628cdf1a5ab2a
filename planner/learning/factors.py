"""Factors on the tables' figures: what was learned of each crop and method, and each species."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import exp, sqrt

from planner.learning.shrinkage import Prior
from planner.spread import Spread, load_spread

CropMethod = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """A factor: mean and standard deviation of its log, from `n` records of its own."""

    mean_log: float
    sd_log: float
    n: float

    @property
    def factor(self) -> float:
        """The factor itself; 1 where nothing is learned. [-]"""
        return exp(self.mean_log)


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """How far each figure errs, before any record. Logs, but for losses and survival.

    Those two are of the share lost and of the death rate, over the tables' less 1.
    """

    days: Prior
    yields: Prior
    losses: Prior
    fish_growth: Prior
    survival: Prior
    fcr: Prior


def priors_of(spread: Spread) -> Priors:
    """Return the priors that the shipped sizes of spread make.

    Where a species has one size only, half of its variance is shared by all fish (judgement).
    """
    half = sqrt(0.5)
    return Priors(
        days=_prior(spread.days_class, spread.days_crop, spread.days_batch),
        yields=_prior(spread.yield_class, spread.yield_crop, spread.yield_batch),
        losses=_prior(spread.loss_class, spread.loss_crop, spread.loss_batch),
        fish_growth=_prior(
            spread.fish_growth_class, spread.fish_growth_species, spread.fish_growth_cohort
        ),
        survival=_prior(
            half * spread.deaths_species, half * spread.deaths_species, spread.deaths_cohort
        ),
        fcr=_prior(half * spread.fcr_species, half * spread.fcr_species, spread.fcr_cohort),
    )


def _prior(tau_class: float, tau_own: float, sigma: float) -> Prior:
    return Prior(tau_class=tau_class, tau_own=tau_own, sigma=sigma)


def shipped_priors() -> Priors:
    """Return the priors of the shipped table of spreads."""
    return priors_of(load_spread())


@dataclass(frozen=True, slots=True, kw_only=True)
class Factors:
    """What was learned; empty when nothing was.

    A crop, method or species without records of its own stands here, with `n` 0, once its class
    has some. Factors of losses are on `loss_pct`, those of survival on the death rate.
    """

    days: Mapping[CropMethod, Factor] = field(default_factory=dict)
    yields: Mapping[CropMethod, Factor] = field(default_factory=dict)
    losses: Mapping[CropMethod, Factor] = field(default_factory=dict)
    fish_growth: Mapping[str, Factor] = field(default_factory=dict)
    survival: Mapping[str, Factor] = field(default_factory=dict)
    fcr: Mapping[str, Factor] = field(default_factory=dict)
    priors: Priors = field(default_factory=shipped_priors)

    def days_of(self, crop: str, method: str) -> Factor:
        """Factor on the days to harvest: its own, else its class's, else 1."""
        return self.days.get((crop, method)) or _unknown(self.priors.days)

    def yield_of(self, crop: str, method: str) -> Factor:
        """Factor on the kilograms a plant."""
        return self.yields.get((crop, method)) or _unknown(self.priors.yields)

    def loss_of(self, crop: str, method: str) -> Factor:
        """Factor on the share of plants lost."""
        return self.losses.get((crop, method)) or _unknown(self.priors.losses)

    def growth_of(self, species: str) -> Factor:
        """Factor on the growth coefficient."""
        return self.fish_growth.get(species) or _unknown(self.priors.fish_growth)

    def survival_of(self, species: str) -> Factor:
        """Factor on the death rate."""
        return self.survival.get(species) or _unknown(self.priors.survival)

    def fcr_of(self, species: str) -> Factor:
        """Factor on the feed conversion ratio."""
        return self.fcr.get(species) or _unknown(self.priors.fcr)


def _unknown(prior: Prior) -> Factor:
    return Factor(mean_log=0.0, sd_log=prior.sd, n=0)
