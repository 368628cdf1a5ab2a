"""What every command shares: the farm's folder, days as text, faults as text, and the clock."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer

from planner.errors import PlannerError
from planner.quantities import to_day

FarmFolder = Annotated[Path, typer.Argument(help="The farm's folder (holds farm.toml).")]


@contextmanager
def errors_as_text() -> Iterator[None]:
    """Print what the grower can mend to standard error and exit with 1."""
    try:
        yield
    except PlannerError as fault:
        typer.echo(str(fault), err=True)
        raise typer.Exit(1) from None
    except KeyboardInterrupt:
        typer.echo("Stopped; nothing was written.", err=True)
        raise typer.Exit(1) from None


def day_option(text: str | None) -> date | None:
    """Return the day that an option spells, or None when it was left out.

    Raises
    ------
    typer.BadParameter
        It is no day; the command ends with exit status 2.
    """
    if text is None:
        return None
    try:
        return to_day(text)
    except ValueError as fault:
        raise typer.BadParameter(f"{text!r}: {fault}") from None


def today() -> date:
    """Return today's date, where the program runs."""
    return date.today()


def now() -> datetime:
    """Return the time, in UTC."""
    return datetime.now(UTC)
