"""Jobs of the benchmark, each a process of its own: `python -m tests.benchrivals JOB ...`.

A job prints one line of JSON. Here are the rivals of the counted search (the same season with every
place named, other solvers, the plan made by hand) and what else needs the library itself.
"""

import argparse
import ctypes
import json
import math
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date
from importlib.metadata import version
from importlib.util import find_spec
from itertools import accumulate
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from planner import placement
from planner.batches import BatchOption
from planner.changes import none as no_changes
from planner.errors import PlannerError
from planner.farm import Standing
from planner.farmfile import read_farm
from planner.handplan import hand_plan
from planner.measures import measures
from planner.plan import SeasonPlan, gap, violations, water_balance
from planner.planning import make_plan
from planner.problem import SeasonProblem, build
from planner.season import search
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.season.rows import SeasonRows
from planner.season.solvers import Limits, Solver, solve
from planner.stays import CohortOption
from tests.benchruns import fingerprint
from tests.houses import House, random_house

ENDLESS = 1_000_000  # rounds: the seconds end the search

Facts = dict[str, Any]


def problem_of(folder: Path) -> SeasonProblem:
    """The season's problem of a farm folder that carries its plan date."""
    inputs = read_farm(folder)
    assert inputs.farm.plan_date is not None
    return build(inputs.farm, inputs.crops, inputs.fish, inputs.station, inputs.farm.plan_date)


def facts(problem: SeasonProblem, plan: SeasonPlan) -> Facts:
    """What a plan is worth, and what a grower would look at."""
    found = measures(problem, plan)
    nitrate_mg_l = water_balance(problem, plan).nitrate_mg_l[: problem.horizon.weeks]
    return {
        "value": plan.value,
        "bound": plan.bound,
        "gap": plan.gap,
        "seconds": plan.seconds,
        "faults": len(violations(problem, plan)),
        "orders_met": found.orders_met,
        "short_lines": found.short_lines,
        "weeks_in_band": found.weeks_in_band,
        "weeks": found.weeks,
        "margin": found.margin,
        "swing_mg_l": float(nitrate_mg_l.max() - nitrate_mg_l.min()),
    }


def size(folder: Path) -> Facts:
    """How many options a farm has, and how large its model is."""
    problem = problem_of(folder)
    return {
        "batches": len(problem.batches),
        "cohorts": len(problem.cohorts),
        **_model_size(problem),
    }


def _model_size(problem: SeasonProblem) -> Facts:
    model = SeasonRows(problem).model
    return {"columns": model.columns, "whole": int(model.whole.sum())}


def searched(folder: Path, solver: str = "highs", seconds: float | None = None) -> Facts:
    """The search as the command does it, with another solver if need be."""
    problem = problem_of(folder)
    effort = Effort(solver=Solver(solver), seconds=seconds)
    return facts(problem, season_plan(problem, effort)) | _model_size(problem)


def named(folder: Path, seconds: float) -> Facts:
    """The same search in the season with every place and tank named, until its time is up."""
    problem = by_place(problem_of(folder))
    plan = season_plan(problem, Effort(work=ENDLESS, seconds=seconds))
    return facts(problem, plan) | _model_size(problem)


def whole(folder: Path, solver: str, seconds: float) -> Facts:
    """The whole model given to a solver at once."""
    problem = problem_of(folder)
    rows = SeasonRows(problem)
    began = time.monotonic()
    answer = solve(rows.model, solver=Solver(solver), limits=Limits(seconds=seconds))
    found = answer.values is not None
    return {
        "value": answer.worth if found else None,
        "bound": answer.bound if math.isfinite(answer.bound) else None,
        "gap": gap(problem, answer.worth, answer.bound) if found else None,
        "seconds": time.monotonic() - began,
    }


def by_hand(folder: Path) -> Facts:
    """The plan that is made without a search."""
    problem = problem_of(folder)
    return facts(problem, hand_plan(problem))


def one_worker(folder: Path) -> Facts:
    """The command's plan when the two neighbourhoods of a round are worked on one by one."""
    before = search.WORKERS
    search.WORKERS = 1
    try:
        bundle = make_plan(folder, today=date.min)
    finally:
        search.WORKERS = before
    return {"fingerprint": fingerprint(json.loads(bundle.files["plan.json"]))}


def placed(folder: Path) -> Facts:
    """Seconds that it takes to give the batches of a plan without improvement their places."""
    assign, seconds = placement.assign, []

    def timed(*lots: Any, **rules: Any) -> placement.Placement:
        began = time.monotonic()
        layout = assign(*lots, **rules)
        seconds.append(time.monotonic() - began)
        return layout

    with patch.object(placement, "assign", timed):
        bundle = make_plan(folder, today=date.min, effort=Effort(work=0))
    zones = bundle.document["zones"]
    assert len(seconds) == len(zones)
    return {
        "places": sum(zone["places"] for zone in zones),
        "lots": len(bundle.document["batches"]),
        "seconds": sum(seconds),
    }


