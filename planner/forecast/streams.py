"""Random numbers by name: each factor, batch and cohort draws from a stream of its own.

So a batch more or less leaves the draws of all others as they were.
"""

from dataclasses import dataclass
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]

MOST_OF_VARIANCE = 0.9  # of what a share between 0 and 1 can have at its mean


@dataclass(frozen=True, slots=True)
class Streams:
    """Streams of random numbers, one for each name, all from one seed."""

    seed: int
    draws: int

    def of(self, name: str) -> np.random.Generator:
        """Return the stream of a name, from its beginning."""
        number = int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "big")
        return np.random.Generator(np.random.PCG64([self.seed, number]))

    def normal(self, name: str, sd: float) -> Series:
        """Return one normal number a draw, mean 0; nothing but 0 where `sd` is 0."""
        if sd == 0:
            return np.zeros(self.draws)
        return self.of(name).standard_normal(self.draws) * sd

    def wandering(self, name: str, sd: float, memory_weeks: float, weeks: int) -> Series:
        """Return a series that forgets itself, of shape (weeks, draws).

        Its standard deviation is `sd` in every week, and its correlation over `memory_weeks` is
        1/e.
        """
        if sd == 0:
            return np.zeros((weeks, self.draws))
        kept = float(np.exp(-1 / memory_weeks))
        series = self.of(name).standard_normal((weeks, self.draws))
        for week in range(1, weeks):
            series[week] = kept * series[week - 1] + np.sqrt(1 - kept**2) * series[week]
        return np.asarray(series * sd)


def shares(
    stream: np.random.Generator, mean: Series | float, sd: Series | float, of: int, draws: int
) -> Series:
    """Return a share of `of` things a draw: beta distributed, as uneven as counting makes it.

    Its variance is that of the share itself, `sd` squared, and of a count of so many.
    """
    m = np.clip(mean, 1e-6, 1 - 1e-6)
    most = m * (1 - m)
    variance = np.minimum(np.square(sd) + most / max(of, 1), MOST_OF_VARIANCE * most)
    size = most / variance - 1
    return stream.beta(m * size, (1 - m) * size, draws)
