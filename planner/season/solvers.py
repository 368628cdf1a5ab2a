"""The one door to OR-Tools: a `LinearModel` goes in, partly fixed; values and a bound return."""

import datetime
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from ortools.math_opt import model_pb2
from ortools.math_opt.python import mathopt

from planner.season.linear import LinearModel

Floats = NDArray[np.float64]

MOST_CUTS = 10  # kept in stock: more of them take time and hardly lower the bound
MOST_BARRIER_STEPS = 300  # several times what a barrier method that converges takes


class Solver(StrEnum):
    """Solvers inside OR-Tools that can take the model."""

    HIGHS = "highs"
    SCIP = "scip"
    GLOP = "glop"


_TYPES = {
    Solver.HIGHS: mathopt.SolverType.HIGHS,
    Solver.SCIP: mathopt.SolverType.GSCIP,
    Solver.GLOP: mathopt.SolverType.GLOP,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When a single solve stops: by work first, by the clock at the latest.

    Parameters
    ----------
    nodes
        Branch-and-bound nodes; None for no limit. The same nodes give the same answer.
    relative_gap
        Proven gap at which it may stop. [-]
    seconds
        Cap; None for none. [s]
    """

    nodes: int | None = None
    relative_gap: float = 0.0
    seconds: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """Values of all columns (None when none were found), their worth, and a bound on any.

    `optimal` is true when it was proven, `infeasible` when it was proven that none exist.
    """

    values: Floats | None
    worth: float
    bound: float
    optimal: bool
    infeasible: bool
    prices: Floats | None = None  # of rows, linear programs only


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Reduced:
    columns: NDArray[np.int64]
    rows: NDArray[np.int64]
    constant: float
    proto: model_pb2.ModelProto
    broken: bool  # a row without free columns that is not kept


def _reduce(model: LinearModel, low: Floats, high: Floats, whole: NDArray[np.bool_]) -> _Reduced:
    """Leave out fixed columns and rows without free ones; write the rest as a protocol buffer."""
    free = np.flatnonzero(high - low > 1e-12)
    fixed = low.copy()
    fixed[free] = 0.0
    gone = model.matrix @ fixed
    part = model.matrix[:, free].tocsr()
    filled = np.diff(part.indptr) > 0
    rows = np.flatnonzero(filled)
    slack = 1e-6 * np.maximum(1.0, np.abs(gone))
    empty = ~filled
    broken = bool(
        np.any(gone[empty] > model.row_high[empty] + slack[empty])
        or np.any(gone[empty] < model.row_low[empty] - slack[empty])
    )
    part = part[rows].tocoo()
    order = np.lexsort((part.col, part.row))
    proto = model_pb2.ModelProto()
    proto.variables.ids.extend(range(len(free)))
    proto.variables.lower_bounds.extend(low[free].tolist())
    proto.variables.upper_bounds.extend(high[free].tolist())
    proto.variables.integers.extend(whole[free].tolist())
    proto.objective.maximize = True
    worth = model.worth[free]
    some = np.flatnonzero(worth)
    proto.objective.linear_coefficients.ids.extend(some.tolist())
    proto.objective.linear_coefficients.values.extend(worth[some].tolist())
    proto.linear_constraints.ids.extend(range(len(rows)))
    proto.linear_constraints.lower_bounds.extend((model.row_low[rows] - gone[rows]).tolist())
    proto.linear_constraints.upper_bounds.extend((model.row_high[rows] - gone[rows]).tolist())
    proto.linear_constraint_matrix.row_ids.extend(part.row[order].tolist())
    proto.linear_constraint_matrix.column_ids.extend(part.col[order].tolist())
    proto.linear_constraint_matrix.coefficients.extend(part.data[order].tolist())
    return _Reduced(
        columns=free,
        rows=rows,
        constant=float(model.worth @ fixed),
        proto=proto,
        broken=broken,
    )


def solve(
    model: LinearModel,
    *,
    low: Floats | None = None,
    high: Floats | None = None,
    whole: NDArray[np.bool_] | None = None,
    start: Floats | None = None,
    solver: Solver = Solver.HIGHS,
    limits: Limits | None = None,
    seed: int = 0,
    linear_method: mathopt.LPAlgorithm | None = None,
) -> Answer:
    """Solve the model with the bounds given instead of its own, on one thread.

    Parameters
    ----------
    low, high, whole
        Bounds and whole-number marks of all columns; the model's own by default. Columns whose
        bounds meet are fixed and left out.
    start
        A known answer to begin from.
    """
    low = model.low if low is None else low
    high = model.high if high is None else high
    whole = model.whole if whole is None else whole
    limits = limits or Limits()
    reduced = _reduce(model, low, high, whole)
    if reduced.broken:
        return _nothing(infeasible=True)
    if not len(reduced.columns):
        return Answer(
            values=low.copy(),
            worth=reduced.constant,
            bound=reduced.constant,
            optimal=True,
            infeasible=False,
        )
    problem = mathopt.Model.from_model_proto(reduced.proto)
    parameters = mathopt.SolveParameters(
        threads=None if solver is Solver.HIGHS else 1,
        random_seed=seed,
        relative_gap_tolerance=limits.relative_gap,
        node_limit=limits.nodes,
        lp_algorithm=linear_method,
        time_limit=None
        if limits.seconds is None
        else datetime.timedelta(seconds=max(0.01, limits.seconds)),
    )
    parameters.highs.string_options["parallel"] = "off"
    # the heuristics that solve a model of their own take most of a short search's time
    parameters.highs.bool_options["mip_heuristic_run_root_reduced_cost"] = False
    parameters.highs.bool_options["mip_allow_restart"] = False
    parameters.highs.int_options["mip_pool_soft_limit"] = MOST_CUTS
    parameters.highs.int_options["ipm_iteration_limit"] = MOST_BARRIER_STEPS
    hints = mathopt.ModelSolveParameters()
    if start is not None:
        known = mathopt.SolutionHint(
            variable_values={
                problem.get_variable(at): float(start[column])
                for at, column in enumerate(reduced.columns)
            }
        )
        hints.solution_hints.append(known)
    result = _run(problem, solver, parameters, hints)
    if result is None:
        return _nothing(infeasible=False)
    return _answer(model, reduced, result, low, linear=not whole[reduced.columns].any())


def _run(
    problem: mathopt.Model,
    solver: Solver,
    parameters: mathopt.SolveParameters,
    hints: mathopt.ModelSolveParameters,
) -> mathopt.SolveResult | None:
    """Run a solver; another method, then SCIP, where it turns in circles or contradicts itself.

    Both happen with prices a million times apart, or rules that barely collide. OR-Tools 9.15 tells
    of the latter by a RuntimeError, or stumbles over it with an AttributeError.
    """
    ways = ((solver, parameters.lp_algorithm), (solver, None), (Solver.SCIP, None))
    for able, method in dict.fromkeys(ways):
        parameters.lp_algorithm = method
        if able is Solver.SCIP:
            parameters.threads = 1
        with suppress(RuntimeError, AttributeError):
            result = mathopt.solve(problem, _TYPES[able], params=parameters, model_params=hints)
            if result.termination.limit is not mathopt.Limit.ITERATION:
                return result
    return None


def _answer(
    model: LinearModel,
    reduced: _Reduced,
    result: mathopt.SolveResult,
    low: Floats,
    *,
    linear: bool,
) -> Answer:
    reason = result.termination.reason
    if reason in {mathopt.TerminationReason.INFEASIBLE}:
        return _nothing(infeasible=True)
    bound = result.termination.objective_bounds.dual_bound + reduced.constant
    if not result.has_primal_feasible_solution():
        return _nothing(infeasible=False, bound=bound)
    values = low.copy()
    found = result.variable_values()
    values[reduced.columns] = [found[variable] for variable in sorted(found, key=lambda v: v.id)]
    prices = None
    if linear and result.has_dual_feasible_solution():
        prices = np.zeros(model.matrix.shape[0])
        duals = result.dual_values()
        prices[reduced.rows] = [duals[row] for row in sorted(duals, key=lambda r: r.id)]
    return Answer(
        values=values,
        worth=float(model.worth @ values),
        bound=bound,
        optimal=reason == mathopt.TerminationReason.OPTIMAL,
        infeasible=False,
        prices=prices,
    )


def _nothing(*, infeasible: bool, bound: float = np.inf) -> Answer:
    return Answer(values=None, worth=-np.inf, bound=bound, optimal=False, infeasible=infeasible)
