"""CSV tables with typed columns: the cells of a file, and what each column may hold.

A row type is a frozen dataclass whose field types carry the range (`Annotated[float, Field(ge=0)]`)
or the allowed words (`Literal`); a default says what a blank cell means. Checks and messages both
come from it. Every fault names the file, the line, what was found and what is allowed.
"""

import csv
import io
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from pathlib import Path
from typing import Any, get_type_hints

from pydantic import ConfigDict, TypeAdapter, ValidationError

from planner.errors import InputError, nearest

LARGEST_FILE_MB = 5
MOST_FAULTS = 100
MOST_COLUMNS = 200
_LONGEST_SHOWN = 40
_NEEDED = object()


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """What the cells of one column may hold.

    Parameters
    ----------
    check
        Turns a cell's text into its value.
    allowed
        The range or the words, for messages.
    words
        Allowed words of a column that has a list of them.
    blank
        Value of a blank cell in a new row, unless the column is `needed`.
    """

    name: str
    check: TypeAdapter[Any]
    allowed: str
    words: tuple[str, ...]
    blank: Any

    @property
    def needed(self) -> bool:
        """Whether a new row must fill the cell."""
        return self.blank is _NEEDED


def columns_of(kind: type) -> Mapping[str, Column]:
    """Return the columns of a row type, by name, in its order."""
    hints = get_type_hints(kind, include_extras=True)
    return {
        field.name: _column(field.name, hints[field.name], field.default) for field in fields(kind)
    }


def _column(name: str, hint: Any, default: Any) -> Column:
    check: TypeAdapter[Any] = TypeAdapter(hint, config=ConfigDict(allow_inf_nan=False))
    schema = check.json_schema()
    kinds = schema.get("anyOf", [schema])
    core = next(kind for kind in kinds if kind["type"] != "null")
    blank = default
    if default is MISSING:
        may_be_empty = core["type"] == "string" and not {"minLength", "pattern", "enum"} & {*core}
        blank = None if len(kinds) > 1 else "" if may_be_empty else _NEEDED
    words = tuple(core.get("enum", ()))
    return Column(name=name, check=check, allowed=_allowed(core, words), words=words, blank=blank)


def _allowed(core: Mapping[str, Any], words: Sequence[str]) -> str:
    if words:
        return f"one of {', '.join(words)}"
    if core["type"] == "boolean":
        return "true or false"
    if core["type"] == "string":
        if "pattern" in core:
            return "small letters, digits and _, beginning with a letter"
        return f"a text of at most {core['maxLength']} signs"
    low, over, high = core.get("minimum"), core.get("exclusiveMinimum"), core["maximum"]
    number = "a whole number" if core["type"] == "integer" else "a number"
    return f"{number} above {over} to {high}" if low is None else f"{number} from {low} to {high}"


@dataclass(frozen=True, slots=True)
class Line:
    """The cells of one row of a file, and where it stands."""

    where: str  # file and line
    cells: Mapping[str, str]


def read_lines(
    path: Path, known: Collection[str], needed: Collection[str], faults: list[str]
) -> Iterator[Line]:
    """Yield the rows of a CSV file that are not blank; faults of its form are added to `faults`.

    Cells lose spaces and byte order marks at their ends; column names may be in capitals. A file
    that lacks a needed column yields no rows; reading stops after `MOST_FAULTS`.

    Raises
    ------
    InputError
        The file cannot be read, is empty, is too large, or is no UTF-8 text.
    """
    header: list[str] | None = None
    for number, cells in _records(path, faults):
        where = f"{path.name} line {number}"
        if len(faults) > MOST_FAULTS:
            return
        if header is None:
            header = [cell.lower() for cell in cells]
            while not header[-1]:  # spreadsheets add empty columns
                header.pop()
            faults.extend(_header_faults(where, header, known, needed))
        elif len(cells) < len(header) or any(cells[len(header) :]):
            faults.append(f"{where}: has {len(cells)} cells where the header has {len(header)}")
        elif {*needed} <= {*header} and len(header) <= MOST_COLUMNS:
            yield Line(where, dict(zip(header, cells, strict=False)))
    if header is None and not faults:
        raise InputError([f"{path.name} is empty; its first line must name the columns"])


def typed(line: Line, columns: Mapping[str, Column], faults: list[str]) -> dict[str, Any]:
    """Return the values of a row's filled cells; a cell that is wrong is left out and told."""
    values = {}
    for name, text in line.cells.items():
        column = columns.get(name)
        if column is None or not text:
            continue
        try:
            values[name] = column.check.validate_python(text.lower() if column.words else text)
        except ValidationError:
            faults.append(
                f'{line.where}: {name} is "{shown(text)}"; give {column.allowed}'
                + nearest(text, column.words)
            )
    return values


def raise_faults(faults: Sequence[str]) -> None:
    """Raise all faults together, if there are any; at most `MOST_FAULTS` are told."""
    if len(faults) > MOST_FAULTS:
        faults = [*faults[:MOST_FAULTS], "and more faults; mend these first"]
    if faults:
        raise InputError(faults)


def shown(text: str) -> str:
    """Return a cell's text as messages show it: on one line, not too long."""
    short = text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "…"
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in short)


def _header_faults(
    where: str, header: Sequence[str], known: Collection[str], needed: Collection[str]
) -> Iterator[str]:
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        yield f"{where}: found no commas between cells; save the table as CSV with commas"
        return
    if len(header) > MOST_COLUMNS:
        yield f"{where}: has {len(header)} columns; at most {MOST_COLUMNS} are read"
        return
    for place, name in enumerate(header):
        if not name:
            yield f"{where}: column {place + 1} has no name; name it or take it out"
        elif name in header[:place]:
            yield f'{where}: column "{shown(name)}" stands twice; keep one'
        elif name not in known:
            hint = nearest(name, known) or f"; allowed are {', '.join(known)}"
            yield f'{where}: column "{shown(name)}" is not known{hint}'
    for name in needed:
        if name not in header:
            yield f"{where}: column {name} is missing; it is needed"


def _records(path: Path, faults: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Yield the line number and the cells of each row that is not blank, up to a broken one."""
    text = io.StringIO(_text(path), newline="")
    reader = csv.reader(text, strict=True, skipinitialspace=True)
    while True:
        first = reader.line_num + 1
        try:
            record = next(reader, None)
        except csv.Error as fault:
            faults.append(f"{path.name} line {first}: is no CSV ({fault}); mend its quotes")
            return
        if record is None:
            return
        cells = [cell.replace("\ufeff", "").strip() for cell in record]
        if any(cells):
            yield first, cells


def _text(path: Path) -> str:
    limit = LARGEST_FILE_MB * 1_000_000
    try:
        if not path.is_file():
            raise InputError([f"{path.name}: there is no such file"])
        with path.open("rb") as file:
            content = file.read(limit + 1)
    except OSError as fault:
        raise InputError([f"{path.name} cannot be read: {fault.strerror}"]) from fault
    if len(content) > limit:
        raise InputError([f"{path.name} is larger than {LARGEST_FILE_MB} MB, the most allowed"])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = content[: fault.start].count(b"\n") + 1
        raise InputError(
            [f"{path.name} line {line}: is not UTF-8 text; save the table as CSV in UTF-8"]
        ) from fault
