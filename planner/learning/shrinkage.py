"""From records to estimates that move a little for few and all the way for many.

The value of record j of key i in class c, held against its table, is a normal number:

    y_cij = a_c + b_ci + e_cij,  a ~ N(0, tau_class²),  b ~ N(0, tau_own²),  e ~ N(0, sigma² + s_j²)

where s_j is what the record itself is unsure by. The estimate of a key is the mean of a + b given
all records, which with W = Σ 1/(sigma² + s²) and its class known is the records' mean times
W / (W + 1/tau_own²) and the class for the rest: nothing without records, all with many.

Outliers: a record counts in full within `CUT` standard deviations, beyond as much as one that far
off (Huber), and past `FAR` ever less: it is a slip of the pen, unless others say the same. So do
keys towards their class, but for the last.

A record may be a bound only (a censored one): the truth lies below it, above it, or between two.
It counts by its chance, with a logistic in place of the normal distribution, which is as flat, so
that the chance to lie between two bounds is that of either bound times a constant; a wrong bound
pulls no more than an outlier. The best values are found by fixed rounds of weighting again, from 0.

References
----------
Two levels: Lindley, D. V., Smith, A. F. M., "Bayes estimates for the linear model", J. Royal
Statistical Society B 34, 1972, 1-41. Weights: Huber, P. J., "Robust estimation of a location
parameter", Annals of Mathematical Statistics 35, 1964, 73-101. Bounds: Tobin, J., "Estimation of
relationships for limited dependent variables", Econometrica 26, 1958, 24-36. Rounds for the
logistic: Jaakkola, T. S., Jordan, M. I., "Bayesian parameter estimation via variational methods",
Statistics and Computing 10, 2000, 25-37. All from memory.
"""

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Key = TypeVar("Key", bound=Hashable)

