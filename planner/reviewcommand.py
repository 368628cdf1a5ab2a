"""The command `review`: parse, call, print. No arithmetic."""

from pathlib import Path
from typing import Annotated

import typer

from planner import terminal
from planner.terminal import FarmFolder, day_option, errors_as_text


def review(
    farm: FarmFolder,
    from_: Annotated[
        str | None, typer.Option("--from", help="First day; that of the first plan if left out.")
    ] = None,
    to: Annotated[str | None, typer.Option("--to", help="Last day; today if left out.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for the review; FARM/review if left out.")
    ] = None,
) -> None:
    """Hold what happened against the plans, and show what to change and what was learned."""
    first, last = day_option(from_), day_option(to)
    from planner import farmfile, history, writing
    from planner import review as reviewing

    with errors_as_text():
        target = farm / "review" if out is None else out
        inputs = farmfile.read_farm(farm)
        writing.check_target(target, writing.REVIEW)
        known = history.read(farm)
        found = reviewing.review(
            known.plans,
            known.entries,
            inputs.farm,
            inputs.crops,
            inputs.fish,
            first=first,
            last=last or terminal.today(),
        )
        files = {"review.html": reviewing.page(found).encode()} | {
            f"{writing.TABLES}/{name}": content for name, content in reviewing.tables(found).items()
        }
        writing.write(files, target, kind=writing.REVIEW)
    typer.echo(reviewing.told(found))
    typer.echo(f"Page and tables: {target}")
