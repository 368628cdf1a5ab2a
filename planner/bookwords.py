"""One sentence for each entry of the book, in the grower's units."""

from collections.abc import Iterable, Mapping

from planner.book import (
    Deaths,
    Delivery,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Note,
    Recorded,
    Skipped,
    Void,
    WaterTest,
    Weigh,
)
from planner.words import LB_KG, Units, day_words, plain, plural

_FIGURES = {
    "ph": "pH {}",
    "tan_mg_l": "TAN {} mg/L",
    "nitrite_n_mg_l": "nitrite-N {} mg/L",
    "nitrate_n_mg_l": "nitrate-N {} mg/L",
    "do_mg_l": "dissolved oxygen {} mg/L",
    "temperature_c": "{}",
    "alkalinity_mg_l": "alkalinity {} mg/L CaCO3",
    "hardness_mg_l": "hardness {} mg/L CaCO3",
    "iron_mg_l": "iron {} mg/L",
    "potassium_mg_l": "potassium {} mg/L",
}
_DONE = {
    "sow": "sown",
    "set out": "set out",
    "ripe": "seen ripe",
    "cut": "cut",
    "clear": "cleared",
    "order": "ordered",
    "stock": "stocked",
    "take": "fish taken out",
    "empty": "emptied",
    "water": "water jobs done",
}
_NOT_DONE = {**_DONE, "ripe": "ripe yet", "cut": "cut yet", "water": "done yet: water jobs"}


def words(recorded: Recorded, units: Units, names: Mapping[str, str]) -> str:
    """Return an entry with its number and day, such as `12. Wed 3 Mar 2027: cut 2.4 kg of ...`.

    Parameters
    ----------
    names
        Names of crops and fish as they are said, by id.
    """
    return f"{recorded.number}. {told(recorded.entry, units, names)}"


def told(entry: Entry, units: Units, names: Mapping[str, str]) -> str:
    """Return an entry as one sentence that begins with its day; always on one line."""
    text = f"{day_words(entry.on)} {entry.on.year}: {_what(entry, units, names)}"
    if cause := getattr(entry, "cause", ""):
        text += f", {cause}"
    if entry.corrects is not None and not isinstance(entry, Void):
        text += f"; replaces {entry.corrects}"
    if entry.who:
        text += f"; by {entry.who}"
    if entry.note:
        text += f"; {entry.note}"
    return plain(text)


def exact(number: float, decimals: int) -> str:
    """Return a number with so many decimals at most: what was read off a scale stays."""
    text = f"{number:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def exact_weight(kg: float, units: Units) -> str:
    """Return a weight to the gram or to a tenth of an ounce. [kg]"""
    if units == "us":
        pounds = kg / LB_KG
        return f"{exact(16 * pounds, 1)} oz" if pounds < 0.995 else f"{exact(pounds, 2)} lb"
    return f"{exact(1000 * kg, 1)} g" if kg < 0.9995 else f"{exact(kg, 3)} kg"


def _what(entry: Entry, units: Units, names: Mapping[str, str]) -> str:
    match entry:
        case Done():
            return _done(entry)
        case Skipped():
            return _skipped(entry)
        case Harvest():
            return _harvest(entry, units, names)
        case Loss():
            parts = "all" if entry.parts is None else plural(entry.parts, "part")
            return f"lost {parts} of {entry.batch}"
        case Weigh():
            sampled = "" if entry.sampled is None else f" ({entry.sampled:,} weighed)"
            return f"{entry.tank} weighed {exact_weight(entry.mean_g / 1000, units)} each{sampled}"
        case Deaths():
            return f"{entry.count:,} dead in {entry.tank}"
        case FishHarvest():
            emptied = ", which is empty now" if entry.emptied else ""
            kg = exact_weight(entry.kg, units)
            return f"took {entry.count:,} fish, {kg}, from {entry.tank}{emptied}"
        case Feed():
            return f"fed {exact_weight(entry.kg, units)} to {entry.tank or 'all tanks'}"
        case WaterTest():
            return f"water tested: {', '.join(_figures(entry, units))}"
        case Delivery():
            return _delivery(entry, units, names)
        case Note():
            return f"note: {entry.text}"
        case Void():
            return f"took entry {entry.corrects} back"


def _done(entry: Done) -> str:
    of = entry.tank if entry.step in ("stock", "take", "empty") and entry.tank else entry.batch
    text = f"{of} {_DONE[entry.step]}" if of else _DONE[entry.step]
    if entry.count is not None:
        text += f", {entry.count:,} fish"
    if entry.parts is not None:
        text += f", {plural(entry.parts, 'part')}"
    if entry.planned_on is not None and entry.planned_on != entry.on:
        text += f" (planned for {day_words(entry.planned_on)})"
    return text


def _skipped(entry: Skipped) -> str:
    text = f"{entry.batch} not {_NOT_DONE[entry.step]}".strip()
    if entry.planned_on is not None:
        text += f" (planned for {day_words(entry.planned_on)})"
    return text if entry.until is None else f"{text}, now for {day_words(entry.until)}"


def _harvest(entry: Harvest, units: Units, names: Mapping[str, str]) -> str:
    counted = ""
    if entry.units is not None and entry.unit is not None:
        counted = f" ({plural(entry.units, entry.unit)})"
    of = f" from {entry.batch}" if entry.batch else ""
    lot = f", lot {entry.lot_code}" if entry.lot_code else ""
    last = ", the last of it" if entry.last else ""
    name = names.get(entry.crop, entry.crop)
    return f"cut {exact_weight(entry.kg, units)}{counted} of {name}{of}{lot}{last}"


def _delivery(entry: Delivery, units: Units, names: Mapping[str, str]) -> str:
    amount = plural(entry.quantity, entry.unit)
    if entry.unit == "kg":
        amount = exact_weight(entry.quantity, units)
    line = f" (line {entry.line})" if entry.line else ""
    of = f" from {entry.batch}" if entry.batch else ""
    name = names.get(entry.crop, entry.crop)
    return f"delivered {amount} of {name}{of} to {entry.customer}{line}"


def _figures(entry: WaterTest, units: Units) -> Iterable[str]:
    for field, text in _FIGURES.items():
        value = getattr(entry, field)
        if value is not None:
            yield text.format(
                _warmth(value, units) if field == "temperature_c" else exact(value, 3)
            )


def _warmth(c: float, units: Units) -> str:
    return f"{exact(c * 9 / 5 + 32, 1)} °F" if units == "us" else f"{exact(c, 1)} °C"
