"""A linear model with whole numbers as plain arrays, built rule by rule. No solver here."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
INFINITY = np.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinearModel:
    """Maximise `worth · v` with `row_low ≤ A v ≤ row_high`, `low ≤ v ≤ high`, some `v` whole."""

    worth: Floats
    matrix: sparse.csr_matrix
    row_low: Floats
    row_high: Floats
    low: Floats
    high: Floats
    whole: NDArray[np.bool_]
    rules: tuple[str, ...]  # by row: the rule it belongs to

    @property
    def columns(self) -> int:
        """Number of variables."""
        return len(self.worth)


@dataclass(slots=True)
class Builder:
    """Collects variables and rows; `done` gives the frozen model."""

    _low: list[float] = field(default_factory=list)
    _high: list[float] = field(default_factory=list)
    _worth: list[float] = field(default_factory=list)
    _whole: list[bool] = field(default_factory=list)
    _rows: list[Whole] = field(default_factory=list)
    _columns: list[Whole] = field(default_factory=list)
    _values: list[Floats] = field(default_factory=list)
    _row_low: list[float] = field(default_factory=list)
    _row_high: list[float] = field(default_factory=list)
    _rules: list[str] = field(default_factory=list)
    rule: str = ""  # that the rows added from now on belong to

    def variable(
        self, *, low: float = 0.0, high: float = INFINITY, worth: float = 0.0, whole: bool = False
    ) -> int:
        """Add a variable and return its column."""
        self._low.append(low)
        self._high.append(high)
        self._worth.append(worth)
        self._whole.append(whole)
        return len(self._low) - 1

    def row(self, low: float = -INFINITY, high: float = INFINITY) -> int:
        """Add an empty row and return its number; `add` fills it."""
        self._row_low.append(low)
        self._row_high.append(high)
        self._rules.append(self.rule)
        return len(self._row_low) - 1

    def add(self, rows: Iterable[int], column: int, values: Iterable[float]) -> None:
        """Add values of one column to rows."""
        at = np.fromiter(rows, dtype=np.int64)
        what = np.fromiter(values, dtype=np.float64)
        keep = what != 0
        self._rows.append(at[keep])
        self._values.append(what[keep])
        self._columns.append(np.full(int(keep.sum()), column, dtype=np.int64))

    def term(self, row: int, column: int, value: float = 1.0) -> None:
        """Add one value to a row."""
        self.add((row,), column, (value,))

    def done(self) -> LinearModel:
        """Return the model."""
        shape = (len(self._row_low), len(self._low))
        rows, columns = np.concatenate(self._rows), np.concatenate(self._columns)
        values = np.concatenate(self._values)
        matrix = sparse.csr_matrix((values, (rows, columns)), shape=shape)
        matrix.sum_duplicates()
        return LinearModel(
            worth=np.array(self._worth),
            matrix=matrix,
            row_low=np.array(self._row_low),
            row_high=np.array(self._row_high),
            low=np.array(self._low),
            high=np.array(self._high),
            whole=np.array(self._whole, dtype=bool),
            rules=tuple(self._rules),
        )
