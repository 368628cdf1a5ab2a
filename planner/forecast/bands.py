"""Ranges out of draws: the tenth, the middle and the ninetieth of a hundred."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]

RANGE = (0.10, 0.50, 0.90)


class Band(NamedTuple):
    """A quantity in one of ten draws at most, in one of two, and in nine of ten at most."""

    p10: float
    p50: float
    p90: float


def bands(values: NDArray[Any]) -> Series:
    """Return the range of the last axis's draws in a first axis of 3; each is one of the draws."""
    last = values.shape[-1] - 1
    places = [round(share * last) for share in RANGE]
    ordered = np.partition(values, places, axis=-1)
    return np.stack([ordered[..., place] for place in places]).astype(np.float64)


def band(values: NDArray[Any]) -> Band:
    """Return the range of one quantity's draws."""
    low, middle, high = bands(values)
    return Band(float(low), float(middle), float(high))
