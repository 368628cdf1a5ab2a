"""The whole flow of one plan: a farm folder in, a bundle of files out."""

import json
from collections import defaultdict
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType

from planner import assemble, history, ics, pagetexts, report, tablefiles, writing
from planner import certainty as certain
from planner.differences import changes
from planner.document import CertaintyDoc, CertaintyPriceDoc, PlanDoc
from planner.errors import PlannerError
from planner.forecast import Drawn, draw, fill, ranges
from planner.insight import insight
from planner.layout import placed
from planner.learning import used
from planner.lots import Flows, Lot, flows, lots
from planner.plan import SeasonPlan, changed_cost, violations
from planner.present import row_of
from planner.problem import SeasonProblem
from planner.schools import School, schools
from planner.season.decide import Decided, decided, explained, most_worth
from planner.season.effort import Effort, Progress, never, quiet
from planner.starting import Start, season_of, start
from planner.tasks import Job, dated
from planner.writing import TABLES

MOST_PLANS = 3  # of one certainty: reserves are raised twice at most


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


def make_plan(
    folder: Path,
    *,
    today: date,
    plan_date: date | None = None,
    effort: Effort | None = None,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
    fresh: bool = False,
    certainty: float | None = None,
) -> Bundle:
    """Plan the farm in `folder`; writes nothing.

    Parameters
    ----------
    stopped
        Asked now and then whether to stop with the best plan so far.
    fresh
        Charge nothing for what differs from the plan before.
    certainty
        Chance with which each order of the first priority is to be met, above 0 and below 1; None
        for a plan without reserves. It takes several plans. [-]

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
        begin,
        effort=effort or Effort(),
        progress=progress,
        stopped=stopped,
        fresh=fresh,
        certainty=certainty,
    )


def planned(
    begin: Start,
    *,
    effort: Effort,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
    fresh: bool = False,
    certainty: float | None = None,
) -> Bundle:
    """Plan from a start; the arguments and what it raises are those of `make_plan`."""
    season = season_of(begin, fresh=fresh)
    found = decided(season, effort, progress, stopped)
    if certainty is None:
        return _bundle(begin, found, season)
    named = _named(begin, season, found.plan)
    prices = _prices(begin, named, fresh=fresh)
    for _ in range(MOST_PLANS - 1):
        wanted = certain.reserves(named.season, named.plan, named.drawn, certainty)
        if stopped() or wanted == named.reserves:
            break
        progress(f"reserves for {certainty:.0%}", None, float("inf"), 0.0)
        season = season_of(begin, fresh=fresh, reserves=wanted)
        found = decided(season, effort, progress, stopped)
        named = _named(begin, season, found.plan, wanted)
    kept = certain.told(named.season, named.drawn, certainty, prices)
    return _bundle(begin, found, season, kept)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Named:
    """A plan with its lots and cohorts, where everything goes, and the seasons drawn of it."""

    season: SeasonProblem
    plan: SeasonPlan
    lots: tuple[Lot, ...]
    fish: tuple[School, ...]
    goes: Flows
    drawn: Drawn
    reserves: Mapping[tuple[str, date], float]


def _named(
    begin: Start,
    season: SeasonProblem,
    plan: SeasonPlan,
    reserves: Mapping[tuple[str, date], float] = MappingProxyType({}),
) -> _Named:
    all_lots, fish = lots(season, plan), schools(season, plan)
    goes = flows(season, plan, all_lots, _fish_taken(fish))
    drawn = draw(
        season,
        plan,
        all_lots,
        fish,
        goes,
        factors=begin.factors,
        seed=plan.seed,
        years=begin.years,
    )
    return _Named(
        season=season,
        plan=plan,
        lots=all_lots,
        fish=fish,
        goes=goes,
        drawn=drawn,
        reserves=reserves,
    )


def _prices(begin: Start, named: _Named, *, fresh: bool) -> list[CertaintyPriceDoc]:
    """Return what each level of certainty costs, by the relaxed model."""
    without, _ = most_worth(named.season)
    found: list[CertaintyPriceDoc] = []
    for level in certain.LEVELS:
        held = certain.reserves(named.season, named.plan, named.drawn, level)
        worth, missing = most_worth(season_of(begin, fresh=fresh, reserves=held))
        found.append(
            {
                "certainty": level,
                "cost": round(max(0.0, without - worth), 2),
                "missing": round(missing, 2),
            }
        )
    return found


def _bundle(
    begin: Start, found: Decided, season: SeasonProblem, certainty: CertaintyDoc | None = None
) -> Bundle:
    """Put everything that is decided into a document, and make the files."""
    with ThreadPoolExecutor(1) as beside:
        explaining = beside.submit(explained, found)
        named = _named(begin, season, found.plan)
        where = placed(season, named.lots, begin.before)
        broken = violations(season, found.plan)
        told = insight(season, explaining.result())
    inputs, made_on, plan = begin.inputs, begin.made_on, found.plan
    all_lots, fish, goes = named.lots, named.fish, named.goes
    document = assemble.document(
        season,
        plan,
        all_lots,
        fish,
        goes,
        where,
        pagetexts.warnings(season, fish, begin.doubts, made_on),
        broken,
        told,
        rows_read=[row_of(row) for row in (*inputs.farm.standing, *inputs.farm.cohorts)],
        happened=begin.house.happened,
        book_entries=begin.history.highest,
    )
    if begin.before is not None:
        document["changes"] = changes(begin.before, document, changed_cost(season, plan))
    document["learned"] = used(
        inputs.crops,
        inputs.fish,
        begin.factors,
        {(lot.option.crop, season.farm.zones[lot.option.zone].method.value) for lot in all_lots},
        {school.option.species for school in fish},
    )
    document["certainty"] = certainty
    fill(document, ranges(season, named.drawn, seed=plan.seed))
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


def _fish_taken(fish: tuple[School, ...]) -> dict[tuple[str, int], list[tuple[str, date, float]]]:
    taken: dict[tuple[str, int], list[tuple[str, date, float]]] = defaultdict(list)
    for school in fish:
        for take in school.option.takes:
            if take.saleable:
                kilograms = take.share * school.fish * take.mean_g / 1000
                key = (school.option.species, take.week)
                taken[key].append((school.id, take.day, kilograms))
    return taken
