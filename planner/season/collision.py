"""Which rules cannot hold together, for a farm that no plan fits."""

import numpy as np
from numpy.typing import NDArray

from planner.season.linear import LinearModel
from planner.season.solvers import Limits, solve

NODES = 400  # for each set of rules that is tried with whole numbers

Mask = NDArray[np.bool_]


def collision(model: LinearModel, *, whole: bool = False) -> str:
    """Say which rules cannot hold together, by leaving rules out one at a time.

    A rule is named when no plan exists with it and the other named ones (a smallest such set).
    `whole` asks for whole parts, tanks and fish, where a plan in fractions would keep the rules.
    """
    loose = {"produce", "orders", "what grows after the tail"}
    names = [rule for rule in dict.fromkeys(model.rules) if rule not in loose]
    of_row = np.array(model.rules)
    kept = list(names)
    for rule in names:
        trial = [other for other in kept if other != rule]
        if not _possible(model, np.isin(of_row, trial), whole):
            kept = trial
    rules = " and ".join(f'"{rule}"' for rule in kept) or "the rules"
    return (
        f"No plan keeps these rules together: {rules}. Check what the farm files say of them, and "
        "what stands in the house (growing.csv, cohorts.csv)."
    )


def _possible(model: LinearModel, rows: Mask, whole: bool) -> bool:
    """Whether any values keep these rows, or none that do are ruled out in so many nodes."""
    part = LinearModel(
        worth=np.zeros(model.columns),
        matrix=model.matrix[np.flatnonzero(rows)],
        row_low=model.row_low[rows],
        row_high=model.row_high[rows],
        low=model.low,
        high=model.high,
        whole=model.whole & whole,
        rules=(),
    )
    return not solve(part, limits=Limits(nodes=NODES)).infeasible
