"""The fish in the tanks today."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from planner.book import Done, Skipped
from planner.document import CohortDoc, PlanDoc
from planner.farm import CohortAtHand, Farm
from planner.present.course import course_of
from planner.present.findings import Findings
from planner.present.tank import School, followed
from planner.present.told import OfTank, Outcome, Told, outcome, steps
from planner.tables import Fish
from planner.words import day_words, plural, spoken


def cohorts_now(
    farm: Farm,
    plan: PlanDoc | None,
    news: Told,
    today: date,
    fish: Mapping[str, Fish],
    findings: Findings,
) -> tuple[CohortAtHand, ...]:
    """Return the fish in the tanks, one cohort a tank.

    Without a plan: the rows of cohorts.csv less the fish that the book took out or found dead; a
    weighing dates the row anew. With one, the count is the plan's for today with the takings and
    deaths that were recorded in the place of planned ones, and the weight is the plan's for today,
    moved by the newest weighing in proportion.
    """
    if plan is None:
        return tuple(_by_lists(farm, news, today, fish, findings))
    return _ByPlan(farm, plan, news, today, fish, findings).cohorts()


def _by_lists(
    farm: Farm, news: Told, today: date, fish: Mapping[str, Fish], findings: Findings
) -> list[CohortAtHand]:
    found = []
    counted = {row.tank: row.as_of for row in farm.cohorts}
    for entry in news.of_fish():
        if isinstance(entry, Done) and entry.step == "stock":
            tank = entry.tank or entry.batch
            if entry.on > counted.get(tank, date.min):
                findings.doubt(
                    f"{tank}: fish were stocked on {day_words(entry.on)}; count them and enter "
                    "them in cohorts.csv"
                )
    for row in farm.cohorts:
        if row.as_of > today:
            found.append(row)
            continue
        school = _counted(row, None, fish)
        school.news = [e for e in _on_tank(news, row.tank) if e.on >= row.as_of]
        if not school.news:
            found.append(row)
            continue
        left = followed(school, today, today, findings)
        if left is not None:
            found.append(left)
    return found


def _on_tank(news: Told, tank: str) -> list[OfTank]:
    """What is told of a tank by its name."""
    return [e for e in news.of_fish() if tank in (getattr(e, "tank", None), _batch_of(e))]


def _batch_of(entry: OfTank) -> str:
    return entry.batch if isinstance(entry, Done | Skipped) else ""


def _counted(row: CohortAtHand, doc: CohortDoc | None, fish: Mapping[str, Fish]) -> School:
    return School(
        tank=row.tank,
        species=row.species,
        name=_name(row.species, fish),
        day=row.as_of,
        count=row.count,
        mean_g=row.mean_g,
        first=row.as_of + timedelta(days=1),
        doc=doc,
        course=None if doc is None else course_of(doc, None),
        row=row,
    )


def _name(species: str, fish: Mapping[str, Fish]) -> str:
    return spoken(fish[species].name) if species in fish else species


@dataclass(slots=True)
class _ByPlan:
    """Carries every cohort of a plan to today."""

    farm: Farm
    plan: PlanDoc
    news: Told
    today: date
    fish: Mapping[str, Fish]
    findings: Findings
    made_on: date = date.min
    schools: dict[str, list[School]] = field(default_factory=lambda: defaultdict(list))

    def cohorts(self) -> tuple[CohortAtHand, ...]:
        self.made_on = date.fromisoformat(self.plan["made_on"])
        house = {
            row.tank: row for row in map(CohortAtHand.model_validate, self.plan["house"]["cohorts"])
        }
        for doc in self.plan["cohorts"]:
            school = self._at_hand(doc, house) if doc["at_hand"] else self._stocked(doc)
            if school is not None:
                self.schools[school.tank].append(school)
        with_doc = {school.tank for some in self.schools.values() for school in some}
        for tank, row in house.items():
            if tank not in with_doc:
                self.schools[tank].append(_counted(row, None, self.fish))
        for some in self.schools.values():
            some.sort(key=lambda school: school.day)
        self._take_newer_rows()
        self._hand_out_news()
        found = []
        for tank in [*house, *(name for name in self.schools if name not in house)]:
            if tank not in self.tank_names:
                self.findings.doubt(f"{tank}: the farm has no more such tank; its fish left out")
                continue
            left = self._of_tank(tank, house.get(tank))
            if left is not None:
                found.append(left)
        return tuple(found)

    @property
    def tank_names(self) -> list[str]:
        return [name for tank in self.farm.tanks for name in tank.tank_names]

    def _at_hand(self, doc: CohortDoc, house: Mapping[str, CohortAtHand]) -> School | None:
        row = house.get(doc["tank"])
        if row is None:
            return None
        school = _counted(row, doc, self.fish)
        school.first, school.row = self.made_on, None
        school.course = course_of(doc, row)
        return school

    def _stocked(self, doc: CohortDoc) -> School | None:
        """The fish of a planned stocking, if it was done or is past."""
        planned = date.fromisoformat(doc["stock"])
        words = steps([e for e in self.news.of_fish() if _batch_of(e) == doc["id"]], "stock")
        result = outcome(words, planned, self.today)
        name = _name(doc["species"], self.fish)
        self._tell_stocking(doc, result, planned, name)
        if result.day is None or not doc["weeks"]:
            return None
        said = result.said if isinstance(result.said, Done) else None
        orders = steps([e for e in self.news.of_fish() if _batch_of(e) == doc["id"]], "order")
        counts = [word.count for word in (*orders, said) if isinstance(word, Done) and word.count]
        if result.assumed:
            self.findings.assume(result.day, doc["id"], f"stock {doc['tank']} with {name}")
        start = doc["weeks"][0]
        return School(
            tank=(said.tank if said else None) or doc["tank"],
            species=doc["species"],
            name=name,
            day=result.day,
            count=counts[-1] if counts else round(start["count"]),
            mean_g=start["mean_g"],
            first=self.made_on,
            doc=doc,
            course=course_of(doc, None),
            shift_days=(result.day - planned).days,
            certain=said is not None,
        )

    def _tell_stocking(self, doc: CohortDoc, result: Outcome, planned: date, name: str) -> None:
        said, where = result.said, f"{doc['tank']}: {name}"
        if isinstance(said, Skipped):
            cause = f" ({said.cause})" if said.cause else ""
            until = f"; now {day_words(said.until)}" if said.until else "; no new day is given"
            text = f"{where} not stocked on {day_words(planned)}{cause}{until}"
            self.findings.say(45, text)
        elif isinstance(said, Done) and result.day is not None:
            days = (result.day - planned).days
            count = round(doc["weeks"][0]["count"]) if doc["weeks"] else 0
            if days:
                side = "late" if days > 0 else "early"
                text = f"{where} stocked on {day_words(result.day)}, {plural(abs(days), 'day')}"
                self.findings.say(10 + min(20, abs(days)), f"{text} {side}")
            if said.count is not None and said.count != count:
                self.findings.say(30, f"{where}: {said.count:,} stocked, {count:,} planned")

    def _take_newer_rows(self) -> None:
        for row in self.farm.cohorts:
            if row.as_of > self.today:
                continue
            some = self.schools[row.tank]
            here = [school for school in some if school.day <= row.as_of]
            same = here and here[-1].species == row.species
            counted = _counted(row, here[-1].doc if same else None, self.fish)
            if same:
                counted.shift_days = here[-1].shift_days
                counted.course = here[-1].course
            self.schools[row.tank] = [counted, *(s for s in some if s.day > row.as_of)]
            self.findings.say(5, f"{row.tank}: counted on {day_words(row.as_of)}")

    def _hand_out_news(self) -> None:
        """Give each entry to the fish that it names, or that were in its tank on its day."""
        named = {s.doc["id"]: s for some in self.schools.values() for s in some if s.doc}
        ids = {doc["id"] for doc in self.plan["cohorts"]}
        for entry in self.news.of_fish():
            batch = _batch_of(entry)
            school = named.get(batch)
            if batch not in ids:
                tank = getattr(entry, "tank", None) or batch
                here = self.schools.get(tank, [])
                before = [s for s in here if s.day <= entry.on]
                school = before[-1] if before else (here[0] if here else None)
                if school is None and tank in self.tank_names:
                    self.findings.doubt(
                        f"{tank}: there is a record of {day_words(entry.on)}, but no fish are "
                        "known there; count them and enter them in cohorts.csv"
                    )
            if school is not None and (school.row is None or entry.on > school.day):
                school.news.append(entry)

    def _of_tank(self, tank: str, in_house: CohortAtHand | None) -> CohortAtHand | None:
        """The fish in a tank today: the last stocked, unless that is only planned and it is full"""
        held: CohortAtHand | None = None
        for school in self.schools[tank]:
            quiet = not school.news and self.today == self.made_on and school.row is None
            if quiet and in_house is not None and school.day == in_house.as_of:
                held = in_house
                continue
            left = followed(school, self.made_on, self.today, self.findings)
            if held is not None and left is not None and not school.certain:
                if school.doc is not None:
                    self.findings.forget(school.doc["id"])
                self.findings.doubt(
                    f"{tank} still holds fish: the {school.name} planned for "
                    f"{day_words(school.day)} are taken as not stocked"
                )
                continue
            if held is not None and left is not None:
                self.findings.doubt(
                    f"{tank}: {held.count:,} fish should be in it still, but {school.name} were "
                    f"stocked on {day_words(school.day)}; the old ones are taken as gone"
                )
            held = left or held
        return held
