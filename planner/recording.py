"""What a grower says becomes an entry of the book: the same for the command and for a form.

A form is a mapping of texts by field. Names are forgiving (see `farmnames`), amounts carry their
units (see `amounts`), and every fault is told at once.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from types import MappingProxyType

from planner import recorddoubts
from planner.amounts import amount_of, weight_in
from planner.book import KINDS, WATER_FIGURES, Entry
from planner.book.entries import entry_or_faults
from planner.errors import InputError, nearest
from planner.farmnames import BatchName, CohortName, Names
from planner.finding import found
from planner.quantities import to_count, to_unit
from planner.recordreader import Reader
from planner.wording import shown
from planner.words import plural

N_IN_NITRATE = 14.007 / 62.005  # g N per g NO3, by the atomic masses of N and O

_COMMON = ("on", "who", "note", "corrects")
_OF_STEP = ("step", "batch", "planned_on")
FIELDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        kind: (*own, *_COMMON)
        for kind, own in {
            "done": (*_OF_STEP, "parts", "count", "tank"),
            "skipped": (*_OF_STEP, "until", "cause"),
            "harvest": ("what", "crop", "batch", "amount", "unit", "kg", "lot_code", "last"),
            "loss": ("batch", "parts", "cause"),
            "weigh": ("tank", "mean", "unit", "mean_g", "total", "sampled"),
            "deaths": ("tank", "count", "cause"),
            "fish_harvest": ("tank", "count", "amount", "unit", "kg", "emptied"),
            "feed": ("amount", "unit", "kg", "tank"),
            "water_test": (*WATER_FIGURES, "nitrate_as_no3"),
            "delivery": ("to", "line", "customer", "crop", "amount", "unit", "batch"),
            "note": ("text",),
            "void": (),
        }.items()
    }
)
STEP_WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "sow": ("sow", "sown", "seed"),
        "set out": ("set out", "setout", "transplant", "plant out"),
        "ripe": ("ripe", "ready"),
        "cut": ("cut", "harvest", "pick"),
        "clear": ("clear", "pull out"),
        "order": ("order", "ordered"),
        "stock": ("stock",),
        "take": ("take out",),
        "empty": ("empty", "emptied"),
        "water": ("water test", "test water"),
    }
)
_FISH_STEPS = ("order", "stock", "take", "empty")


def entry_from_form(
    kind: str, form: Mapping[str, str], names: Names, today: date
) -> tuple[Entry, tuple[str, ...]]:
    """Return the entry that a form spells, and what the grower should look at twice.

    Parameters
    ----------
    kind
        One of the book's kinds, such as `harvest`.
    form
        Texts by field; the fields of each kind are in `FIELDS`. A blank one is as one left out.
        A field named after a unit (`kg`, `mean_g`) takes a number alone as that unit; `amount`,
        `mean` and `total` need a unit, in the text or in the field `unit`. A temperature alone
        is in the degrees that the grower reads.
    today
        The day taken when `on` is left out; no day after it is taken.

    Raises
    ------
    InputError
        Lists every fault: names not known, amounts without unit, figures out of range ...
    """
    if kind not in KINDS:
        hint = nearest(kind, KINDS) or f"; the kinds are {', '.join(KINDS)}"
        raise InputError([f"there is no kind of record {shown(kind)}{hint}"])
    reader = Reader(form, names, today)
    for field in form:
        if field not in FIELDS[kind]:
            hint = nearest(field, FIELDS[kind]) or f"; {kind} has {', '.join(FIELDS[kind])}"
            reader.faults.append(f"unknown field {shown(field)}{hint}")
    reader.read_day()
    reader.keep("who", "note", "corrects")
    _READERS[kind](reader)
    entry, more = entry_or_faults(kind, reader.given, today=today)
    faults = [*reader.faults, *(fault for fault in more if not reader.knows(fault))]
    if entry is None or faults:
        raise InputError(list(dict.fromkeys(faults)))
    return entry, (*reader.said, *recorddoubts.doubts(entry, names, today))


def step_and_batch(words: Sequence[str]) -> tuple[str, str]:
    """Return the step and the batch that words name, such as `set out board-a`."""
    two = " ".join(words[:2])
    known = {label for labels in STEP_WORDS.values() for label in labels}
    first = 2 if len(words) > 1 and two.casefold().replace("-", " ") in known else 1
    return " ".join(words[:first]), " ".join(words[first:])


def _step(text: str) -> str:
    return found(text, "step", STEP_WORDS)


def _read_step(reader: Reader) -> None:
    step = reader.read("step", _step, "step", needed=f"a step: {', '.join(STEP_WORDS)}")
    names = reader.names
    if step == "water":
        if "batch" in reader.form:
            reader.fault("batch", "batch is given; the water's jobs are of no batch")
        reader.planned_on([("water", day) for day in names.water_jobs], "water")
    elif step in _FISH_STEPS:
        field = "tank" if "tank" in reader.form and "batch" not in reader.form else "batch"
        cohort = reader.read(
            field, lambda text: _cohort(text, step, reader), needed="the tank, or the fish's id"
        )
        if cohort is None:
            reader.wrong("batch")
            return
        reader.given["batch"] = cohort.id
        reader.planned_on(cohort.steps, step)
    else:
        how = names.lot if step is None else names.batch
        batch = reader.read("batch", how, "batch", needed="a batch")
        known = names.batches.get(batch or "")
        reader.planned_on(known.steps if known else (), step)


def _cohort(text: str, step: str, reader: Reader) -> CohortName:
    """Return the fish that a text means: their id, or a tank in which that step is planned."""
    cohorts = reader.names.cohorts
    labels = {id: (id,) for id in cohorts} | {tank: (tank,) for tank in reader.names.tanks}
    key = found(text, "tank or cohort", labels)
    if key in cohorts:
        return cohorts[key]
    held = [cohort for cohort in cohorts.values() if cohort.tank == key]
    days = [(abs((day - reader.on).days), c) for c in held for name, day in c.steps if name == step]
    if days:
        return min(days, key=lambda pair: pair[0])[1]
    if step == "order":  # those on order, which are planned no more
        ahead = [(cohort.stock, cohort) for cohort in held if cohort.stock is not None]
        ahead = [pair for pair in ahead if pair[0] > reader.on]
        if not ahead:
            raise ValueError(f"no fish are to come to {key} after {reader.on}")
        return min(ahead, key=lambda pair: pair[0])[1]
    cohort = reader.names.in_tank(key, reader.on)
    if cohort is None:
        raise ValueError(f"no fish are known to be in {key} on {reader.on}")
    return cohort


def _read_done(reader: Reader) -> None:
    _read_step(reader)
    reader.keep("parts", "count")
    if reader.given.get("step") in _FISH_STEPS:
        cohort = reader.names.cohorts.get(str(reader.given.get("batch")))
        if "tank" in reader.form:
            reader.tank()
        elif cohort is not None:
            reader.given["tank"] = cohort.tank
    elif "tank" in reader.form:
        reader.tank()


def _read_skipped(reader: Reader) -> None:
    _read_step(reader)
    reader.keep("until", "cause")


def _read_harvest(reader: Reader) -> None:
    names = reader.names
    if "what" in reader.form and not {"crop", "batch"} & reader.form.keys():
        meant = reader.read("what", names.batch_or_crop)
        batch, crop = meant if meant else (None, None)
        reader.given |= {"batch": batch, "crop": crop}
    else:
        batch = reader.read("batch", names.batch, "batch")
        crop = reader.read("crop", names.crop, "crop")
        if batch is not None and crop not in (None, names.batches[batch].crop):
            own = names.batches[batch].crop
            reader.fault("crop", f"crop is {shown(crop)}; batch {shown(batch)} is {shown(own)}")
        if batch is not None:
            crop = reader.given["crop"] = names.batches[batch].crop
    if crop is None:
        if not {"what", "crop", "batch"} & reader.form.keys():
            reader.fault("crop", "crop is missing; give a crop or a batch")
        reader.wrong("crop")
    elif batch is None and "batch" not in reader.form:
        _choose_batch(crop, reader)
    _read_amount(crop, reader)
    reader.keep("lot_code", "last")


def _choose_batch(crop: str, reader: Reader) -> None:
    """Take the only batch of a crop that may be cut; say what was taken, or why none was."""
    ready: tuple[BatchName, ...] = reader.names.to_be_cut(crop, reader.on)
    spoken = reader.names.spoken.get(crop, crop)
    if len(ready) == 1:
        reader.given["batch"] = ready[0].id
        reader.said.append(f"taken as batch {ready[0].id}, the only {spoken} that may be cut")
    elif ready:
        ids = ", ".join(batch.id for batch in ready)
        reader.said.append(
            f"entered without a batch; {len(ready)} of {spoken} may be cut ({ids}): name one"
        )
    else:
        reader.said.append(f"entered without a batch; no {spoken} is known to be ready by then")


def _read_amount(crop: str | None, reader: Reader) -> None:
    """Keep what was cut, as a weight and as units where they were counted."""
    if "amount" not in reader.form:
        if "kg" in reader.form:
            reader.weight_kg("")
        else:
            reader.fault("kg", 'amount is missing; give it such as "2.4 kg" or "24 heads"')
        return
    unit = reader.form.get("unit", "")
    amount = reader.read("amount", lambda text: amount_of(text, unit))
    if amount is None:
        reader.wrong("kg")
        return
    if amount.unit == "kg":
        reader.weight_kg("")
        return
    reader.given |= {"units": amount.number, "unit": amount.unit}
    row = reader.names.crops.get(crop or "")
    if "kg" in reader.form:
        reader.read("kg", lambda text: weight_in(text, "kg", "kg"), "kg")
    elif row is not None and row.yield_unit == amount.unit:
        reader.given["kg"] = round(amount.number * row.kg_per_unit, 6)
    elif row is not None:
        counted = plural(amount.number, amount.unit)
        reader.fault(
            "kg",
            f"amount is {counted}; the crop table has {row.id} by the {row.yield_unit}, so give"
            " the weight too (kg)",
        )
    else:
        reader.wrong("kg")


def _read_loss(reader: Reader) -> None:
    reader.read("batch", reader.names.batch, "batch", needed="a batch")
    if reader.form.get("parts", "").casefold() != "all":
        reader.keep("parts")
    reader.keep("cause")


def _read_weigh(reader: Reader) -> None:
    reader.tank()
    reader.keep("sampled")
    unit = reader.form.get("unit", "")
    if {"mean_g", "total"} & reader.form.keys() and "mean" in reader.form:
        reader.fault("mean_g", "the weight is given twice; give the mean, or the total")
    elif "mean_g" in reader.form:
        reader.read("mean_g", lambda text: weight_in(text, "g", "g"), "mean_g")
    elif "total" in reader.form:
        total_g = reader.read("total", lambda text: weight_in(text, "g", unit))
        sampled = reader.read("sampled", _fish_count, needed="how many fish the total is of")
        if total_g is None or sampled is None:
            reader.wrong("mean_g")
        else:
            reader.given["mean_g"] = round(total_g / sampled, 6)
    else:
        reader.read(
            "mean",
            lambda text: weight_in(text, "g", unit),
            "mean_g",
            needed='the mean weight such as "210 g"',
        )


def _fish_count(text: str) -> int:
    count = to_count(text)
    if not isinstance(count, int) or count < 1:
        raise ValueError("give a whole number of at least 1")
    return count


def _read_deaths(reader: Reader) -> None:
    reader.tank()
    reader.keep("count", "cause")


def _read_fish_harvest(reader: Reader) -> None:
    reader.tank()
    reader.keep("count", "emptied")
    reader.weight_kg('the weight of the fish together, such as "12 kg"')


def _read_feed(reader: Reader) -> None:
    reader.tank(needed=False)
    reader.weight_kg('the weight of the feed, such as "1.2 kg"')


def _read_water(reader: Reader) -> None:
    reader.keep(*WATER_FIGURES)
    degrees = reader.form.get("temperature_c", "")
    if reader.names.units == "us" and degrees[-1:].isdigit():  # a number alone
        reader.given["temperature_c"] = f"{degrees} degF"
    if "nitrate_as_no3" not in reader.form:
        return
    if "nitrate_n_mg_l" in reader.form:
        reader.fault("nitrate_n_mg_l", "nitrate is given twice, as N and as NO3; give it once")
        return
    no3 = reader.read("nitrate_as_no3", lambda text: to_unit(text, "mg/L"))
    if no3 is None:
        reader.wrong("nitrate_n_mg_l")
    else:
        reader.given["nitrate_n_mg_l"] = round(no3 * N_IN_NITRATE, 3)


def _read_delivery(reader: Reader) -> None:
    names = reader.names
    line = reader.read("line", names.line)
    if "to" in reader.form:  # an order line, or any customer of what is said to be delivered
        if "crop" in reader.form and not names.is_line(reader.form["to"]):
            reader.given["customer"] = reader.form["to"]
        else:
            line = reader.read("to", names.line)
    if line is None and {"line", "to"} & reader.form.keys() and "customer" not in reader.given:
        reader.wrong("customer", "crop")
    batch = reader.read("batch", names.lot, "batch")
    crop = reader.read("crop", names.product, "crop")
    reader.keep("customer")
    if line is not None:
        reader.given["line"] = line.line
        reader.given.setdefault("customer", line.customer)
    if crop is None and "crop" not in reader.form:
        own = names.batches.get(batch or "") or names.cohorts.get(batch or "")
        if own is not None:
            crop = own.crop if isinstance(own, BatchName) else own.species
        elif line is not None and len(line.crops) == 1:
            crop = line.crops[0]
        elif line is not None:
            reader.fault(
                "crop", f"crop is missing; line {line.line} may be {' or '.join(line.crops)}"
            )
        reader.given["crop"] = crop
    if line is not None and crop is not None and crop not in line.crops:
        reader.said.append(f"{crop} is not what line {line.line} asks for")
    counted = "" if line is None or line.unit == "kg" else line.unit
    unit = reader.form.get("unit", counted)
    amount = reader.read(
        "amount", lambda text: amount_of(text, unit), needed='how much, such as "12 heads"'
    )
    if amount is None:
        reader.wrong("quantity", "unit")
    else:
        reader.given |= {"quantity": amount.number, "unit": amount.unit}


_READERS: Mapping[str, Callable[[Reader], None]] = {
    "done": _read_done,
    "skipped": _read_skipped,
    "harvest": _read_harvest,
    "loss": _read_loss,
    "weigh": _read_weigh,
    "deaths": _read_deaths,
    "fish_harvest": _read_fish_harvest,
    "feed": _read_feed,
    "water_test": _read_water,
    "delivery": _read_delivery,
    "note": lambda reader: reader.keep("text"),
    "void": lambda reader: None,
}
