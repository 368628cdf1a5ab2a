"""The command `record` and its kinds: parse, call, print. No arithmetic."""

import shlex
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner import terminal
from planner.terminal import FarmFolder, errors_as_text

if TYPE_CHECKING:
    from planner.desk import Entered

On = Annotated[str, typer.Option(help="The day: 2027-03-01, today or yesterday.")]
Who = Annotated[str, typer.Option(help="Who did or saw it.")]
NoteText = Annotated[str, typer.Option("--note", help="A note to keep with it.")]
Corrects = Annotated[str, typer.Option(help="Number of the entry that this one replaces.")]
Cause = Annotated[str, typer.Option(help="Why.")]
Tank = Annotated[str, typer.Argument(help="The tank, such as 'fish tank 2', or just 2.")]
Amount = Annotated[list[str], typer.Argument(help="How much, with its unit: 2.4 kg, 1 lb 4 oz.")]
Produce = Annotated[list[str], typer.Argument(help="How much: 24 heads, 2.4 kg, 5 lb.")]
Step = Annotated[
    list[str],
    typer.Argument(help="Numbers of jobs (see jobs), or a step and a batch: set out board-a."),
]
PlannedOn = Annotated[str, typer.Option(help="Day of the job in the plan, if it is not clear.")]

record_app = typer.Typer(
    no_args_is_help=True,
    help="Write one line in the farm's book: what was done, cut, weighed, tested, lost.",
)


def _enter(folder: Path, kind: str, form: Mapping[str, str]) -> None:
    from planner import desk

    with errors_as_text():
        entered = desk.enter(
            desk.at(folder), kind, [form], today=terminal.today(), now=terminal.now()
        )
    _say(folder, entered)


def _enter_steps(
    folder: Path, kind: str, words: Sequence[str], form: Mapping[str, str], planned_on: str
) -> None:
    """Enter steps done or not done: jobs by their numbers, or one by step and batch."""
    from planner import desk

    with errors_as_text():
        farm = desk.at(folder)
        steps = desk.steps_of(farm, words, planned_on)
        forms = [{**form, **step} for step in steps]
        entered = desk.enter(farm, kind, forms, today=terminal.today(), now=terminal.now())
    _say(folder, entered)


def _say(folder: Path, entered: "Entered") -> None:
    for doubt in entered.doubts:
        typer.echo(f"doubt: {doubt}")
    undo = f"to take it back: sowstock record {shlex.quote(str(folder))} undo"
    for number, text in entered.told.items():
        typer.echo(text if entered.is_void else f"{text} ({undo} {number})")


@record_app.callback()
def record(context: typer.Context, farm: FarmFolder) -> None:
    """Write one line in the farm's book: what was done, cut, weighed, tested, lost."""
    context.obj = farm


@record_app.command()
def jobs(context: typer.Context) -> None:
    """List this week's and next week's jobs with their numbers, and last week's without record."""
    from planner import desk, openjobs
    from planner.words import day_words

    with errors_as_text():
        listed = openjobs.shown(desk.jobs(desk.at(context.obj)), terminal.today())
    day: date | None = None
    for job in listed:
        if job.day != day:
            day = job.day
            typer.echo(f"{day_words(day)} {day.year}")
        typer.echo(f"{job.number:6}  {f'{job.mark}: ' if job.mark else ''}{job.text}")
    if not listed:
        typer.echo("The plan in force has no jobs in these weeks.")


