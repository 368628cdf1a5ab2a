"""The season looked back on: what was planned, what happened, and what the forecast has learned.

`review` makes the results, `page`, `tables` and `told` put them into a page, files and words.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from planner.book import Note, Recorded, Void
from planner.document import PlanDoc
from planner.errors import PlannerError
from planner.farm import Farm
from planner.learning import LearnedRow, learn, rows, shipped_priors
from planner.observed import observations
from planner.review.changes import changes
from planner.review.cropsums import crop_rows
from planner.review.customers import customer_rows, order_rows
from planner.review.files import tables
from planner.review.fishery import fish_rows
from planner.review.ground import Ground, ground
from planner.review.grown import batch_rows
from planner.review.kinds import (
    BatchRow,
    Change,
    CropRow,
    CustomerRow,
    FishRow,
    OrderRow,
    ProduceRow,
    Review,
    WeekRow,
)
from planner.review.page import page
from planner.review.sayings import names
from planner.review.summary import told
from planner.review.weekly import produce_rows, week_rows
from planner.tables import Crop, Fish

__all__ = [
    "BatchRow",
    "Change",
    "CropRow",
    "CustomerRow",
    "FishRow",
    "OrderRow",
    "ProduceRow",
    "Review",
    "WeekRow",
    "page",
    "review",
    "tables",
    "told",
]

HOW_TO_RECORD = (
    "write down what was done, cut, weighed, tested and delivered with sowstock record FARM, or on "
    "the page of sowstock serve FARM; then review again"
)


def review(
    plans: Sequence[tuple[date, PlanDoc]],
    entries: Iterable[Recorded],
    farm: Farm,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    *,
    first: date | None = None,
    last: date,
) -> Review:
    """Hold what is recorded from `first` to `last` against the plans that were in force.

    Batches are held against the plan in force when they were set out, weeks against the plan in
    force when they began. Orders, water and produce are told of whole weeks only.

    Parameters
    ----------
    plans
        Each kept plan's day and document, as they were kept.
    entries
        In force.
    farm, crops, fish
        The farm and its tables as they are now, before anything is learned.
    first
        The day of the first plan when left out.

    Raises
    ------
    PlannerError
        The days are not in order, there is no plan, or nothing is recorded from `first` to `last`.
    """
    if not plans:
        raise PlannerError(
            "there is no plan in the book to hold anything against; make one with sowstock plan "
            f"FARM and {HOW_TO_RECORD}"
        )
    since = min(day for day, _ in plans) if first is None else first
    if since > last:
        raise PlannerError(
            f"the first day is {since}, after the last one, {last}; give days in order"
        )
    every = list(entries)
    stands_on = ground(plans, every, farm, crops, fish, first=since, last=last)
    if not stands_on.plans:
        raise PlannerError(
            f"no plan was made by {last}, the first one is of {min(day for day, _ in plans)}; "
            "give a later day (--to)"
        )
    if all(isinstance(said.entry, Note | Void) for said in stands_on.entries):
        raise PlannerError(f"nothing is recorded from {since} to {last}; {HOW_TO_RECORD}")
    batches = batch_rows(stands_on)
    orders, beside = order_rows(stands_on)
    weeks, tanks = week_rows(stands_on), fish_rows(stands_on)
    return Review(
        farm=farm.name,
        units=farm.units,
        currency=farm.currency,
        names={
            id: name
            for id, name in names(crops, fish).items()
            if any(id in plan.document["crops"] for plan in stands_on.plans)
            or any(getattr(said.entry, "crop", None) == id for said in stands_on.entries)
        },
        first=since,
        last=last,
        plans=len(stands_on.plans),
        entries=len(stands_on.entries),
        batches=batches,
        crops=crop_rows(stands_on, batches),
        fish=tanks,
        weeks=weeks,
        produce=produce_rows(stands_on),
        orders=orders,
        customers=customer_rows(orders),
        beside=beside,
        changes=changes(stands_on, batches, orders, weeks, tanks),
        learned=_learned(stands_on),
    )


def _learned(stands_on: Ground) -> tuple[LearnedRow, ...]:
    """Return what the records up to the last day teach, as the next plan takes it."""
    plans = [(plan.made_on, plan.document) for plan in stands_on.plans]
    entries = [*stands_on.before, *stands_on.entries]
    seen = observations(plans, entries, stands_on.crops, stands_on.fish)
    factors = learn(seen, stands_on.crops, stands_on.fish, shipped_priors())
    return rows(factors, seen, stands_on.crops, stands_on.fish)
