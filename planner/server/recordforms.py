"""The forms of the record page: their fields, what fills them, and what was typed before."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from planner.book import STEPS
from planner.farmnames import Names

KEY, KIND, TAPPED = "key", "kind", "tapped_on"  # fields that are no part of an entry
_COUNTED = ("head", "bunch", "each")
_WEIGHED = {"metric": ("kg", "g"), "us": ("lb", "oz")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a form.

    Parameters
    ----------
    look
        hidden, text, figure (a number, maybe with its unit), whole, date, choice, box or words.
    options
        Of a choice.
    list
        Id of the page's list of names that helps with a text.
    """

    name: str
    label: str = ""
    look: str = "text"
    value: str = ""
    options: tuple[str, ...] = ()
    list: str = ""
    needed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """One form: a kind of entry, its fields, and the words on its button."""

    kind: str
    title: str
    button: str
    fields: tuple[Field, ...]

    def filled(self, given: Mapping[str, str]) -> "Form":
        """Return the form with what was typed; what it has no field for is kept in hidden ones."""
        fields = [replace(f, value=given.get(f.name, "")) for f in self.fields]
        own = {field.name for field in fields}
        fields += [
            Field(name=name, look="hidden", value=value)
            for name, value in given.items()
            if name not in own and name not in (KEY, KIND, TAPPED)
        ]
        return replace(self, fields=tuple(fields))


def hidden(**values: str) -> tuple[Field, ...]:
    """Return hidden fields; blank ones are left out."""
    return tuple(
        Field(name=name, look="hidden", value=value) for name, value in values.items() if value
    )


def weight_units(names: Names) -> tuple[str, ...]:
    """Return the units of weight that the grower uses, the usual one first."""
    first = _WEIGHED[names.units]
    return (*first, *(unit for units in _WEIGHED.values() for unit in units if unit not in first))


def amount_fields(
    names: Names, label: str, *, counted: bool = True, value: str = "", unit: str = ""
) -> tuple[Field, ...]:
    """Return the fields of an amount: a figure and its unit."""
    units = (*weight_units(names), *(_COUNTED if counted else ()))
    if unit in units:
        units = (unit, *(other for other in units if other != unit))
    return (
        Field(name="amount", label=label, look="figure", value=value, needed=True),
        Field(name="unit", label="Unit", look="choice", options=units),
    )


def day_and_words(today: date) -> tuple[Field, ...]:
    """Return the fields that every entry may have."""
    return (
        Field(name="on", label="Day", look="date", value=today.isoformat()),
        Field(name="who", label="Who"),
        Field(name="note", label="Note"),
    )


def forms(names: Names, today: date) -> tuple[Form, ...]:
    """Return a form for each kind of entry that a grower begins with, the commonest first."""
    return tuple(form for form in _all(names, today) if form.kind not in ("done", "skipped"))


def form_of(kind: str, names: Names, today: date) -> Form | None:
    """Return the whole form of a kind, or None for one that has none."""
    return next((form for form in _all(names, today) if form.kind == kind), None)


def _all(names: Names, today: date) -> Iterator[Form]:
    last = day_and_words(today)
    tank = Field(name="tank", label="Tank", look="choice", options=names.tanks)
    some_tank = replace(tank, options=("", *names.tanks))
    batch = Field(name="batch", label="Batch", list="batches")
    lot = replace(batch, label="Batch or fish", list="lots")
    step = Field(name="step", label="Step", look="choice", options=STEPS)
    planned = Field(name="planned_on", label="Planned for", look="date")
    count = Field(name="count", label="Fish", look="whole", needed=True)
    cause = Field(name="cause", label="Cause")

    def form(kind: str, title: str, *fields: Field | Iterable[Field]) -> Form:
        flat = [f for item in fields for f in ([item] if isinstance(item, Field) else item)]
        return Form(kind=kind, title=title, button="Enter", fields=(*flat, *last))

    yield form(
        "harvest",
        "Harvest",
        Field(name="crop", label="Crop", list="crops"),
        batch,
        amount_fields(names, "How much"),
        Field(name="lot_code", label="Lot code"),
        Field(name="last", label="It will give nothing more", look="box"),
    )
    yield form("water_test", "Water test", _water(names))
    yield form(
        "weigh",
        "Weigh fish",
        tank,
        Field(name="mean", label="Mean weight of one", look="figure"),
        Field(name="total", label="or weight of all weighed", look="figure"),
        Field(name="unit", label="Unit", look="choice", options=_small_units(names)),
        Field(name="sampled", label="Fish weighed", look="whole"),
    )
    yield form(
        "fish_harvest",
        "Fish taken out",
        tank,
        count,
        amount_fields(names, "Weight together", counted=False),
        Field(name="emptied", label="The tank is empty now", look="box"),
    )
    yield form("deaths", "Fish that died", tank, count, cause)
    yield form("feed", "Feed given", some_tank, amount_fields(names, "How much", counted=False))
    yield form(
        "loss",
        "Plants lost",
        replace(batch, needed=True),
        Field(name="parts", label="Parts lost (blank: all)", look="whole"),
        cause,
    )
    yield form(
        "delivery",
        "Delivery",
        Field(name="line", label="Order line", list="lines"),
        Field(name="customer", label="Customer (if no line)"),
        Field(name="crop", label="Crop or fish", list="crops"),
        amount_fields(names, "How much"),
        lot,
    )
    yield Form(
        kind="note",
        title="Note",
        button="Enter",
        fields=(Field(name="text", label="Note", look="words", needed=True), *last[:2]),
    )
    yield form(
        "done",
        "A job that was done",
        step,
        lot,
        planned,
        Field(name="parts", label="Parts (blank: all)", look="whole"),
        Field(name="count", label="Fish (when ordered, stocked or taken)", look="whole"),
    )
    until = Field(name="until", label="It will be done on", look="date")
    yield form("skipped", "A job that was not done", step, lot, planned, until, cause)


def _water(names: Names) -> Sequence[Field]:
    degrees = "Temperature, °F" if names.units == "us" else "Temperature, °C"
    labels = {
        "ph": "pH",
        "tan_mg_l": "TAN, mg/L",
        "nitrite_n_mg_l": "Nitrite-N, mg/L",
        "nitrate_n_mg_l": "Nitrate-N, mg/L",
        "nitrate_as_no3": "or nitrate itself, mg/L",
        "do_mg_l": "Dissolved oxygen, mg/L",
        "temperature_c": degrees,
        "alkalinity_mg_l": "Alkalinity as CaCO3, mg/L",
        "hardness_mg_l": "Hardness as CaCO3, mg/L",
        "iron_mg_l": "Iron, mg/L",
        "potassium_mg_l": "Potassium, mg/L",
    }
    return [Field(name=name, label=label, look="figure") for name, label in labels.items()]


def _small_units(names: Names) -> tuple[str, ...]:
    return tuple(sorted(weight_units(names), key=lambda unit: unit not in ("g", "oz")))


def read_figures(fields: Mapping[str, str], names: Names) -> dict[str, str]:
    """Return a form's fields with the unit that its label said, where a figure came alone."""
    read = dict(fields)
    degrees = read.get("temperature_c", "").strip()
    if names.units == "us" and degrees and degrees.lstrip("+-").replace(".", "", 1).isdigit():
        read["temperature_c"] = f"{degrees} degF"
    return read
