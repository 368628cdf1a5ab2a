"""What the book tells of the tables' figures: days, kilograms, losses and fish, planned and real.

The figures that a plan had learned before are taken out again, so that every record is held
against the tables.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from planner.book.entries import Deaths, Recorded
from planner.document import PlanDoc
from planner.observed.crops import batches
from planner.observed.fish import tanks
from planner.observed.kinds import (
    DaysObs,
    FcrObs,
    GrowthObs,
    LossObs,
    Observations,
    SurvivalObs,
    YieldObs,
)
from planner.observed.plans import in_order
from planner.tables import Crop, Fish

__all__ = [
    "DaysObs",
    "FcrObs",
    "GrowthObs",
    "LossObs",
    "Observations",
    "SurvivalObs",
    "YieldObs",
    "observations",
]


def observations(
    plans: Iterable[tuple[date, PlanDoc]],
    entries: Sequence[Recorded],
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
) -> Observations:
    """Return what is known of the figures of the tables.

    A batch is held against the plan that was in force when it was set out.

    Days: from setting out to the day on which it was seen ripe; else harvests tell of it between
    bounds. A first cut up to 3 days after the planned one was made because it was due: the batch
    was ripe by then (`by`). A later one was waited for: it got ripe after the planned day and no
    later than the cut (`between`), or after the last day on which the cut was put off to another;
    nor was it ripe four days before the cut, for who waits looks. A cut put off and not made yet
    tells that the batch was not ripe then (`after`).

    A grower who has put off two batches or more says so when one is not ripe, and a cut when it
    was due tells that it was ripe on that very day. Others may have waited for it without a word,
    so it tells only that it was ripe by the end of those 3 days.

    Kilograms: of finished batches, all that was weighed against the planned cuts up to the end, as
    late as the first one was; crops cut many times tell after three weeks of cutting. Lost parts
    count with neither side. A batch with a cut that nobody weighed tells nothing, nor does one
    whose crop was cut in its time without a word of which batch.

    Losses: parts lost whole, of each batch that was cut, finished or lost.

    Fish: growth and feed between two weighings of the same fish, at least 14 days apart; their
    weight when bought, and as counted for the first plan, count as weighings. Deaths tell
    once any are in the book, of tanks watched for four weeks.

    Parameters
    ----------
    plans
        Each plan's day and document; the document's key `learned`, if any, holds the factors in
        it, by `crop/method` (days, yield, loss) and by species (growth, survival, fcr).
    entries
        In force.
    crops, fish
        The tables before anything is learned.
    """
    kept = in_order(plans)
    grown = list(batches(kept, entries, crops))
    held = tanks(kept, entries, fish)
    tells_of_deaths = any(isinstance(said.entry, Deaths) for said in entries)
    days = (batch.days() for batch in grown)
    yields = (batch.yields() for batch in grown)
    losses = (batch.losses() for batch in grown)
    return Observations(
        days=tuple(found for found in days if found is not None),
        yields=tuple(found for found in yields if found is not None),
        losses=tuple(found for found in losses if found is not None),
        growth=tuple(found for tank in held for found in tank.growth()),
        survival=tuple(found for tank in held for found in tank.survival() if tells_of_deaths),
        fcr=tuple(found for tank in held for found in tank.fcr()),
    )
