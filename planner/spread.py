"""How far a season may come out otherwise than planned: the sizes of spread, each with its source.

Logs are natural: a standard deviation of 0.1 is about a tenth either way.
"""

import math
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from planner.resources import shipped
from planner.sheets import columns_of, raise_faults, read_lines, typed

SPREAD_FILE = "spread.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadRow:
    """One row of `cropdata/spread.csv`."""

    key: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=60)]
    size: Annotated[float, Field(ge=0, le=100)]
    unit: Annotated[str, Field(min_length=1, max_length=40)]
    basis: Literal["published", "derived", "judgement"]
    source: Annotated[str, Field(max_length=500)] = ""
    note: Annotated[str, Field(max_length=500)] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Sizes of spread. Where nothing else is said, the standard deviation of a natural log.

    Parameters
    ----------
    season_growth, season_memory_weeks
        Slow part of the weather's effect on growth, and in how many weeks it forgets itself.
    week_growth, week_memory_weeks
        Quick part of it.
    days_class, days_crop, days_batch
        Of days to harvest: shared by a class, by a crop and method in a season, of one batch.
    yield_class, yield_crop, yield_batch
        Of kilograms a plant.
    yield_cut
        Of one week's cut or picking of a crop that is cut again, beside its batch's.
    yield_season_share
        Share of the slow weather that shows in the weight of crops cut once. [-]
    counted_share
        Share of the spread of a head's weight that shows in how many heads are fit to sell. [-]
    germination
        Of the share of cells that give a seedling fit to set out. [-]
    loss_class, loss_crop
        Of the share of plants lost.
    loss_batch
        Standard deviation of one batch's losses over their mean. [-]
    fish_growth_class, fish_growth_species, fish_growth_cohort
        Of the growth coefficient.
    weighing
        Of the mean weight of fish at hand or as bought, for it is known from a sample.
    deaths_species, deaths_cohort
        Of the death rate.
    fcr_species, fcr_cohort
        Of the feed conversion ratio.
    """

    season_growth: float
    season_memory_weeks: float
    week_growth: float
    week_memory_weeks: float
    days_class: float
    days_crop: float
    days_batch: float
    yield_class: float
    yield_crop: float
    yield_batch: float
    yield_cut: float
    yield_season_share: float
    counted_share: float
    germination: float
    loss_class: float
    loss_crop: float
    loss_batch: float
    fish_growth_class: float
    fish_growth_species: float
    fish_growth_cohort: float
    weighing: float
    deaths_species: float
    deaths_cohort: float
    fcr_species: float
    fcr_cohort: float

    @property
    def days_prior(self) -> float:
        """Of days to harvest of a crop and method, before anything is recorded."""
        return math.hypot(self.days_class, self.days_crop)

    @property
    def yield_prior(self) -> float:
        """Of kilograms a plant of a crop and method, before anything is recorded."""
        return math.hypot(self.yield_class, self.yield_crop)

    @property
    def loss_prior(self) -> float:
        """Of the share lost of a crop and method, before anything is recorded."""
        return math.hypot(self.loss_class, self.loss_crop)

    @property
    def fish_growth_prior(self) -> float:
        """Of the growth coefficient of a species, before anything is recorded."""
        return math.hypot(self.fish_growth_class, self.fish_growth_species)

    def scaled(self, factor: float) -> "Spread":
        """Return the sizes times `factor`; memories and shares stay as they are."""
        kept = {"season_memory_weeks", "week_memory_weeks", "yield_season_share", "counted_share"}
        names = [field.name for field in fields(self) if field.name not in kept]
        return replace(self, **{name: getattr(self, name) * factor for name in names})


def spread_rows(path: Path | None = None) -> tuple[SpreadRow, ...]:
    """Return the rows of the shipped table, or of `path`.

    Raises
    ------
    InputError
        The file is wrong; holds every fault.
    """
    faults: list[str] = []
    columns = columns_of(SpreadRow)
    known = {field.name for field in fields(Spread)}
    rows: dict[str, SpreadRow] = {}
    table = path or shipped("cropdata") / SPREAD_FILE
    needed = [column.name for column in columns.values() if column.needed]
    for line in read_lines(table, columns, needed, faults):
        new = len(faults)
        values = typed(line, columns, faults)
        faults.extend(f"{line.where}: {name} is blank" for name in needed if not line.cells[name])
        if len(faults) > new:
            continue
        row = SpreadRow(**values)
        if row.key not in known:
            faults.append(f'{line.where}: key "{row.key}" is not a size of spread')
        elif row.key in rows:
            faults.append(f'{line.where}: key "{row.key}" stands twice; keep one')
        elif (row.basis == "judgement") != (row.source == ""):
            faults.append(f"{line.where}: a judgement has no source, anything else needs one")
        elif row.key.endswith("_memory_weeks") and row.size == 0:
            faults.append(f"{line.where}: size is 0; a memory is above 0 weeks")
        rows.setdefault(row.key, row)
    if not faults:
        faults += [f"{table.name}: {name} is missing" for name in sorted(known - rows.keys())]
    raise_faults(faults)
    return tuple(rows.values())


@lru_cache(maxsize=1)
def load_spread() -> Spread:
    """Return the shipped sizes of spread."""
    return Spread(**{row.key: row.size for row in spread_rows()})
