"""What a review stands on: plans, entries, the farm, and which plan was in force when."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

from planner.book import Entry, Recorded
from planner.demand import mean_price_kg
from planner.document import PlanDoc
from planner.farm import Farm, Zone
from planner.handplan.habits import SLOTS_A_M2
from planner.horizon import monday_of
from planner.observed.plans import Plan, in_order
from planner.tables import Crop, Fish

WEEK = timedelta(days=7)
DAY = timedelta(days=1)
NEAR = timedelta(days=3)  # work so soon after its planned day is taken as on time; judgement

EntryT = TypeVar("EntryT", bound=Entry)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Plans in order, entries of the span in the order of their days, and the farm.

    Parameters
    ----------
    before
        Entries before the span: a batch cut in it may have been set out before.
    """

    plans: Sequence[Plan]
    entries: Sequence[Recorded]
    before: Sequence[Recorded]
    farm: Farm
    crops: Mapping[str, Crop]
    fish: Mapping[str, Fish]
    first: date
    last: date

    def of(self, kind: type[EntryT]) -> Iterator[EntryT]:
        """Yield the entries of a kind."""
        for said in self.entries:
            if isinstance(said.entry, kind):
                yield said.entry

    def within(self, day: date) -> bool:
        """Whether a day is in the span."""
        return self.first <= day <= self.last

    def weeks(self) -> Iterator[date]:
        """Yield the Mondays of the whole weeks; the first may have begun before the span."""
        monday = monday_of(self.first)
        while monday + 6 * DAY <= self.last:
            yield monday
            monday += WEEK

    def in_force(self, day: date) -> Plan | None:
        """Return the plan in force on a day: the newest made by then."""
        return next((plan for plan in reversed(self.plans) if plan.made_on <= day), None)

    def of_week(self, monday: date) -> Plan | None:
        """Return the plan in force when a week began, else the first one made in it.

        None when there is none, or when its horizon does not hold the week.
        """
        plan = self.in_force(monday)
        if plan is None:
            plan = next((p for p in self.plans if p.made_on < monday + WEEK), None)
        return plan if plan is not None and monday < plan.end else None

    def zone(self, name: str) -> Zone | None:
        """Return a zone as farm.toml has it now."""
        return next((zone for zone in self.farm.zones if zone.name == name), None)

    def part_m2(self, name: str) -> float:
        """Area of one part of a place; a tower's slots count 20 to the m². [m²]"""
        zone = self.zone(name)
        if zone is None:
            return 0.0
        place = (zone.sites or 0) / SLOTS_A_M2 if zone.area_m2 is None else zone.area_m2
        return place / zone.parts

    def price_kg(self, ware: str) -> float:
        """Mean price of a crop or fish over its order lines, else of its best outlet. [money/kg]"""
        return mean_price_kg(self.farm, ware, self.crops) or self.farm.fish_prices.get(ware, 0.0)


def ground(
    plans: Iterable[tuple[date, PlanDoc]],
    entries: Iterable[Recorded],
    farm: Farm,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    *,
    first: date,
    last: date,
) -> Ground:
    """Return the ground of a review from `first` to `last`, both of them in it."""
    said = sorted(entries, key=lambda one: (one.entry.on, one.number))
    return Ground(
        plans=[plan for plan in in_order(plans) if plan.made_on <= last],
        entries=[one for one in said if first <= one.entry.on <= last],
        before=[one for one in said if one.entry.on < first],
        farm=farm,
        crops=crops,
        fish=fish,
        first=first,
        last=last,
    )
