"""The benchmark: `python -m tests.benchmark` plans a ladder of farms and writes Markdown tables.

Every figure is of one run on one machine with nothing else to do; what counts are the ratios.
Each plan is made by the whole command in a process of its own; its memory is that process's peak.
Farms come from `tests.ladder`, what needs the library itself from `tests.benchrivals`.
"""

import argparse
import os
import platform
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.benchruns import (
    FULL,
    QUICK,
    Bench,
    Failed,
    Runner,
    Shape,
    fingerprint,
    measured,
    num,
    percent,
    table,
)


def machine(bench: Bench) -> str:
    """Say on what the figures were taken."""
    found = bench.job("versions")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return (
        f"Machine: {cores} cores ({platform.machine()}), {memory_gb:.0f} GB, Python "
        f"{platform.python_version()}, OR-Tools {found['ortools']}, HiGHS {found['highs']}.\n"
    )


def ladder(bench: Bench, steps: Sequence[str]) -> str:
    """The table of the ladder: the base farm, and what the steps make of it."""
    extent = bench.extent
    changes: list[tuple[str, Shape]] = [("base", {})]
    if "size" in steps:
        changes += [(f"× {size}", {"size": size}) for size in extent.sizes]
    if "crops" in steps:
        changes += [(f"{crops} crops", {"crops": crops}) for crops in extent.crops]
    if "weeks" in steps:
        changes += [(f"{weeks} weeks", {"weeks": weeks}) for weeks in extent.weeks]
    base_s = bench.plan().seconds
    rows = []
    for name, change in changes:
        try:
            rows.append([name, *_ladder_cells(bench, change, base_s)])
        except Failed as fault:
            rows.append([f"{name}: {fault}"] + ["—"] * (len(LADDER) - 1))
    crops = len(bench.plan().document["crops"])
    return table(
        "The ladder",
        LADDER,
        rows,
        f"Base: `{extent.base or 'lakeside'}`, {crops} crops and fish. Seconds and memory are of "
        "the whole command, from reading the folder to the page and the calendar.",
    )


LADDER = (
    "farm",
    "places",
    "order weeks",
    "batch options",
    "fish options",
    "whole numbers",
    "command s",
    "search s",
    "MB",
    "value",
    "bound",
    "gap",
    "page kB",
    "seconds to base",
)


def _ladder_cells(bench: Bench, change: Shape, base_s: float) -> list[str]:
    planned = bench.plan(change)
    size = bench.job("size", folder=planned.folder)
    solver = planned.document["solver"]
    return [
        num(planned.places),
        num(len(planned.document["orders"])),
        num(size["batches"]),
        num(size["cohorts"]),
        num(size["whole"]),
        num(planned.seconds, 1),
        num(solver["seconds"], 1),
        num(planned.mb),
        num(solver["value"]),
        num(solver["bound"]),
        percent(solver["gap"]),
        num(planned.page_kb),
        num(planned.seconds / base_s, 2),
    ]


SEARCH = ("seconds", "MB", "value", "bound", "gap")


def _search_row(name: str, found: Mapping[str, Any]) -> list[str]:
    if "failed" in found:
        return [f"{name}: {found['failed']}"] + ["—"] * len(SEARCH)
    return [
        name,
        num(found["seconds"], 1),
        num(found["mb"]),
        num(found["value"]),
        num(found["bound"]),
        percent(found["gap"]),
    ]


def named(bench: Bench) -> str:
    """Places counted against the same season with every place named."""
    rows = []
    for change in bench.extent.named:
        folder = bench.farm(change)
        name = ", ".join(f"{key} {value}" for key, value in change.items())
        counted = bench.job("searched", folder=folder)
        rival = bench.try_job("named", folder=folder, seconds=4 * counted["seconds"])
        rows.append([*_search_row(f"{name}: counted", counted), num(counted["whole"])])
        rows.append([*_search_row(f"{name}: named", rival), num(rival.get("whole"))])
    return table(
        "Places counted or named",
        ("farm and model", *SEARCH, "whole numbers"),
        rows,
        "Named: every place is a zone and every tank a kind of its own; the best plan is worth the "
        "same. It may search for four times the seconds of the counted search, in as many rounds "
        "as fit; the relaxation, which gives the bound, has no cap.",
    )


