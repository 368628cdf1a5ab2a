"""What a grower should look at twice in a record: doubts, each one sentence, never a refusal.

The bounds are judgement: beyond them a slip of the pen is likelier than the truth.
"""

from collections.abc import Iterator
from datetime import date

from planner.book import (
    Deaths,
    Delivery,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Skipped,
    WaterTest,
    Weigh,
)
from planner.farmnames import CohortName, Names
from planner.words import day_words, figure, plural, quantity, weight

OLD_DAYS = 60
FAR_DAYS = 28  # between a job's day in the plan and the day it was done
FACTOR = 3.0
WEEK_FACTOR = 10.0
_WATER: dict[str, tuple[float, float, str]] = {  # usual from, to, in words
    "ph": (5.0, 9.0, "pH {}"),
    "tan_mg_l": (0.0, 5.0, "TAN of {} mg/L"),
    "nitrite_n_mg_l": (0.0, 2.0, "nitrite-N of {} mg/L"),
    "nitrate_n_mg_l": (0.0, 200.0, "nitrate-N of {} mg/L"),
    "do_mg_l": (2.0, 20.0, "dissolved oxygen of {} mg/L"),
    "temperature_c": (5.0, 36.0, "water of {} °C"),
    "alkalinity_mg_l": (5.0, 500.0, "alkalinity of {} mg/L"),
    "hardness_mg_l": (5.0, 1000.0, "hardness of {} mg/L"),
    "iron_mg_l": (0.0, 10.0, "iron of {} mg/L"),
    "potassium_mg_l": (0.0, 500.0, "potassium of {} mg/L"),
}


def doubts(entry: Entry, names: Names, today: date) -> tuple[str, ...]:
    """Return the doubts about an entry, against the house and the plan in force."""
    return (*_about_the_day(entry, today), *_about(entry, names))


def _about(entry: Entry, names: Names) -> Iterator[str]:
    match entry:
        case Done() | Skipped():
            return _step(entry, names)
        case Harvest():
            return _harvest(entry, names)
        case Loss():
            return _loss(entry, names)
        case Weigh():
            return _weigh(entry, names)
        case Deaths():
            return _deaths(entry, names)
        case FishHarvest():
            return _fish_harvest(entry, names)
        case Feed():
            return _feed(entry, names)
        case WaterTest():
            return _water(entry)
        case Delivery():
            return _delivery(entry, names)
        case _:
            return iter(())


def _about_the_day(entry: Entry, today: date) -> Iterator[str]:
    days = (today - entry.on).days
    if days > OLD_DAYS:
        yield f"{entry.on} is {days} days ago; is that the right day?"


def _step(entry: Done | Skipped, names: Names) -> Iterator[str]:
    batch, cohort = names.batches.get(entry.batch), names.cohorts.get(entry.batch)
    on_order = entry.step == "order" and cohort and cohort.stock and cohort.stock > entry.on
    if entry.planned_on is None and names.has_plan and entry.step != "ripe" and not on_order:
        of = f" of {entry.batch}" if entry.batch else ""
        yield f'the plan in force has no "{entry.step}"{of}; entered without a planned day'
    elif entry.planned_on is not None and abs((entry.on - entry.planned_on).days) > FAR_DAYS:
        days = abs((entry.on - entry.planned_on).days)
        yield f"it was planned for {entry.planned_on}, {days} days from {entry.on}"
    if isinstance(entry, Skipped):
        return
    if batch and entry.parts and entry.parts > batch.parts:
        yield f"{entry.batch} has {plural(batch.parts, 'part')}, not {entry.parts}"
    if cohort and entry.count and (expected := cohort.expected(entry.on)):
        most = expected[2] * (1 if entry.step == "take" else FACTOR)
        if entry.count > most:
            yield f"{entry.count:,} fish; {expected[2]:,.0f} are expected in {cohort.tank}"