def houses(count: int, larger: int = 0) -> Facts:
    """Plan random houses; count the faults that `violations` finds in their plans."""
    faults, impossible, gaps = 0, 0, []
    began = time.monotonic()
    for seed in range(count):
        house: House = (
            random_house(seed, weeks=(8, 16), most_tail=6) if larger else random_house(seed)
        )
        try:
            problem = house.problem
            plan = season_plan(problem, Effort())
        except PlannerError:
            impossible += 1
            continue
        faults += len(violations(problem, plan))
        gaps.append(plan.gap)
    return {
        "houses": count,
        "faults": faults,
        "impossible": impossible,
        "gap": max(gaps, default=0.0),
        "seconds": time.monotonic() - began,
    }


def versions() -> Facts:
    """Versions of OR-Tools and of the HiGHS inside it, as the library itself tells."""
    spec = find_spec("ortools")
    folders = [] if spec is None else list(spec.submodule_search_locations or ())
    highs = "of a version that it does not tell"
    for library in (p for folder in folders for p in Path(folder).glob(".*libs/libhighs*")):
        tell = ctypes.CDLL(str(library)).Highs_version
        tell.restype = ctypes.c_char_p
        highs = tell().decode()
    return {"ortools": version("ortools"), "highs": highs}


def by_place(problem: SeasonProblem) -> SeasonProblem:
    """Return the same season with every place a zone and every tank a kind of its own.

    Each option of a zone becomes one for each of its places; a batch stands where it stands, and
    one without places, or still in its trays, may be anywhere in its zone. The best plans of both
    seasons are worth the same.
    """
    farm = problem.farm
    firsts = accumulate((zone.places for zone in farm.zones), initial=0)
    spots = [range(n, n + zone.places) for n, zone in zip(firsts, farm.zones, strict=False)]
    batches: list[BatchOption] = []
    discard: list[float] = []
    standing: list[Standing] = []
    groups: list[tuple[tuple[int, ...], int, bool]] = []

    def add(numbers: Iterable[int], number: int | None, only: range | None = None) -> range:
        before = len(batches)
        for n in numbers:
            option = problem.batches[n]
            for spot in only or spots[option.zone]:
                batches.append(replace(option, zone=spot, standing=number))
                discard.append(problem.discard_cost[n])
        return range(before, len(batches))

    add((n for n, option in enumerate(problem.batches) if option.standing is None), None)
    zones = {zone.name: at for zone, at in zip(farm.zones, spots, strict=True)}
    for batch, (numbers, parts, stands) in zip(farm.standing, problem.batch_groups, strict=True):
        held = batch.parts_by_place if stands else {}
        for place, parts_here in held.items() or [(None, parts)]:
            only = None if place is None else zones[batch.zone][place - 1 : place]
            groups.append((tuple(add(numbers, len(standing), only)), parts_here, stands))
            standing.append(batch.model_copy(update={"parts": parts_here, "places": ()}))

    tanks = [tank.tank_names for tank in farm.tanks]
    names = [name for kind in tanks for name in kind]
    cohorts: list[CohortOption] = []
    at_hand: dict[int, list[int]] = {number: [] for number in range(len(farm.cohorts))}
    for option in problem.cohorts:
        if option.at_hand is None:
            cohorts += [replace(option, tank=names.index(name)) for name in tanks[option.tank]]
        else:
            at_hand[option.at_hand].append(len(cohorts))
            tank = names.index(farm.cohorts[option.at_hand].tank)
            cohorts.append(replace(option, tank=tank))
    places = {
        "zones": tuple(
            zone.model_copy(update={"name": name, "places": 1})
            for zone in farm.zones
            for name in zone.place_names
        ),
        "tanks": tuple(
            tank.model_copy(update={"name": name, "places": 1})
            for tank in farm.tanks
            for name in tank.tank_names
        ),
        "standing": tuple(standing),
    }
    return replace(
        problem,
        farm=farm.model_copy(update=places),
        batches=tuple(batches),
        changes=no_changes(len(batches), len(cohorts)),
        discard_cost=np.array(discard),
        batch_groups=tuple(groups),
        cohorts=tuple(cohorts),
        cohort_groups=tuple(tuple(group) for group in at_hand.values()),
    )


JOBS: dict[str, Callable[..., Facts]] = {
    job.__name__: job
    for job in (size, searched, named, whole, by_hand, one_worker, placed, houses, versions)
}


def main(argv: list[str] | None = None) -> None:
    """Do a job and print what it found; what follows its name are its arguments, `key=value`."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchrivals", description=main.__doc__)
    parser.add_argument("job", choices=JOBS)
    parser.add_argument("given", nargs="*", metavar="key=value")
    asked = parser.parse_args(argv)
    kinds = {"folder": Path, "seconds": float, "count": int, "larger": int, "solver": str}
    pairs = (text.partition("=") for text in asked.given)
    print(json.dumps(JOBS[asked.job](**{key: kinds[key](text) for key, _, text in pairs})))


if __name__ == "__main__":
    main()