def hand(bench: Bench) -> str:
    """The plan against the one that is made by hand."""
    folder = bench.farm({})
    rows = []
    for name, job in (("by hand", "by_hand"), ("the planner", "searched")):
        found = bench.job(job, folder=folder)
        rows.append([name, *_farm_cells(found), num(found["value"]), str(found["faults"])])
    return table("Planned by hand", ("plan", *FARM, "value", "faults"), rows)


FARM = ("orders met", "short order weeks", "weeks in band", "nitrate-N swing mg/L", "margin")


def _farm_cells(found: Mapping[str, Any]) -> list[str]:
    return [
        percent(found["orders_met"]),
        num(found["short_lines"]),
        f"{found['weeks_in_band']} of {found['weeks']}",
        num(found["swing_mg_l"], 1),
        num(found["margin"]),
    ]


def solvers(bench: Bench) -> str:
    """Other solvers in the search, and without it."""
    folder = bench.farm({})
    first = bench.job("searched", folder=folder, solver="highs")
    rows = [_search_row("search, highs", first)]
    rows.append(
        _search_row("search, scip", bench.try_job("searched", folder=folder, solver="scip"))
    )
    for solver in ("highs", "scip"):
        found = bench.try_job("whole", folder=folder, solver=solver, seconds=first["seconds"])
        rows.append(_search_row(f"whole model, {solver}", found))
    return table(
        "Solvers",
        ("way", *SEARCH),
        rows,
        "The whole model is given to the solver at once, on one thread, with the seconds of the "
        "first search as its cap.",
    )


def work(bench: Bench) -> str:
    """What rounds of improvement bring."""
    rows = []
    for rounds in bench.extent.work:
        planned = bench.plan(options=("--work", str(rounds)))
        solver = planned.document["solver"]
        rows.append(
            [
                str(rounds),
                num(planned.seconds, 1),
                num(solver["seconds"], 1),
                num(solver["value"]),
                percent(solver["gap"]),
                solver["stopped_by"],
            ]
        )
    heads = ("work", "command s", "search s", "value", "gap", "stopped by")
    return table("Work", heads, rows)


def together(bench: Bench) -> str:
    """Fish decided with the plants, against fish as one batch."""
    rows = []
    for name, change in (("fish free", {}), ("fish as one batch", {"one_batch": True})):
        found = bench.job("searched", folder=bench.farm(change))
        rows.append([name, *_farm_cells(found), percent(found["gap"])])
    return table(
        "Fish and plants together",
        ("fish", *FARM, "gap"),
        rows,
        "One batch: the tanks made one of the same volume, the fish at hand one cohort of the same "
        "number and weight. What is ordered of another species is then short.",
    )


def repeat(bench: Bench) -> str:
    """Whether the same farm gives the same plan."""
    first = fingerprint(bench.plan().document)
    again = fingerprint(bench.plan(turn=1).document)
    single = bench.job("one_worker", folder=bench.farm({}, "one worker"))["fingerprint"]
    rows = [
        ["planned again", "equal" if again == first else "NOT equal"],
        ["one worker thread instead of two", "equal" if single == first else "NOT equal"],
    ]
    return table("Same farm, same plan", ("run", "plan.json without its seconds"), rows)


def houses(bench: Bench) -> str:
    """Faults in the plans of random houses."""
    rows = []
    for name, larger in (("4 to 8 weeks", 0), ("8 to 16 weeks", 1)):
        found = bench.job("houses", count=bench.extent.houses, larger=larger)
        rows.append(
            [
                name,
                str(found["houses"]),
                str(found["faults"]),
                str(found["impossible"]),
                percent(found["gap"]),
                num(found["seconds"], 1),
            ]
        )
    heads = ("houses", "number", "faults", "no plan", "largest gap", "seconds for all")
    return table("Random houses", heads, rows)


