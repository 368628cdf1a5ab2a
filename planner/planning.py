"""The whole flow of one plan: a farm folder in, a bundle of files out."""

import ctypes
import json
import os
import shutil
import tempfile
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from planner import assemble, farmfile, ics, pagetexts, placement, problem, report, tablefiles
from planner.cohorts import LONGEST_WEEKS
from planner.document import PlaceDoc, PlanDoc
from planner.errors import InputError, PlannerError
from planner.farmchecks import crowding
from planner.insight import insight
from planner.lots import Lot, flows, lots
from planner.plan import SeasonPlan, violations
from planner.problem import SeasonProblem
from planner.schools import School, schools
from planner.season.decide import decide
from planner.season.effort import Effort, Progress, never, quiet
from planner.tasks import Job, dated

PLAN_FILES = ("plan.html", "tasks.ics", "plan.json")
TABLES = "tables"
SYSTEM_FILES = (".DS_Store", "Thumbs.db", "desktop.ini")  # which desktops put anywhere


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bundle:
    """A plan and the files that are made of it, by name."""

    problem: SeasonProblem
    plan: SeasonPlan
    document: PlanDoc
    jobs: tuple[Job, ...]
    files: Mapping[str, bytes]


def plan_date_of(inputs: farmfile.Inputs, asked: date | None, today: date) -> date:
    """Return the plan date: the one asked for, the farm's own (examples), or today."""
    return asked or inputs.farm.plan_date or today


def make_plan(
    folder: Path,
    *,
    today: date,
    plan_date: date | None = None,
    effort: Effort | None = None,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
) -> Bundle:
    """Plan the farm in `folder`; writes nothing.

    Parameters
    ----------
    stopped
        Asked now and then whether to stop with the best plan so far.

    Raises
    ------
    InputError
        The folder's files have faults; all are listed.
    ImpossiblePlanError
        No plan keeps every hard rule.
    StoppedError
        Asked to stop before there was a plan.
    PlannerError
        The plan that was found breaks a rule when it is rechecked: a fault of the planner.
    """
    inputs = farmfile.read_farm(folder)
    made_on = plan_date_of(inputs, plan_date, today)
    check_dates(inputs, made_on)
    season = problem.build(inputs.farm, inputs.crops, inputs.fish, inputs.station, made_on)
    decided = decide(season, effort or Effort(), progress, stopped)
    plan = decided.plan
    broken = violations(season, plan)
    all_lots, fish = lots(season, plan), schools(season, plan)
    where = {name: docs for zone in _placed(season, all_lots) for name, docs in zone.items()}
    doubts = farmfile.doubts(inputs, made_on)
    document = assemble.document(
        season,
        plan,
        all_lots,
        fish,
        flows(season, plan, all_lots, _fish_taken(fish)),
        where,
        pagetexts.warnings(season, fish, doubts, made_on),
        broken,
        insight(season, decided),
    )
    if broken:
        raise PlannerError(
            "The plan breaks rules when it is rechecked, so it is not written:\n"
            + "\n".join(broken[:20])
        )
    jobs = dated(document, crops=inputs.crops, fish=inputs.fish, units=inputs.farm.units)
    page = report.page(
        document,
        jobs,
        today=made_on,
        crops=inputs.crops,
        fish=inputs.fish,
        cautions=pagetexts.cautions(season, plan, fish),
        assumptions=pagetexts.assumptions(season, plan),
    )
    feed = ics.calendar_bytes(
        jobs, farm_name=inputs.farm.name, made_on=made_on, timezone=inputs.farm.site.timezone
    )
    files = {
        "plan.html": page.encode(),
        "tasks.ics": feed,
        "plan.json": json.dumps(document, ensure_ascii=False, indent=1).encode(),
    }
    files |= {
        f"{TABLES}/{name}": content
        for name, content in tablefiles.tables(document, jobs, crops=inputs.crops).items()
    }
    return Bundle(problem=season, plan=plan, document=document, jobs=jobs, files=files)


def check_dates(inputs: farmfile.Inputs, made_on: date) -> None:
    """Check that counts are neither after the plan date nor too old, and what stands has room.

    Raises
    ------
    InputError
        Lists every row at fault.
    """
    farm = inputs.farm
    faults = [
        f'growing.csv: batch "{batch.id}": as_of is {batch.as_of}, after the plan date {made_on}; '
        "plan from a later date (--from) or correct it"
        for batch in farm.standing
        if batch.as_of > made_on
    ]
    faults += [
        f"cohorts.csv: {cohort.tank}: as_of is {cohort.as_of}, after the plan date {made_on}; "
        "plan from a later date (--from) or correct it"
        for cohort in farm.cohorts
        if cohort.as_of > made_on
    ]
    oldest = made_on - timedelta(weeks=LONGEST_WEEKS)
    faults += [
        f"cohorts.csv: {cohort.tank}: as_of is {cohort.as_of}, over {LONGEST_WEEKS} weeks before "
        f"the plan date {made_on}; growth is not followed so long: count and weigh anew"
        for cohort in farm.cohorts
        if cohort.as_of < oldest
    ]
    tested = farm.water.nitrate_tested
    if tested is not None and tested > made_on:
        faults.append(
            f"farm.toml: water: nitrate_tested is {tested}, after the plan date {made_on}; "
            "plan from a later date (--from) or correct it"
        )
    faults += crowding(farm, inputs.crops, made_on)
    if faults:
        raise InputError(faults)


