"""Rows of a farm folder's CSV files, and the names that they may refer to.

Every fault goes into the caller's list as one sentence that names the file and the line.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import islice
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from planner.errors import InputError, nearest
from planner.farm import Part, Zone
from planner.sheets import read_lines
from planner.tables import Crop, Fish
from planner.wording import sentences, shown

LARGEST_FILE_MB = 2.0
MOST_ROWS = 20_000

PartT = TypeVar("PartT", bound=Part)
Faults = list[str]

_NOT_COLUMNS = ("crop_text", "parts_in")
_MADE_HERE = ("id",)  # a row need not give it
_MOST_NAMES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What rows may refer to.

    Parameters
    ----------
    crops, fish
        The tables, by id.
    crops_in_use, species_in_use
        Ids of what the farm grows and keeps.
    zones
        By name; None for a zone that has faults of its own. None when nothing is known of zones.
    tanks
        Names of single tanks; None when nothing is known of tanks.
    unread
        Ids, in small letters, in a table of the grower's that could not be read.
    plan_date
        The farm's own, if it has one.
    """

    crops: Mapping[str, Crop]
    fish: Mapping[str, Fish]
    crops_in_use: frozenset[str]
    species_in_use: frozenset[str]
    zones: Mapping[str, Zone | None] | None
    tanks: tuple[str, ...] | None
    unread: frozenset[str]
    plan_date: date | None

    def zone(self, name: str) -> Zone | None:
        """Return a zone that is in order, or None."""
        return None if self.zones is None else self.zones.get(name)


@dataclass(frozen=True, slots=True)
class Row:
    """The filled cells of one row, by column, and where it stands (file and line)."""

    where: str
    cells: dict[str, str]

    @property
    def line(self) -> str:
        """The line's number."""
        return self.where.rsplit(maxsplit=1)[-1]

    def fault(self, sentence: str) -> str:
        """Return the sentence with the row's place before it."""
        return f"{self.where}: {sentence}"


def can_be_read(path: Path, faults: Faults) -> bool:
    """Whether a path is a file of a size that is read; says why not. No file is no fault."""
    try:
        if not path.exists():
            return False
        if not path.is_file():
            faults.append(f"{path.name}: it is not a file")
            return False
        size_mb = path.stat().st_size / 1e6
    except (OSError, ValueError) as fault:
        faults.append(f"{path.name}: it cannot be read ({reason(fault)})")
        return False
    if size_mb > LARGEST_FILE_MB:
        faults.append(
            f"{path.name}: it has {size_mb:.1f} MB; at most {LARGEST_FILE_MB:g} MB are read"
        )
        return False
    return True


def reason(fault: Exception) -> str:
    """Return the system's words for a file that cannot be read."""
    return getattr(fault, "strerror", None) or str(fault)


def rows_of(path: Path, model: type[Part], faults: Faults) -> list[Row]:
    """Return the rows of a CSV file whose columns are the keys of `model`; no file, no rows."""
    if not can_be_read(path, faults):
        return []
    columns = {
        field.alias or name: field.is_required() and name not in _MADE_HERE
        for name, field in model.model_fields.items()
        if name not in _NOT_COLUMNS
    }
    needed = [name for name, is_needed in columns.items() if is_needed]
    form: Faults = []  # faults of the file's form; reading stops when there are many
    try:
        lines = list(islice(read_lines(path, columns, needed, form), MOST_ROWS + 1))
    except InputError as fault:
        faults.extend(fault.faults)
        return []
    faults.extend(form)
    if len(lines) > MOST_ROWS:
        faults.append(f"{path.name}: it has over {MOST_ROWS:,} rows; at most so many are read")
        return []
    return [
        Row(line.where, {name: cell for name, cell in line.cells.items() if cell})
        for line in lines
        if all(name in line.cells for name in needed)  # else the heading is at fault
    ]


def part_of(
    row: Row, model: type[PartT], changed: Mapping[str, object], faults: Faults
) -> PartT | None:
    """Return the row as a part of the farm, `changed` standing in for its cells."""
    keys = {field.alias or name for name, field in model.model_fields.items()}
    cells = {name: cell for name, cell in {**row.cells, **changed}.items() if name in keys}
    try:
        return model.model_validate(cells, by_alias=True, by_name=False)
    except ValidationError as fault:
        faults.extend(row.fault(sentence) for sentence in sentences(fault, model, cells))
        return None


def find(text: str, table: Mapping[str, Crop] | Mapping[str, Fish]) -> str | None:
    """Return the id that a text means: an id, or a name that only one row has."""
    wanted = text.strip().lower()
    if wanted in table:
        return wanted
    named = [key for key, row in table.items() if row.name.lower() == wanted]
    return named[0] if len(named) == 1 else None


def unknown(text: str, kind: str, *tables: Mapping[str, Crop] | Mapping[str, Fish]) -> str:
    """Return the end of a sentence on a name that is in none of the tables."""
    names = [name for table in tables for key, row in table.items() for name in (row.name, key)]
    return f"is {shown(text)}; the tables have no such {kind}{nearest(text, names)}"


def no_growth(species: str) -> str:
    """Return the end of a sentence on a species whose growth the planner cannot compute."""
    return (
        f'is "{species}"; its growth is not known (no tgc_per_1000_degree_days); take another '
        "species, or give the figure in your fish.csv"
    )


def named(row: Row, column: str, known: Known, faults: Faults) -> str | None:
    """Return the id of the crop or species in a cell; None when blank or at fault."""
    text = row.cells.get(column)
    if text is None:
        return None
    table = known.crops if column == "crop" else known.fish
    found = find(text, table)
    if found is None and text.lower() not in known.unread:
        faults.append(row.fault(f"{column} {unknown(text, column, table)}"))
    return found


def one_of(row: Row, column: str, names: Iterable[str] | None, faults: Faults) -> str | None:
    """Return the zone or tank in a cell as the farm spells it; None when blank or at fault."""
    text = row.cells.get(column)
    if text is None or names is None:
        return text
    found = {name.lower(): name for name in names}
    if text.lower() not in found:
        spelled = list(found.values())[:_MOST_NAMES]
        hint = nearest(text, spelled) or f"; there are {', '.join(map(shown, spelled)) or 'none'}"
        faults.append(row.fault(f"{column} is {shown(text)}; farm.toml has no such {column}{hint}"))
    return found.get(text.lower())


def dated_after_plan(as_of: date, known: Known) -> str | None:
    """Return a sentence on what was counted after the farm's plan date."""
    if known.plan_date is None or as_of <= known.plan_date:
        return None
    return f"as_of is {as_of}, after the plan date in farm.toml, {known.plan_date}"