def placing(bench: Bench) -> str:
    """Seconds that named places take."""
    rows = []
    base_s = None
    for size in (1, max(bench.extent.sizes)):
        found = bench.job("placed", folder=bench.farm({"size": size} if size > 1 else {}))
        base_s = base_s or found["seconds"]
        rows.append(
            [
                f"× {size}",
                num(found["places"]),
                num(found["lots"]),
                num(found["seconds"], 2),
                num(found["seconds"] / base_s, 2),
            ]
        )
    heads = ("farm", "places", "batches", "seconds", "seconds to × 1")
    return table("Batches to places", heads, rows)


def years(bench: Bench) -> str:
    """The last weeks of a long plan against the same weeks earlier: whether its end is stripped."""
    weeks, span, back = bench.extent.years
    document = bench.plan({"weeks": weeks}).document
    late = range(weeks - span, weeks)
    ends = _use(document, late)
    before = _use(document, range(late.start - back, late.stop - back))
    rows = [
        [name, num(before[name], 1), num(ends[name], 1), _ratio(ends[name], before[name])]
        for name in ends
    ]
    heads = ("mean of the weeks", f"{back} weeks earlier", f"last {span} weeks", "ratio")
    return table(f"The end of a plan of {weeks} weeks", heads, rows)


def _ratio(value: float, before: float) -> str:
    return num(value / before if before else None, 2)


def _use(document: Mapping[str, Any], weeks: range) -> dict[str, float]:
    """Mean places held by zone, fish in the tanks and feed a week, over some weeks of a plan."""
    mondays = [document["weeks"][week]["week"] for week in weeks]
    found = {}
    for zone in document["zones"]:
        held = sum(
            batch["parts"]
            for batch in document["batches"]
            for monday in mondays
            if batch["zone"] == zone["name"]
            and (batch["transplant"] or batch["sow"]) <= monday < batch["clear"]
        )
        found[f"{zone['name']}: places in use"] = held / zone["parts"] / len(weeks)
    fish = [w for c in document["cohorts"] for w in c["weeks"] if w["week"] in mondays]
    found["fish kg"] = sum(week["biomass_kg"] for week in fish) / len(weeks)
    found["feed kg a week"] = sum(week["feed_kg"] for week in fish) / len(weeks)
    return found


STEPS = ("size", "crops", "weeks")
PARTS: dict[str, Callable[[Bench], str]] = {
    part.__name__: part
    for part in (named, hand, solvers, work, together, repeat, houses, placing, years)
}


def main(argv: Sequence[str] | None = None, run: Runner = measured) -> None:
    """Run the parts that are asked for and write their tables, each as soon as it is there."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark", description=__doc__)
    names = [*STEPS, *PARTS]
    parser.add_argument(
        "--only",
        nargs="+",
        choices=names,
        default=names,
        metavar="NAME",
        help=f"parts to run, from {', '.join(names)}; all by default",
    )
    parser.add_argument("--out", type=Path, help="write the tables to this file too")
    parser.add_argument("--quick", action="store_true", help="a tiny farm, to try the benchmark")
    asked = parser.parse_args(argv)
    extent = QUICK if asked.quick else FULL
    steps = [step for step in STEPS if step in asked.only]
    parts: dict[str, Callable[[Bench], str]] = {"machine": machine}
    if steps:
        parts["ladder"] = lambda bench: ladder(bench, steps)
    parts |= {name: part for name, part in PARTS.items() if name in asked.only}
    texts = []
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(extent=extent, folder=Path(folder), run=run)
        for name, part in parts.items():
            try:
                texts.append(part(bench))
            except Failed as fault:
                texts.append(f"## {name}\n\nFailed: {fault}\n")
            print(texts[-1], flush=True)
            if asked.out:
                asked.out.write_text("\n".join(texts), encoding="utf-8")


if __name__ == "__main__":
    main()
