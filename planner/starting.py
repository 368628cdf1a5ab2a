"""What a plan starts from: the farm's files, its book, and the house as it is on the plan date."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from planner import farmfile, history, problem
from planner.changes import Earlier, earlier
from planner.document import PlanDoc
from planner.errors import InputError
from planner.farm import Farm
from planner.farmchecks import crowding
from planner.history import History
from planner.learning import Factors, applied, applied_fish, learn, shipped_priors
from planner.observed import observations
from planner.present import Present, present
from planner.problem import SeasonProblem
from planner.stays import LONGEST_WEEKS
from planner.tables import Crop
from planner.weatheryears import WEATHER_FILE, YearFactor, weather_years


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What a plan starts from: the farm's files, the book, and the house as it is.

    Attributes
    ----------
    factors
        How this house differs from the tables, as far as the book tells.
    before
        The plan that holds until now; None when there is none, or none for these days.
    """

    weather: Path
    inputs: farmfile.Inputs
    history: History
    made_on: date
    house: Present
    factors: Factors
    before: PlanDoc | None

    @property
    def years(self) -> tuple[YearFactor, ...]:
        """Weather of several years at the house, where the grower gives it."""
        if not self.weather.exists():
            return ()
        return weather_years(self.weather, self.house.farm, self.inputs.crops)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What the grower should look at twice, on the house as it is."""
        inputs = replace(self.inputs, farm=self.house.farm)
        return (*self.house.doubts, *farmfile.doubts(inputs, self.made_on))

    @property
    def earlier(self) -> Earlier | None:
        """The starts of the plan before, from this plan's date on."""
        if self.before is None:
            return None
        ordered = {fish.cohort: fish.day for fish in self.house.farm.ordered}
        return earlier(self.before, self.made_on, ordered)


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
    return Start(
        weather=folder / WEATHER_FILE,
        inputs=inputs,
        history=known,
        made_on=made_on,
        house=house,
        factors=_learned(inputs, known, made_on),
        before=before,
    )


def _learned(inputs: farmfile.Inputs, known: History, made_on: date) -> Factors:
    """Return what the book's records up to the plan date tell of this house."""
    entries = [said for said in known.entries if said.entry.on <= made_on]
    plans = [(day, document) for day, document in known.plans if day <= made_on]
    if not entries or not plans:
        return Factors()
    seen = observations(plans, entries, inputs.crops, inputs.fish)
    return learn(seen, inputs.crops, inputs.fish, shipped_priors())


def season_of(
    begin: Start, *, fresh: bool = False, reserves: Mapping[tuple[str, date], float] | None = None
) -> SeasonProblem:
    """Return the season's problem from a start.

    Parameters
    ----------
    fresh
        Charge nothing for what differs from the plan before.
    reserves
        To be held ready beside orders, by line and Monday. [unit]
    """
    farm, crops = begin.house.farm, begin.inputs.crops
    methods = dict.fromkeys(zone.method.value for zone in farm.zones)
    return problem.build(
        farm,
        crops,
        applied_fish(begin.inputs.fish, begin.factors),
        begin.inputs.station,
        begin.made_on,
        None if fresh else begin.earlier,
        {method: applied(crops, begin.factors, method) for method in methods},
        reserves,
    )


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
