"""The command `book`, beside `record`: parse, call, print. No arithmetic."""

from pathlib import Path
from typing import Annotated

import typer

from planner import terminal
from planner.recordcommands import record_app
from planner.terminal import FarmFolder, errors_as_text

__all__ = ["book", "record_app"]

_LISTED = 20


def book(
    farm: FarmFolder,
    entries: Annotated[
        int | None, typer.Option(min=0, help=f"List so many of the last entries; {_LISTED}.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(help="Write every entry to CSV files in this folder.")
    ] = None,
    import_: Annotated[
        Path | None, typer.Option("--import", help="Enter what the CSV files of a folder hold.")
    ] = None,
    backup: Annotated[
        Path | None, typer.Option(help="Write a copy of the whole book to this file.")
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Read all of the book and say if it is whole.")
    ] = False,
) -> None:
    """Show the farm's book, check it, copy it, write it as CSV files or read those."""
    from planner import desk
    from planner.book import open_book, read_csv, write_csv

    asked = check or any(path is not None for path in (csv, import_, backup))
    listed = 0 if asked and entries is None else _LISTED if entries is None else entries
    with errors_as_text():
        path = desk.book_of(farm)
        with open_book(path, create=import_ is not None) as opened:
            if import_ is not None:
                new = read_csv(opened, import_, today=terminal.today(), now=terminal.now())
                typer.echo(f"entered {new} from {import_}")
            if check:
                opened.check()
                plans = len(opened.plans())
                typer.echo(f"{path} is whole: {opened.highest()} entries, {plans} plans")
            if csv is not None:
                for written in write_csv(opened, csv):
                    typer.echo(written)
            if backup is not None:
                opened.backup(backup)
                typer.echo(f"copied to {backup}")
        if listed:
            for text in desk.last_entries(desk.at(farm), listed):
                typer.echo(text)