def _harvest(entry: Harvest, names: Names) -> Iterator[str]:
    crop = names.crops.get(entry.crop)
    batch = names.batches.get(entry.batch or "")
    if crop and entry.units and entry.unit == crop.yield_unit and entry.unit != "kg":
        each_kg = entry.kg / entry.units
        if not crop.kg_per_unit / FACTOR <= each_kg <= crop.kg_per_unit * FACTOR:
            yield (
                f"each {entry.unit} would weigh {weight(each_kg, names.units)}; the crop table"
                f" has {weight(crop.kg_per_unit, names.units)}"
            )
    if batch is None:
        return
    if batch.set_out and entry.on < batch.set_out:
        yield f"{batch.id} is set out on {batch.set_out}, after this harvest"
    cut, whole = weight(entry.kg, names.units), batch.in_all_kg
    if whole and entry.kg > FACTOR * whole:
        yield f"{cut} is over 3 times what {batch.id} would give, {weight(whole, names.units)}"
    elif (
        batch.best_week_kg
        and crop is not None
        and crop.harvest_kind != "once"
        and entry.kg > WEEK_FACTOR * batch.best_week_kg
    ):
        best = weight(batch.best_week_kg, names.units)
        yield f"{cut} is over 10 times the best week planned of {batch.id}, {best}"


def _loss(entry: Loss, names: Names) -> Iterator[str]:
    batch = names.batches.get(entry.batch)
    if batch and entry.parts and entry.parts > batch.parts:
        yield f"{batch.id} has {plural(batch.parts, 'part')}, not {entry.parts}"


def _fish_of(
    entry: Weigh | Deaths | FishHarvest, names: Names
) -> tuple[CohortName | None, float, float]:
    """Return the cohort in the entry's tank, and its expected mean weight and count. [g], [-]"""
    cohort = names.in_tank(entry.tank, entry.on)
    expected = cohort.expected(entry.on) if cohort else None
    return (cohort, expected[1], expected[2]) if expected else (cohort, 0.0, 0.0)


def _weigh(entry: Weigh, names: Names) -> Iterator[str]:
    yield from _mean(entry, entry.mean_g, names)
    _, _, count = _fish_of(entry, names)
    if count and entry.sampled and entry.sampled > count:
        yield f"{entry.sampled:,} weighed; {count:,.0f} fish are expected in {entry.tank}"


def _mean(entry: Weigh | FishHarvest, mean_g: float, names: Names) -> Iterator[str]:
    cohort, expected_g, _ = _fish_of(entry, names)
    if cohort is None:
        yield f"no fish are known to be in {entry.tank} on {entry.on}"
    elif expected_g and not expected_g / FACTOR < mean_g < expected_g * FACTOR:
        yield (
            f"{weight(mean_g / 1000, names.units)} each; the fish of {entry.tank} are expected"
            f" to weigh {weight(expected_g / 1000, names.units)} on {day_words(entry.on)}"
        )


def _deaths(entry: Deaths, names: Names) -> Iterator[str]:
    cohort, _, count = _fish_of(entry, names)
    if cohort is None:
        yield f"no fish are known to be in {entry.tank} on {entry.on}"
    elif count and entry.count > count / 2:
        yield f"{entry.count:,} dead, more than half of the {count:,.0f} fish in {entry.tank}"


def _fish_harvest(entry: FishHarvest, names: Names) -> Iterator[str]:
    yield from _mean(entry, 1000 * entry.kg / entry.count, names)
    _, _, count = _fish_of(entry, names)
    if count and entry.count > count:
        yield f"{entry.count:,} taken; {count:,.0f} fish are expected in {entry.tank}"


def _feed(entry: Feed, names: Names) -> Iterator[str]:
    tanks = [entry.tank] if entry.tank else list(names.tanks)
    held = [cohort for tank in tanks if (cohort := names.in_tank(tank, entry.on))]
    if not held:
        yield f"no fish are known to be in {entry.tank or 'any tank'} on {entry.on}"
    week_kg = sum(week[3] for cohort in held if (week := cohort.expected(entry.on)))
    if week_kg and entry.kg > FACTOR * week_kg:
        given, planned = weight(entry.kg, names.units), weight(week_kg, names.units)
        yield f"{given} of feed is over 3 times the plan's for that week, {planned}"


def _water(entry: WaterTest) -> Iterator[str]:
    for field, (low, high, text) in _WATER.items():
        value = getattr(entry, field)
        if value is not None and not low <= value <= high:
            side = f"under {low:g}" if value < low else f"over {high:g}"
            yield f"{text.format(figure(value))} is {side}; is that what the test showed?"


def _delivery(entry: Delivery, names: Names) -> Iterator[str]:
    line = names.lines.get(entry.line or "")
    if line and line.unit == entry.unit and entry.quantity > FACTOR * line.quantity:
        given = quantity(entry.quantity, entry.unit, names.units)
        ordered = quantity(line.quantity, line.unit, names.units)
        yield f"{given} is over 3 times the order of line {line.line}, {ordered}"
