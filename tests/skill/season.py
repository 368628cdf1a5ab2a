"""One simulated farm, month by month: the house as it is, what was learned, a plan, its forecast.

Everything that `planning` does between the book and the forecast is done by the planner's own
code; only the search is replaced by a fixed stream, and the grower's month by the hidden truth.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from planner import assemble, problem
from planner.book import Deaths, Done, Entry, FishHarvest, Harvest, Recorded, Skipped, Weigh
from planner.document import PlanDoc
from planner.farmfile import Inputs
from planner.fish import growout_days
from planner.forecast.drawing import Drawing
from planner.forecast.harvests import Harvest as DrawnHarvest
from planner.forecast.streams import Streams
from planner.insight import Insight
from planner.learning import Factors, applied, applied_fish, learn, priors_of, used
from planner.lots import Lot
from planner.observed import observations
from planner.plan import SeasonPlan
from planner.present import present, row_of
from planner.problem import SeasonProblem
from planner.schools import School
from planner.spread import Spread, load_spread
from planner.tables import Crop
from tests.forecasts import Case, case_of
from tests.skill.fishes import Fishes
from tests.skill.follow import Item, Promised, follow
from tests.skill.grower import Batch, RealCut, cuts, no_sunday, ripe_on
from tests.skill.nature import Nature
from tests.skill.oracle import other_years

Series = NDArray[np.float64]

MONTH = timedelta(weeks=4)
SAMPLED = 20
GUESS_DAYS = 2.0  # how well a grower who looks at a late crop foresees the day


class Kept(Drawing):
    """The planner's draws, with those of single lots kept."""

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.found: dict[str, DrawnHarvest] = {}

    def keep(self, lot: str, found: DrawnHarvest) -> None:
        """Keep the draws too."""
        super().keep(lot, found)
        self.found[lot] = found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """What was foretold on a day, and what comes of it when that plan is followed.

    Attributes
    ----------
    real
        By lot: the cuts that come, those before the day left out.
    past
        By lot: the cuts before.
    """

    month: int
    case: Case
    drawn: Kept
    cut_kg: Mapping[str, Series]
    mean_g: Mapping[str, Mapping[int, tuple[float, float, float]]]
    batches: Mapping[str, Batch]
    real: Mapping[str, Sequence[RealCut]]
    past: Mapping[str, Sequence[RealCut]]
    factors: Factors