@record_app.command()
def done(
    context: typer.Context,
    what: Step,
    parts: Annotated[str, typer.Option(help="Parts of places, if not as planned.")] = "",
    count: Annotated[str, typer.Option(help="Fish stocked or taken.")] = "",
    tank: Annotated[str, typer.Option(help="The tank, for fish.")] = "",
    planned_on: PlannedOn = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record that jobs were done: sow, set out, cut, clear, order, stock, take, empty or water."""
    fields = {"parts": parts, "count": count, "tank": tank}
    _enter_steps(
        context.obj, "done", what, {**fields, **_common(on, who, note, corrects)}, planned_on
    )


@record_app.command()
def skip(
    context: typer.Context,
    what: Step,
    until: Annotated[str, typer.Option(help="Day on which it will be done or ready.")] = "",
    cause: Cause = "",
    planned_on: PlannedOn = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record that jobs were due and not done, and when they will be."""
    fields = {"until": until, "cause": cause}
    _enter_steps(
        context.obj, "skipped", what, {**fields, **_common(on, who, note, corrects)}, planned_on
    )


@record_app.command()
def harvest(
    context: typer.Context,
    what: Annotated[str, typer.Argument(help="The batch or the crop.")],
    amount: Produce,
    weighed: Annotated[str, typer.Option(help="Weight of what was counted: '2.4 kg'.")] = "",
    batch: Annotated[str, typer.Option(help="The batch, when a crop is given.")] = "",
    lot: Annotated[str, typer.Option(help="Lot code on the label.")] = "",
    last: Annotated[bool, typer.Option("--last", help="Nothing more will come of it.")] = False,
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record what was cut or picked: harvest basil 2.4 kg, harvest board-a 24 heads."""
    subject = {"crop": what, "batch": batch} if batch else {"what": what}
    fields = {"amount": " ".join(amount), "kg": weighed, "lot_code": lot}
    fields["last"] = "yes" if last else ""
    _enter(context.obj, "harvest", {**subject, **fields, **_common(on, who, note, corrects)})


@record_app.command()
def loss(
    context: typer.Context,
    batch: Annotated[str, typer.Argument(help="The batch.")],
    parts: Annotated[str, typer.Argument(help="Parts of places that were lost, or all.")],
    cause: Cause = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record plants that were lost: loss board-a 2 --cause aphids, loss board-a all."""
    fields = {"batch": batch, "parts": parts, "cause": cause}
    _enter(context.obj, "loss", {**fields, **_common(on, who, note, corrects)})


@record_app.command()
def weigh(
    context: typer.Context,
    tank: Tank,
    weight: Annotated[list[str], typer.Argument(help="Mean weight, with its unit: 210 g.")],
    sampled: Annotated[str, typer.Option(help="How many fish were weighed.")] = "",
    total: Annotated[
        bool, typer.Option("--total", help="The weight is of all that were sampled together.")
    ] = False,
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record a weighing of fish: weigh 2 210 g --sampled 12."""
    fields = {"tank": tank, "total" if total else "mean": " ".join(weight), "sampled": sampled}
    _enter(context.obj, "weigh", {**fields, **_common(on, who, note, corrects)})


@record_app.command()
def deaths(
    context: typer.Context,
    tank: Tank,
    count: Annotated[str, typer.Argument(help="How many fish.")],
    cause: Cause = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record fish found dead: deaths 2 3 --cause 'jumped out'."""
    fields = {"tank": tank, "count": count, "cause": cause}
    _enter(context.obj, "deaths", {**fields, **_common(on, who, note, corrects)})


@record_app.command()
def fish(
    context: typer.Context,
    tank: Tank,
    count: Annotated[str, typer.Argument(help="How many fish.")],
    weight: Amount,
    emptied: Annotated[bool, typer.Option("--emptied", help="No fish are left in it.")] = False,
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record fish taken out, with their weight together: fish 1 20 12 kg."""
    fields = {"tank": tank, "count": count, "amount": " ".join(weight)}
    fields["emptied"] = "yes" if emptied else ""
    _enter(context.obj, "fish_harvest", {**fields, **_common(on, who, note, corrects)})


@record_app.command()
def feed(
    context: typer.Context,
    weight: Amount,
    tank: Annotated[str, typer.Option(help="The tank; all tanks if left out.")] = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record feed given: feed 1.2 kg --tank 2."""
    fields = {"amount": " ".join(weight), "tank": tank}
    _enter(context.obj, "feed", {**fields, **_common(on, who, note, corrects)})


@record_app.command()
def water(
    context: typer.Context,
    ph: Annotated[str, typer.Option(help="pH.")] = "",
    nitrate: Annotated[str, typer.Option(help="Nitrate as nitrogen. [mg/L N]")] = "",
    nitrate_as_no3: Annotated[
        str, typer.Option("--nitrate-as-no3", help="Nitrate as a kit shows it. [mg/L NO3]")
    ] = "",
    tan: Annotated[str, typer.Option(help="Total ammonia nitrogen. [mg/L N]")] = "",
    nitrite: Annotated[str, typer.Option(help="Nitrite as nitrogen. [mg/L N]")] = "",
    oxygen: Annotated[str, typer.Option("--do", help="Dissolved oxygen. [mg/L]")] = "",
    temperature: Annotated[str, typer.Option(help="In the farm's degrees, or '72 degF'.")] = "",
    alkalinity: Annotated[str, typer.Option(help="Alkalinity. [mg/L CaCO3]")] = "",
    hardness: Annotated[str, typer.Option(help="Hardness. [mg/L CaCO3]")] = "",
    iron: Annotated[str, typer.Option(help="Iron. [mg/L]")] = "",
    potassium: Annotated[str, typer.Option(help="Potassium. [mg/L]")] = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record a water test: water --ph 6.8 --nitrate 40 --temperature '72 degF'."""
    fields = {
        "ph": ph,
        "nitrate_n_mg_l": nitrate,
        "nitrate_as_no3": nitrate_as_no3,
        "tan_mg_l": tan,
        "nitrite_n_mg_l": nitrite,
        "do_mg_l": oxygen,
        "temperature_c": temperature,
        "alkalinity_mg_l": alkalinity,
        "hardness_mg_l": hardness,
        "iron_mg_l": iron,
        "potassium_mg_l": potassium,
    }
    _enter(context.obj, "water_test", {**fields, **_common(on, who, note, corrects)})


@record_app.command()
def delivery(
    context: typer.Context,
    to: Annotated[str, typer.Argument(help="The order line; or, with --crop, any customer.")],
    amount: Produce,
    crop: Annotated[str, typer.Option(help="The crop or fish, if the line has several.")] = "",
    batch: Annotated[str, typer.Option(help="The batch it came from.")] = "",
    on: On = "",
    who: Who = "",
    note: NoteText = "",
    corrects: Corrects = "",
) -> None:
    """Record what a customer was given: delivery A1 14 heads."""
    fields = {"to": to, "amount": " ".join(amount), "crop": crop, "batch": batch}
    _enter(context.obj, "delivery", {**fields, **_common(on, who, note, corrects)})


@record_app.command("note")
def note_(
    context: typer.Context,
    text: Annotated[list[str], typer.Argument(help="What is worth remembering.")],
    on: On = "",
    who: Who = "",
    corrects: Corrects = "",
) -> None:
    """Record anything worth remembering: note aphids on the kale."""
    fields = {"text": " ".join(text), **_common(on, who, "", corrects)}
    _enter(context.obj, "note", fields)


@record_app.command()
def undo(
    context: typer.Context,
    number: Annotated[str, typer.Argument(help="Number of the entry.")],
    who: Who = "",
    note: NoteText = "",
) -> None:
    """Take an entry back; it stays in the book, but counts no more."""
    _enter(context.obj, "void", _common("", who, note, number))


def _common(on: str, who: str, note: str, corrects: str) -> dict[str, str]:
    return {"on": on, "who": who, "note": note, "corrects": corrects}
