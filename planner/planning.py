"""The whole flow of one plan: a farm folder in, a bundle of files out."""

import json
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from planner import (
    assemble,
    farmfile,
    history,
    ics,
    pagetexts,
    problem,
    report,
    tablefiles,
    writing,
)
from planner.changes import Earlier, earlier
from planner.cohorts import LONGEST_WEEKS
from planner.differences import changes
from planner.document import PlanDoc
from planner.errors import InputError, PlannerError
from planner.farm import Farm
from planner.farmchecks import crowding
from planner.history import History
from planner.insight import insight
from planner.layout import placed
from planner.lots import flows, lots
from planner.plan import SeasonPlan, changed_cost, violations
from planner.present import Present, present, row_of
from planner.problem import SeasonProblem
from planner.schools import School, schools
from planner.season.decide import Season, decide
from planner.season.effort import Effort, Progress, never, quiet
from planner.tables import Crop
from planner.tasks import Job, dated
from planner.writing import TABLES


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What a plan starts from: the farm's files, the book, and the house as it is.

    Attributes
    ----------
    before
        The plan that holds until now; None when there is none, or none for these days.
    """

    inputs: farmfile.Inputs
    history: History
    made_on: date
    house: Present
    before: PlanDoc | None

    @property
    def doubts(self) -> tuple[str, ...]:
        """What the grower should look at twice, on the house as it is."""
        inputs = replace(self.inputs, farm=self.house.farm)
        return (*self.house.doubts, *farmfile.doubts(inputs, self.made_on))

    @property
    def earlier(self) -> Earlier | None:
        """The starts of the plan before, from this plan's date on."""
        return None if self.before is None else earlier(self.before, self.made_on)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bundle:
    """A plan and the files that are made of it, by name.

    `ledger` is what the calendar's next version has to know of this one.
    """

    problem: SeasonProblem
    plan: SeasonPlan
    document: PlanDoc
    jobs: tuple[Job, ...]
    files: Mapping[str, bytes]
    ledger: ics.Ledger


def plan_date_of(inputs: farmfile.Inputs, asked: date | None, today: date) -> date:
    """Return the plan date: the one asked for, the farm's own (examples), or today."""
    return asked or inputs.farm.plan_date or today


def start(folder: Path, *, today: date, plan_date: date | None = None) -> Start:
    """Read the farm and its book, and take the house as it is on the plan date.

    Raises
    ------
    InputError
        The folder's files have faults; all are listed.
    BookError
        The book cannot be read.
    """
    inputs = farmfile.read_farm(folder)
    made_on = plan_date_of(inputs, plan_date, today)
    known = history.read(folder)
    before = known.in_force
    if before is not None and date.fromisoformat(before["made_on"]) > made_on:
        before = None
    house = present(
        inputs.farm, known.in_force, known.entries, made_on, crops=inputs.crops, fish=inputs.fish
    )
    check_dates(house.farm, inputs.crops, made_on)
    return Start(inputs=inputs, history=known, made_on=made_on, house=house, before=before)


def season_of(begin: Start, *, fresh: bool = False) -> SeasonProblem:
    """Return the season's problem from a start."""
    return problem.build(
        begin.house.farm,
        begin.inputs.crops,
        begin.inputs.fish,
        begin.inputs.station,
        begin.made_on,
        None if fresh else begin.earlier,
    )


def make_plan(
    folder: Path,
    *,
    today: date,
    plan_date: date | None = None,
    effort: Effort | None = None,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
    fresh: bool = False,
) -> Bundle:
    """Plan the farm in `folder`; writes nothing.

    Parameters
    ----------
    stopped
        Asked now and then whether to stop with the best plan so far.
    fresh
        Charge nothing for what differs from the plan before.

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
    begin = start(folder, today=today, plan_date=plan_date)
    return planned(
        begin, effort=effort or Effort(), progress=progress, stopped=stopped, fresh=fresh
    )


def planned(
    begin: Start,
    *,
    effort: Effort,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
    fresh: bool = False,
) -> Bundle:
    """Plan from a start; raises as `make_plan` does."""
    season = season_of(begin, fresh=fresh)
    return _bundle(begin, season, decide(season, effort, progress, stopped))


def _bundle(begin: Start, season: SeasonProblem, decided: Season) -> Bundle:
    """Name everything that is decided, and make the files."""
    inputs, made_on, plan = begin.inputs, begin.made_on, decided.plan
    broken = violations(season, plan)
    all_lots, fish = lots(season, plan), schools(season, plan)
    where = placed(season, all_lots)
    document = assemble.document(
        season,
        plan,
        all_lots,
        fish,
        flows(season, plan, all_lots, _fish_taken(fish)),
        where,
        pagetexts.warnings(season, fish, begin.doubts, made_on),
        broken,
        insight(season, decided),
        rows_read=[row_of(row) for row in (*inputs.farm.standing, *inputs.farm.cohorts)],
        happened=begin.house.happened,
        book_entries=begin.history.highest,
    )
    if begin.before is not None:
        document["changes"] = changes(begin.before, document, changed_cost(season, plan))
    if broken:
        raise PlannerError(
            "The plan breaks rules when it is rechecked, so it is not written:\n"
            + "\n".join(broken[:20])
        )
    farm = season.farm
    jobs = dated(document, crops=inputs.crops, fish=inputs.fish, units=farm.units)
    page = report.page(
        document,
        jobs,
        today=made_on,
        crops=inputs.crops,
        fish=inputs.fish,
        cautions=pagetexts.cautions(season, plan, fish),
        assumptions=pagetexts.assumptions(season, plan),
    )
    ledger = ics.updated_ledger(
        jobs, farm_name=farm.name, made_on=made_on, ledger=begin.history.ledger
    )
    feed = ics.calendar_bytes(
        jobs,
        farm_name=farm.name,
        made_on=made_on,
        timezone=farm.site.timezone,
        ledger=begin.history.ledger,
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
    return Bundle(
        problem=season, plan=plan, document=document, jobs=jobs, files=files, ledger=ledger
    )


def write(folder: Path, bundle: Bundle, out: Path, *, now: datetime) -> None:
    """Write a plan's files, and keep the plan and the calendar's ledger in the farm's book.

    All or none: the book is written when the files are, before they take the old ones' place.

    Raises
    ------
    PlannerError
        The folder or the book cannot be written.
    """
    writing.write(bundle.files, out, first=lambda: keep(folder, bundle, now=now))


def keep(folder: Path, bundle: Bundle, *, now: datetime) -> None:
    """Keep a plan and the calendar's ledger in the farm's book; makes the book if need be.

    Raises
    ------
    BookError
        The book cannot be written; nothing is kept.
    """
    history.keep(folder, bundle.files["plan.json"].decode(), bundle.document, bundle.ledger, now)


def check_dates(farm: Farm, crops: Mapping[str, Crop], made_on: date) -> None:
    """Check that counts are neither after the plan date nor too old, and what stands has room.

    Raises
    ------
    InputError
        Lists every row at fault.
    """
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
    faults += crowding(farm, crops, made_on)
    if faults:
        raise InputError(faults)


def _fish_taken(fish: tuple[School, ...]) -> dict[tuple[str, int], list[tuple[str, date, float]]]:
    taken: dict[tuple[str, int], list[tuple[str, date, float]]] = defaultdict(list)
    for school in fish:
        for take in school.option.takes:
            if take.saleable:
                kilograms = take.share * school.fish * take.mean_g / 1000
                key = (school.option.species, take.week)
                taken[key].append((school.id, take.day, kilograms))
    return taken
