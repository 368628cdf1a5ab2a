"""The command `sowstock`: parse, call, print. No arithmetic."""

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from types import FrameType
from typing import Annotated

import typer

from planner.errors import PlannerError
from planner.quantities import to_day

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="A season planner for growers who raise fish and plants in one water.",
)

FarmFolder = Annotated[Path, typer.Argument(help="The farm's folder (holds farm.toml).")]


@contextmanager
def _errors_as_text() -> Iterator[None]:
    """Print what the grower can mend to standard error and exit with 1."""
    try:
        yield
    except PlannerError as fault:
        typer.echo(str(fault), err=True)
        raise typer.Exit(1) from None
    except KeyboardInterrupt:
        typer.echo("Stopped; nothing was written.", err=True)
        raise typer.Exit(1) from None


@contextmanager
def _stop_on_interrupt() -> Iterator[Callable[[], bool]]:
    """Let the first Ctrl-C ask the search to end with its best plan, the second end all."""
    asked = threading.Event()

    def ask(number: int, frame: FrameType | None) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()
        typer.echo(
            "Stopping with the best plan so far after this step; Ctrl-C again to write nothing.",
            err=True,
        )

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return to_day(text)
    except ValueError as fault:
        raise typer.BadParameter(f"{text!r}: {fault}") from None


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="A new folder for the farm.")]) -> None:
    """Write a commented starter farm, ready to plan."""
    from planner import starter

    with _errors_as_text():
        for name in starter.write(folder, today=date.today()):
            typer.echo(name)
    typer.echo(f"Now edit {folder / 'farm.toml'} and run: sowstock plan {folder}")


@app.command()
def check(
    farm: FarmFolder,
    from_: Annotated[str | None, typer.Option("--from", help="Plan date, 2027-03-01.")] = None,
) -> None:
    """Read everything; list every fault and doubt at once, with file, row and what is allowed."""
    asked = _day(from_)
    from planner import farmfile, planning

    with _errors_as_text():
        inputs = farmfile.read_farm(farm)
        made_on = planning.plan_date_of(inputs, asked, date.today())
        planning.check_dates(inputs, made_on)
        doubts = farmfile.doubts(inputs, made_on)
    for doubt in doubts:
        typer.echo(f"doubt: {doubt}")
    typer.echo(f"{inputs.farm.name}: no faults, {len(doubts)} doubts")


@app.command()
def plan(
    farm: FarmFolder,
    from_: Annotated[
        str | None, typer.Option("--from", help="Plan date; today if left out.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for the plan; FARM/plan if left out.")
    ] = None,
    work: Annotated[
        int | None, typer.Option(min=0, help="Rounds of improvement; as the size asks if left out.")
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(min=0.1, max=1e6, help="Stop searching after so many seconds.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of the search.")] = 0,
) -> None:
    """Plan the season and write plan.html, tasks.ics, plan.json and tables."""
    made_on = _day(from_)
    from planner import planning
    from planner.season.effort import Effort

    def progress(stage: str, value: float | None, bound: float, gone: float) -> None:
        best = "" if value is None else f"  value {value:,.0f}"
        most = "" if bound == float("inf") else f"  bound {bound:,.0f}"
        typer.echo(f"{gone:6.1f} s  {stage}{best}{most}", err=True)

    with _errors_as_text():
        effort = Effort(work=work, seconds=seconds, seed=seed)
        target = farm / "plan" if out is None else out
        if farm.is_dir():
            planning.check_target(target)
        with _stop_on_interrupt() as stopped:
            bundle = planning.make_plan(
                farm,
                today=date.today(),
                plan_date=made_on,
                effort=effort,
                progress=progress,
                stopped=stopped,
            )
            planning.write(bundle.files, target)
    for warning in bundle.document["warnings"]:
        typer.echo(f"note: {warning}")
    solver = bundle.document["solver"]
    typer.echo(
        f"{solver['status']}: value {solver['value']:,.2f}, bound {solver['bound']:,.2f}, "
        f"gap {solver['gap']:.2%}, stopped by {solver['stopped_by']} "
        f"after {solver['seconds']:.1f} s"
    )
    typer.echo(f"{len(bundle.document['batches'])} batches, {len(bundle.jobs)} jobs: {target}")


@app.command()
def tables(
    what: Annotated[str, typer.Argument(help="crops or fish")] = "crops",
    farm: Annotated[Path | None, typer.Option(help="Show a farm's own rows too.")] = None,
) -> None:
    """Show the crop or the fish table, with sources."""
    from planner import tables as shipped
    from planner import tabletext

    if what not in {"crops", "fish"}:
        raise typer.BadParameter("give crops or fish")
    load = shipped.load_crops if what == "crops" else shipped.load_fish
    with _errors_as_text():
        if farm is not None and not farm.is_dir():
            raise PlannerError(f"{farm}: there is no such folder; give the farm's folder")
        own = None if farm is None else farm / f"{what}.csv"
        rows = load(own if own is not None and own.exists() else None)
        sources = shipped.load_sources()
    for row in rows.values():
        typer.echo(tabletext.described(row) + "\n")
    typer.echo(tabletext.cited(rows.values(), sources))


def main() -> None:
    """Run the command; the console script."""
    try:
        app()
    except BrokenPipeError:
        sys.stderr.close()


if __name__ == "__main__":
    main()