def _placed(season: SeasonProblem, all_lots: tuple[Lot, ...]) -> list[dict[str, list[PlaceDoc]]]:
    """Give every lot its places, zone by zone."""
    found = []
    for number, zone in enumerate(season.farm.zones):
        here = [lot for lot in all_lots if lot.option.zone == number]
        stands = _standing_places(season, here)
        layout = placement.assign(
            [
                placement.Lot(
                    id=lot.id,
                    crop=lot.option.crop,
                    family=season.crops[lot.option.crop].family,
                    parts=lot.parts,
                    start=min(lot.option.set_out, lot.option.clear),
                    end=max(
                        lot.option.clear + timedelta(days=zone.sanitation_days),
                        lot.option.set_out + timedelta(days=1),
                    ),
                    places=stands.get(lot.id, {}),
                    alone=season.crops[lot.option.crop].harvest_kind == "perennial",
                )
                for lot in here
            ],
            places=zone.places,
            parts=zone.parts,
            rotate=zone.method.value == "media_bed",
        )
        found.append(
            {
                name: [PlaceDoc(name=f"{zone.name} {place}", parts=parts) for place, parts in where]
                for name, where in layout.where.items()
            }
        )
    return found


def _standing_places(season: SeasonProblem, here: list[Lot]) -> dict[str, Mapping[int, int]]:
    """Share the places of each standing batch over the lots that it is cleared in."""
    shares: dict[int, list[Lot]] = defaultdict(list)
    for lot in here:
        if lot.option.standing is not None and lot.option.nursery is None:
            shares[lot.option.standing].append(lot)
    return {
        lot.id: places
        for number, parts in shares.items()
        for lot, places in zip(
            parts,
            placement.share_places(
                season.farm.standing[number].parts_by_place, [lot.parts for lot in parts]
            ),
            strict=True,
        )
    }


def _fish_taken(fish: tuple[School, ...]) -> dict[tuple[str, int], list[tuple[str, date, float]]]:
    taken: dict[tuple[str, int], list[tuple[str, date, float]]] = defaultdict(list)
    for school in fish:
        for take in school.option.takes:
            if take.saleable:
                kilograms = take.share * school.fish * take.mean_g / 1000
                key = (school.option.species, take.week)
                taken[key].append((school.id, take.day, kilograms))
    return taken


def write(files: Mapping[str, bytes], out: Path) -> None:
    """Write the files to `out`, all or none: a stop half way leaves the last plan whole.

    The folder is exchanged for a new one, so it may hold nothing but a plan.

    Raises
    ------
    PlannerError
        The folder cannot be written, or holds something else.
    """
    check_target(out)
    fresh: Path | None = None
    try:
        target = out.resolve()
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        for name, content in files.items():
            path = fresh / name
            path.parent.mkdir(exist_ok=True)
            with path.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        fresh.chmod(0o755)
        _swap(fresh, target)
    except OSError as fault:
        raise PlannerError(f"{out}: cannot be written ({fault.strerror or fault})") from fault
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)


def check_target(out: Path) -> None:
    """Check that a plan may be written to a folder, before the search for it begins.

    Raises
    ------
    PlannerError
        It is a file, holds something that is no plan's, or cannot be written.
    """
    try:
        target = out.resolve()
        if target.exists() and not target.is_dir():
            raise PlannerError(f"{out}: it is a file; give a folder for the plan (--out)")
        strange = _strangers(target) if target.is_dir() else []
        there = next(path for path in target.parents if path.exists())
    except OSError as fault:
        raise PlannerError(f"{out}: cannot be read ({fault.strerror or fault})") from fault
    if strange:
        raise PlannerError(
            f"{out}: it holds {strange[0]}, which is no part of a plan and would be lost; "
            "give another folder (--out) or take it away"
        )
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        raise PlannerError(f"{out}: cannot be written; {there} is no folder that you may write to")


def _strangers(out: Path) -> list[str]:
    """Return what a folder holds that is no plan's, by name."""
    found = [path for path in out.iterdir() if path.name not in (*PLAN_FILES, *SYSTEM_FILES)]
    tables = out / TABLES
    if tables.is_dir() and not tables.is_symlink():
        found.remove(tables)
        found += [path for path in tables.iterdir() if not _is_table(path)]
    return sorted(str(path.relative_to(out)) for path in found)


def _is_table(path: Path) -> bool:
    return path.name in SYSTEM_FILES or (path.suffix == ".csv" and path.is_file())


def _swap(fresh: Path, out: Path) -> None:
    """Put `fresh` in the place of `out`; what was there, if anything, is left at `fresh`.

    Linux exchanges the two names in one step; elsewhere there is an instant between two renames.
    """
    if not out.exists():
        fresh.rename(out)
        return
    exchange = getattr(ctypes.CDLL(None), "renameat2", None) if os.name == "posix" else None
    at, both = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux
    if exchange and exchange(at, os.fsencode(fresh), at, os.fsencode(out), both) == 0:
        return
    old = fresh.with_name(f"{fresh.name}-old")
    out.rename(old)
    try:
        fresh.rename(out)
    except OSError:
        old.rename(out)
        raise
    shutil.rmtree(old, ignore_errors=True)
