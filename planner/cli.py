"""The command `sowstock`: parse, call, print. No arithmetic."""

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Annotated

import typer

from planner import terminal
from planner.bookcommands import book, record_app
from planner.errors import PlannerError
from planner.reviewcommand import review
from planner.servecommand import serve
from planner.terminal import FarmFolder, day_option, errors_as_text

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="A season planner for growers who raise fish and plants in one water.",
)


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


def _progress(stage: str, value: float | None, bound: float, gone: float) -> None:
    best = "" if value is None else f"  value {value:,.0f}"
    most = "" if bound == float("inf") else f"  bound {bound:,.0f}"
    typer.echo(f"{gone:6.1f} s  {stage}{best}{most}", err=True)


@app.command()
def init(folder: Annotated[Path, typer.Argument(help="A new folder for the farm.")]) -> None:
    """Write a commented starter farm, ready to plan."""
    from planner import starter

    with errors_as_text():
        for name in starter.write(folder, today=terminal.today()):
            typer.echo(name)
    typer.echo(f"Now edit {folder / 'farm.toml'} and run: sowstock plan {folder}")


@app.command()
def check(
    farm: FarmFolder,
    from_: Annotated[str | None, typer.Option("--from", help="Plan date, 2027-03-01.")] = None,
) -> None:
    """Read everything; list every fault and doubt at once, with file, row and what is allowed."""
    asked = day_option(from_)
    from planner import starting

    with errors_as_text():
        begin = starting.start(farm, today=terminal.today(), plan_date=asked)
    for doubt in begin.doubts:
        typer.echo(f"doubt: {doubt}")
    typer.echo(f"{begin.inputs.farm.name}: no faults, {len(begin.doubts)} doubts")


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
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Plan anew: keep nothing of the plan before.")
    ] = False,
    certainty: Annotated[
        float | None,
        typer.Option(
            min=0.05, max=0.99, help="Hold reserves: chance that first-priority orders are met."
        ),
    ] = None,
) -> None:
    """Plan the season and write plan.html, tasks.ics, plan.json and tables."""
    made_on = day_option(from_)
    from planner import planning, writing
    from planner.season.effort import Effort

    with errors_as_text():
        effort = Effort(work=work, seconds=seconds, seed=seed)
        target = farm / "plan" if out is None else out
        if farm.is_dir():
            writing.check_target(target)
        with _stop_on_interrupt() as stopped:
            bundle = planning.make_plan(
                farm,
                today=terminal.today(),
                plan_date=made_on,
                effort=effort,
                progress=_progress,
                stopped=stopped,
                fresh=fresh,
                certainty=certainty,
            )
            planning.write(farm, bundle, target, now=terminal.now())
    for warning in bundle.document["warnings"]:
        typer.echo(f"note: {warning}")
    for event in bundle.document["happened"]:
        typer.echo(f"happened: {event}")
    changes = bundle.document["changes"]
    if changes is not None:
        for item in changes["items"]:
            typer.echo(f"changed: {item['text']}")
        typer.echo(
            f"{changes['kept']} starts kept, {changes['moved']} changed against the plan of "
            f"{changes['before']}, charged {changes['cost']:,.2f}"
        )
    sure = bundle.document["certainty"]
    if sure is not None:
        typer.echo(
            f"{sure['met']} of {sure['order_weeks']} order weeks of first priority have a chance "
            f"of {sure['asked']:.0%} or more"
        )
        for price in sure["prices"]:
            typer.echo(
                f"certainty {price['certainty']:.0%} costs {price['cost']:,.2f}, reserves that "
                f"cannot be held {price['missing']:,.2f}"
            )
    solver = bundle.document["solver"]
    typer.echo(
        f"{solver['status']}: value {solver['value']:,.2f}, bound {solver['bound']:,.2f}, "
        f"gap {solver['gap']:.2%}, stopped by {solver['stopped_by']} "
        f"after {solver['seconds']:.1f} s"
    )
    typer.echo(f"{len(bundle.document['batches'])} batches, {len(bundle.jobs)} jobs: {target}")


app.add_typer(record_app, name="record")
app.command()(book)


@app.command()
def promise(
    farm: FarmFolder,
    crop: Annotated[str, typer.Option(help="Crop, group (any lettuce) or fish.")],
    quantity: Annotated[str, typer.Option(help='Each delivery week, "2 kg" or "24 heads".')],
    first: Annotated[str, typer.Option("--from", help="First week, any day of it.")],
    last: Annotated[str, typer.Option("--to", help="Last week, any day of it.")],
    every: Annotated[str, typer.Option(help="week, or how many weeks.")] = "week",
    days: Annotated[str, typer.Option(help="Days of delivery, tue;fri.")] = "",
    price: Annotated[str, typer.Option(help="Of one unit; the usual one if left out.")] = "",
    tolerance: Annotated[str, typer.Option(help="Share that may be short, 10%.")] = "",
    customer: Annotated[str, typer.Option(help="Who asks.")] = "enquiry",
    line: Annotated[str, typer.Option(help="The order line's name, if accepted.")] = "enquiry",
    plan_date: Annotated[str | None, typer.Option(help="Plan date; today if left out.")] = None,
    work: Annotated[int | None, typer.Option(min=0, help="Rounds of improvement.")] = None,
    seed: Annotated[int, typer.Option(min=0, max=2**31 - 1, help="Seed of the search.")] = 0,
    accept: Annotated[
        bool, typer.Option("--accept", help="Enter it into orders.csv and keep its plan.")
    ] = False,
) -> None:
    """Say yes, yes from a date, or no to an enquiry, and what it would displace."""
    made_on = day_option(plan_date)
    from planner import promising
    from planner.amounts import amount_of
    from planner.season.effort import Effort

    with errors_as_text(), _stop_on_interrupt() as stopped:
        try:
            amount = amount_of(quantity)
        except ValueError as fault:
            raise PlannerError(f"--quantity: {quantity!r}: {fault}") from fault
        given = promising.answer(
            farm,
            promising.Enquiry(
                crop=crop,
                unit=amount.unit,
                quantity=f"{amount.number:g}",
                first_week=first,
                last_week=last,
                every_weeks=every.removesuffix("s").removesuffix("week").strip() or "1",
                weekdays=days,
                price=price,
                tolerance=tolerance,
                customer=customer,
                line=line,
            ),
            today=terminal.today(),
            plan_date=made_on,
            effort=Effort(work=work, seed=seed),
            progress=_progress,
            stopped=stopped,
        )
        typer.echo(promising.told(given))
        if accept:
            name = promising.accept(
                farm,
                farm / "plan",
                given,
                now=terminal.now(),
                effort=Effort(work=work, seed=seed),
                progress=_progress,
                stopped=stopped,
            )
            typer.echo(f"Entered as line {name} of orders.csv; {farm / 'plan'} follows it.")


app.command()(serve)
app.command()(review)


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
    with errors_as_text():
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
