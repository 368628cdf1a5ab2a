"""Other ways to foretell the same batches: the packet, last year's week, warmth; two oracles."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from tests.skill.measures import Grown

YEAR = timedelta(weeks=52)
METHODS = (
    "with what was learned",
    "shipped table alone",
    "days on the packet",
    "last year's same week",
    "degree-days alone",
    "oracle: the hidden factors",
    "oracle: all but luck and weather",
)
OURS, TABLE, PACKET, LAST_YEAR, DEGREE_DAYS, FACTORS, LASTING = METHODS


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Mean absolute errors.

    Attributes
    ----------
    days
        To ripeness of a batch. [d]
    kg, season_kg
        Of a batch, and of all of a crop and zone in the season, over the table's. [-]
    """

    batches: int
    days: float
    kg: float
    season_kg: float


def errors(farms: Sequence[Sequence[Grown]]) -> dict[str, Errors]:
    """Return the errors of every way over the second season's batches of all farms.

    Last year's same week knows the first season's days as noted, and kilograms of a plant and cut,
    of the batch of that crop and zone that was set out nearest to a year before. The packet and
    warmth alone know only the table's kilograms. The oracles are told what nobody can know.
    """
    days: dict[str, list[float]] = {name: [] for name in METHODS}
    kg: dict[str, list[float]] = {name: [] for name in METHODS}
    sums: dict[str, list[float]] = {name: [] for name in METHODS}
    count = 0
    for batches in farms:
        season: dict[tuple[str, str], dict[str, float]] = {}
        first = [batch for batch in batches if batch.year == 1]
        for batch in batches:
            same = [b for b in first if (b.crop, b.zone) == (batch.crop, batch.zone)]
            if batch.year != 2 or not same:
                continue
            ago = batch.set_out - YEAR
            last = min(same, key=lambda b: abs((b.set_out - ago).days))
            told = {
                OURS: (batch.learned_days, batch.learned_kg),
                TABLE: (batch.table_days, batch.table_kg),
                PACKET: (batch.packet_days, batch.table_kg),
                LAST_YEAR: (last.noted_days, last.real_kg),
                DEGREE_DAYS: (batch.degree_days, batch.table_kg),
                FACTORS: (batch.factor_days, batch.factor_kg),
                LASTING: (batch.lasting_days, batch.lasting_kg),
            }
            count += 1
            zone = season.setdefault((batch.crop, batch.zone), dict.fromkeys((*METHODS, "real"), 0))
            zone["real"] += batch.real_kg
            for name, (took, gave) in told.items():
                zone[name] += gave
                days[name].append(abs(took - batch.real_days))
                kg[name].append(abs(gave - batch.real_kg) / batch.table_kg)
        for name in METHODS:
            sums[name] += [abs(z[name] - z["real"]) / z[TABLE] for z in season.values()]
    return {
        name: Errors(
            batches=count,
            days=float(np.mean(days[name])),
            kg=float(np.mean(kg[name])),
            season_kg=float(np.mean(sums[name])),
        )
        for name in METHODS
    }