CUT = 1.5  # standard deviations
FAR = 5.0  # standard deviations; judgement
ROUNDS = 100
LEAST_SD = 1e-6
LOGISTIC = 1.702  # slope of the logistic that is nearest to the normal distribution


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """Standard deviations of a class, of a key within its class, and of one record."""

    tau_class: float
    tau_own: float
    sigma: float

    def __post_init__(self) -> None:
        """Refuse what is no standard deviation."""
        for name in ("tau_class", "tau_own", "sigma"):
            if not 0 <= getattr(self, name) < float("inf"):
                raise ValueError(f"{name} must be 0 or more, got {getattr(self, name)}")

    @property
    def sd(self) -> float:
        """Standard deviation of a key without records."""
        return float(np.hypot(self.tau_class, self.tau_own))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample(Generic[Key]):
    """One record: `value` is the truth, or its bound; `noise` is its own standard deviation.

    A truth `by` lies below its value, one `after` above, one `between` from `low` to its value.
    """

    shared: str
    key: Key
    value: float
    noise: float = 0.0
    bound: Literal["", "by", "after", "between"] = ""
    low: float = float("-inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Mean and standard deviation of what is known, and from how many records."""

    mean: float
    sd: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit(Generic[Key]):
    """Estimates by key; by class, for a key without records; and for each record in its order.

    `without` is the estimate of the record's key by all records but itself.
    """

    own: Mapping[Key, Estimate]
    shared: Mapping[str, Estimate]
    without: tuple[float, ...]


def fit(
    samples: Iterable[Sample[Key]], prior: Prior, *, cut: float = CUT, far: float = FAR
) -> Fit[Key]:
    """Return the estimates; the order of the samples does not matter.

    Parameters
    ----------
    cut, far
        Standard deviations from which on a record counts no more, and ever less. [-]
    """
    given = list(samples)
    own: dict[Key, Estimate] = {}
    shared: dict[str, Estimate] = {}
    without = [0.0] * len(given)
    for name in sorted({sample.shared for sample in given}):
        numbers = [n for n, sample in enumerate(given) if sample.shared == name]
        numbers.sort(key=lambda n: (str(given[n].key), given[n].value, *_rest(given[n])))
        found = _Class([given[n] for n in numbers], prior, cut, far)
        own |= found.own()
        shared[name] = found.shared()
        for n, mean in zip(numbers, found.without(), strict=True):
            without[n] = float(mean)
    return Fit(own=own, shared=shared, without=tuple(without))


def _rest(sample: Sample[Key]) -> tuple[float, str, float]:
    return sample.noise, sample.bound, sample.low


class _Class(Generic[Key]):
    """The records of one class, weighted."""

    def __init__(self, samples: list[Sample[Key]], prior: Prior, cut: float, far: float) -> None:
        self.prior = prior
        self.cut, self.far = cut, far
        self.keys = list(dict.fromkeys(sample.key for sample in samples))
        at = {key: n for n, key in enumerate(self.keys)}
        self.group = np.array([at[sample.key] for sample in samples])
        self.value = np.array([sample.value for sample in samples])
        noise = np.array([sample.noise for sample in samples])
        self.sd = np.maximum(np.hypot(prior.sigma, noise), LEAST_SD)
        self.bound = np.array([s.bound != "" for s in samples])
        self.limits = [  # side of the truth, which records have the limit, where it is
            (1, np.array([s.bound in {"by", "between"} for s in samples]), self.value),
            (
                -1,
                np.array([s.bound in {"after", "between"} for s in samples]),
                np.array([s.low if s.bound == "between" else s.value for s in samples]),
            ),
        ]
        self.tau2 = prior.tau_own**2
        self.own_var = np.full(len(self.keys), self.tau2)  # of a key, as its class sees it
        self.theta = np.zeros(len(self.keys))
        for _ in range(ROUNDS):
            self.working, self.weight, known = self._weighted()
            total, pulled = self._sum(self.weight), self._sum(self.weight * self.working)
            mean, _ = _class_of(total, pulled, self.own_var, prior)
            self.theta = (pulled * self.tau2 + mean) / (1 + total * self.tau2)
            if prior.tau_own > 0:
                off = np.abs(self.theta - mean) / prior.tau_own
                self.own_var = self.tau2 * np.maximum(1.0, off / CUT)
        self.total, self.pulled, self.mean = total, pulled, mean
        self.known = self._sum(known)
        self.class_var = _class_of(self.known, self.known, self.own_var, prior)[1]

    def _sum(self, of: Floats) -> Floats:
        return np.bincount(self.group, weights=of, minlength=len(self.keys)).astype(np.float64)

    def _weighted(self) -> tuple[Floats, Floats, Floats]:
        """Return each record's working value, its weight, and how much it tells, both in 1/sd²."""
        theta = self.theta[self.group]
        off = (self.value - theta) / self.sd
        full = 1 / self.sd**2
        weight = full * self.cut / np.maximum(self.cut, np.abs(off))
        weight *= (self.far / np.maximum(self.far, np.abs(off))) ** 2
        if not self.bound.any():
            return self.value, weight, weight
        pull, steep, tells = np.zeros_like(off), np.zeros_like(off), np.zeros_like(off)
        for side, has, limit in self.limits:
            x = np.clip(LOGISTIC * side * (limit - theta) / self.sd, -500, 500)
            wrong = 1 / (1 + np.exp(x))  # chance that the bound does not hold
            half = np.where(np.abs(x) < 1e-6, 0.25, np.tanh(x / 2) / np.where(x == 0, 1, 2 * x))
            pull -= has * side * LOGISTIC * wrong / self.sd
            steep += has * LOGISTIC**2 * full * half
            tells += has * LOGISTIC**2 * full * wrong * (1 - wrong)
        working = theta + pull / np.where(self.bound, steep, 1.0)
        return (
            np.where(self.bound, working, self.value),
            np.where(self.bound, steep, weight),
            np.where(self.bound, np.minimum(tells, full), weight),  # no more than the truth itself
        )

    def own(self) -> dict[Key, Estimate]:
        """Estimates of the keys with records."""
        slack = 1 + self.known * self.tau2
        var = self.tau2 / slack + self.class_var / slack**2
        count = np.bincount(self.group, minlength=len(self.keys))
        rows = zip(self.keys, self.theta, np.sqrt(var), count, strict=True)
        return {key: Estimate(mean=float(m), sd=float(s), n=int(n)) for key, m, s, n in rows}

    def shared(self) -> Estimate:
        """Estimate of a key of this class without records."""
        sd = float(np.sqrt(self.class_var + self.tau2))
        return Estimate(mean=float(self.mean), sd=sd, n=0)

    def without(self) -> Floats:
        """By record: the mean of its key by all the others, at the weights found."""
        group, var = self.group, self.own_var[self.group]
        left = self.total[group] - self.weight
        none = left < 1e-9 * self.total[group]
        left = np.where(none, 0.0, left)
        pulled = np.where(none, 0.0, self.pulled[group] - self.weight * self.working)
        whole = 1 + self.total * self.own_var
        precision = (self.total / whole).sum() - (self.total / whole)[group]
        toward = (self.pulled / whole).sum() - (self.pulled / whole)[group]
        precision += left / (1 + left * var)
        toward += pulled / (1 + left * var)
        class2 = self.prior.tau_class**2
        mean = class2 * toward / (1 + class2 * precision)
        return np.asarray((pulled * self.tau2 + mean) / (1 + left * self.tau2), dtype=np.float64)


def _class_of(total: Floats, pulled: Floats, own_var: Floats, prior: Prior) -> tuple[float, float]:
    """Return mean and variance of a class from its keys' sums of weights and weighted values."""
    slack = 1 + total * own_var
    tau2 = prior.tau_class**2
    loose = 1 + tau2 * float((total / slack).sum())
    return tau2 * float((pulled / slack).sum()) / loose, tau2 / loose