@dataclass(slots=True, kw_only=True)
class House:
    """A simulated farm and its book."""

    inputs: Inputs
    nature: Nature
    items: Mapping[str, Item]
    empty: SeasonPlan
    every: int = 1  # months from plan to plan
    draws: int = 300
    notes_ripe: float = 1.0  # share of batches of which the grower notes when they are ripe
    puts_off: bool = True  # whether the grower writes down that a cut is put off
    spread: Spread = field(default_factory=load_spread)
    entries: list[Recorded] = field(default_factory=list)
    plans: list[tuple[date, PlanDoc]] = field(default_factory=list)
    past: dict[str, list[RealCut]] = field(default_factory=dict)
    batches: dict[str, Batch] = field(default_factory=dict)
    promised: Promised = field(default_factory=Promised)
    fishes: dict[str, Fishes] = field(default_factory=dict)
    tanks: dict[str, tuple[str, date, float, int]] = field(default_factory=dict)
    ripe_told: set[str] = field(default_factory=set)
    other_years: list[Nature] = field(init=False)

    def __post_init__(self) -> None:
        """Think of other years of the same house, for the oracle."""
        self.other_years = other_years(self.nature)

    def months(self, count: int) -> Iterator[Told]:
        """Plan, foretell and live, month by month."""
        day = self.inputs.farm.plan_date
        assert day is not None
        for month in range(0, count, self.every):
            told = self._told(month, day)
            yield told
            self._live(told, day, day + self.every * MONTH)
            day += self.every * MONTH

    # Foretelling

    def _told(self, month: int, day: date) -> Told:
        inputs = self.inputs
        before = self.plans[-1][1] if self.plans else None
        house = present(
            inputs.farm, before, self.entries, day, crops=inputs.crops, fish=inputs.fish
        )
        factors = self._learned()
        methods = dict.fromkeys(zone.method.value for zone in inputs.farm.zones)
        season = problem.build(
            house.farm,
            inputs.crops,
            applied_fish(inputs.fish, factors),
            inputs.station,
            day,
            crops_in={method: applied(inputs.crops, factors, method) for method in methods},
        )
        case = case_of(season, follow(season, self.items, self.promised, self.empty))
        self.plans.append((day, self._document(case, factors)))
        drawn = Kept(season, Streams(month, self.draws), self.spread, factors, ())
        drawn.batches(case.lots, case.flows)
        drawn.cohorts(case.schools)
        every = drawn.drawn(case.plan)
        batches = {lot.id: self._batch(season, lot) for lot in case.lots}
        return Told(
            month=month,
            case=case,
            drawn=drawn,
            cut_kg=every.cut_kg,
            mean_g=every.mean_g,
            batches=batches,
            real={lot.id: self._real(case, lot, batches[lot.id]) for lot in case.lots},
            past={lot.id: tuple(self.past.get(lot.id, ())) for lot in case.lots},
            factors=factors,
        )

    def _learned(self) -> Factors:
        priors = priors_of(self.spread)
        if not self.entries:
            return Factors(priors=priors)
        seen = observations(self.plans, self.entries, self.inputs.crops, self.inputs.fish)
        return learn(seen, self.inputs.crops, self.inputs.fish, priors)

    def _document(self, case: Case, factors: Factors) -> PlanDoc:
        nothing = Insight(why={}, marginal=(), comparison=cast(Any, None))
        document = assemble.document(
            case.problem,
            case.plan,
            case.lots,
            case.schools,
            case.flows,
            {lot.id: [] for lot in case.lots},
            (),
            (),
            nothing,
            rows_read=[
                row_of(row) for row in (*self.inputs.farm.standing, *self.inputs.farm.cohorts)
            ],
            book_entries=len(self.entries),
        )
        zones = case.problem.farm.zones
        document["learned"] = used(
            self.inputs.crops,
            self.inputs.fish,
            factors,
            {(lot.option.crop, zones[lot.option.zone].method.value) for lot in case.lots},
            {school.option.species for school in case.schools},
        )
        return document

    def _batch(self, season: SeasonProblem, lot: Lot) -> Batch:
        """The batch behind a lot; once set out it stays what it is."""
        option = lot.option
        if lot.id in self.batches:
            return self.batches[lot.id]
        crop = self.inputs.crops[option.crop]
        return Batch(
            key=lot.id,
            crop=crop,
            zone=season.farm.zones[option.zone],
            set_out=option.set_out,
            plants=option.plants * lot.parts,
            from_tray=not crop.direct_sow and option.standing is None,
        )

    def _real(self, case: Case, lot: Lot, batch: Batch) -> list[RealCut]:
        days = sorted((day, kg) for (source, day), kg in case.flows.cut.items() if source == lot.id)
        row = (
            case.problem.farm.standing[lot.option.standing]
            if lot.option.standing is not None
            else None
        )
        known = self.past.get(lot.id, ())
        begun = row.first_cut if row is not None and not known else None
        return cuts(self.nature, batch, shares(lot, batch.crop, days), known, begun)

    # The grower's month

    def _live(self, told: Told, day: date, until: date) -> None:
        for lot in told.case.lots:
            if day <= lot.option.set_out < until or lot.option.standing is not None:
                self.batches.setdefault(lot.id, told.batches[lot.id])
            self._cut(told, lot, day, until)
        for school in told.case.schools:
            self._fish(told.case.problem, school, day, until)

    def _notes(self, batch: Batch) -> bool:
        return self.nature.stream(f"notes {batch.key}").random() < self.notes_ripe

    def noted_on(self, batch: Batch, first_cut: date) -> date:
        """Return the day of ripeness where the grower notes it, else of the first cut."""
        return ripe_on(self.nature, batch) if self._notes(batch) else first_cut

    def _write(self, entry: Entry) -> None:
        when = datetime(entry.on.year, entry.on.month, entry.on.day, 18, tzinfo=UTC)
        number = len(self.entries) + 1
        self.entries.append(Recorded(number=number, written_at=when, entry=entry))

    def _cut(self, told: Told, lot: Lot, day: date, until: date) -> None:
        batch = told.batches[lot.id]
        guess = self.nature.stream(f"guess {lot.id}").normal(0, GUESS_DAYS)
        planned = sorted(d for (source, d) in told.case.flows.cut if source == lot.id)
        ripe = ripe_on(self.nature, batch)
        fresh = lot.id in self.batches and lot.id not in self.past
        if self._notes(batch) and fresh and day <= ripe < until and lot.id not in self.ripe_told:
            self.ripe_told.add(lot.id)
            # not checked: the step is read by `observed`, whether or not the book takes it yet
            self._write(Done(on=ripe, step="ripe", batch=lot.id))
        made = {cut.planned_on: cut for cut in told.real[lot.id]}
        for due in planned:
            cut = made.get(due)
            if not self.puts_off or due >= until or due < day:
                continue
            if cut is None:
                self._write(Skipped(on=due, step="cut", batch=lot.id, planned_on=due))
            elif cut.day > due:
                foreseen = cut.day if cut.day < until else no_sunday(cut.day + timedelta(guess))
                self._write(
                    Skipped(
                        on=due,
                        step="cut",
                        batch=lot.id,
                        planned_on=due,
                        until=max(foreseen, due, min(until, cut.day)),
                    )
                )
        once = batch.crop.harvest_kind == "once"
        for cut in told.real[lot.id]:
            if not day <= cut.day < until:
                continue
            last = once and cut is told.real[lot.id][-1]
            self.past.setdefault(lot.id, []).append(cut)
            self._write(Harvest(on=cut.day, crop=batch.crop.id, kg=cut.kg, batch=lot.id, last=last))
            if last:
                self._write(Done(on=cut.day, step="clear", batch=lot.id))
        clear = lot.option.clear
        if not once and day <= clear < until and lot.id in self.past:
            self._write(Done(on=clear, step="clear", batch=lot.id, planned_on=clear))

    def real_g(self, season: SeasonProblem, school: School, day: date) -> tuple[float, float]:
        """Return true mean weight [g] and share alive of a school on a day."""
        option = school.option
        fishes = self.fishes.setdefault(
            option.species, Fishes(self.nature, self.inputs.fish[option.species])
        )
        if option.at_hand is not None and school.tank in self.tanks:
            _, stocked, start_g, _ = self.tanks[school.tank]
        elif option.at_hand is not None:
            row = season.farm.cohorts[option.at_hand]
            stocked, start_g = row.as_of, row.mean_g
        else:
            stocked = option.stock
            start_g = season.farm.fingerlings[option.offer or 0].weight_g
        at = self.nature.environment.index(stocked)
        table = self.inputs.fish[option.species]
        days = growout_days(table, self.nature.environment.water_c[at : at + 728])
        return fishes.shoal(school.tank, stocked, start_g, days).at(self.nature.day_of(day))

    def _fish(self, season: SeasonProblem, school: School, day: date, until: date) -> None:
        option = school.option
        if option.at_hand is not None:
            if school.tank not in self.tanks:
                row = season.farm.cohorts[option.at_hand]
                self.tanks[school.tank] = (row.species, row.as_of, row.mean_g, row.count)
        elif day <= option.stock < until:
            offer = season.farm.fingerlings[option.offer or 0]
            self.tanks[school.tank] = (option.species, option.stock, offer.weight_g, school.fish)
            self._write(
                Done(
                    on=option.stock,
                    step="stock",
                    batch=school.id,
                    planned_on=option.stock,
                    count=school.fish,
                    tank=school.tank,
                )
            )
        else:
            return
        count = self.tanks[school.tank][3]
        end = school.empty if school.empty is not None and school.empty < until else until
        first = max(day, option.stock)
        before = round(count * self.real_g(season, school, first)[1])
        mean_g, alive = self.real_g(season, school, end)
        after = round(count * alive)
        if before > after:
            middle = first + (end - first) / 2
            self._write(Deaths(on=middle, tank=school.tank, count=before - after))
        if end < until:
            kg = after * mean_g / 1000
            self._write(
                FishHarvest(on=end, tank=school.tank, count=max(1, after), kg=kg, emptied=True)
            )
            self.tanks.pop(school.tank)
        elif (until - first).days >= 14:
            on = until - timedelta(days=1)
            true_g = self.real_g(season, school, on)[0]
            sampled = min(SAMPLED, max(1, after))
            found = self.fishes[option.species].weighed_g(school.tank, on, true_g, sampled)
            self._write(Weigh(on=on, tank=school.tank, mean_g=found, sampled=sampled))


def shares(lot: Lot, crop: Crop, days: Sequence[tuple[date, float]]) -> list[tuple[date, float]]:
    """Return how much each planned cut takes: of leaf in whole cuts, else of what then stands."""
    ready = sorted((cut.ripe, cut.kg * lot.parts) for cut in lot.option.cuts)
    if crop.harvest_kind in {"cut-and-come", "perennial"}:
        one_kg = max((kg for _, kg in ready), default=1.0)
        return [(day, kg / one_kg) for day, kg in days]
    found, taken = [], 0.0
    for day, kg in days:
        stands = sum(ripe_kg for ripe, ripe_kg in ready if ripe <= day) - taken
        found.append((day, min(1.0, kg / stands) if stands > 1e-9 else 1.0))
        taken += kg
    return found
