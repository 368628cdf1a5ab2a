"""What a little more of each limit would be worth, week by week."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.plan import SeasonPlan, fish_sum
from planner.season.search import Search

Series = NDArray[np.float64]

TRAY_CELLS = 72  # of a usual nursery tray; common practice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Margins:
    """Worth of one more of each, in each week of horizon and tail. [money]

    From the prices of the linear relaxation, in which parts, tanks and fish can be divided: never
    less than what a little more brings, too high for much more, and too high too where what stands
    fills a limit to the last part.

    Attributes
    ----------
    places
        By zone: a bed, board or tower, for that week. [money place⁻¹]
    tray
        A nursery tray of `TRAY_CELLS` cells. [money tray⁻¹]
    labour
        [money h⁻¹]
    feed_n
        Nitrogen of feed, of which the plan's own share reaches the plants' water. [money kg⁻¹]
    """

    places: tuple[Series, ...]
    tray: Series
    labour: Series
    feed_n: Series


def margins(search: Search, plan: SeasonPlan) -> Margins | None:
    """Return the worth of a little more of each limit; None when the prices are not known."""
    problem, rows, model = search.problem, search.rows, search.model
    prices = search.prices
    if prices is None:
        return None
    beyond = np.maximum(0.0, model.worth - model.matrix.T @ prices)  # of the columns' upper bounds
    supply, feed = (
        float(fish_sum(problem, plan, series).sum()) for series in ("supply_n_g", "feed_n_g")
    )
    share = supply / feed if feed > 0 else 0.0
    return Margins(
        places=_places(search, beyond),
        tray=beyond[rows.cells] * TRAY_CELLS,
        labour=np.maximum(0.0, prices[rows.hours]),
        feed_n=prices[rows.water] * 1000 * share,
    )


def _places(search: Search, beyond: Series) -> tuple[Series, ...]:
    """Return the worth of one more place of each zone, by week.

    No more parts follow one option than its zone has: where the solver puts a price on that
    instead of on the places, it belongs to the weeks in which the option holds them.
    """
    problem, rows = search.problem, search.rows
    found = [beyond[held] for held in rows.held]
    for column, option in zip(rows.sown, problem.batches, strict=True):
        if option.standing is None:
            weeks = found[option.zone][option.start : option.stop]
            weeks += beyond[column] / max(1, len(weeks))
    return tuple(worth * zone.parts for worth, zone in zip(found, problem.farm.zones, strict=True))
