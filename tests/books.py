"""Entries for tests of the book: one of each kind, and every one that there may be."""

from datetime import UTC, date, datetime
from typing import Any, get_args

from hypothesis import strategies as st

from planner import book
from planner.book import Book, Entry, Note
from planner.book.fields import FISH_STEPS
from planner.quantities import FIRST_DAY, LAST_DAY

DAY = date(2027, 3, 1)
NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)

ONE_OF_EACH: tuple[Entry, ...] = (
    book.Done(on=DAY, step="sow", batch="basil 2027-W09 a", planned_on=DAY, parts=3, who="grower"),
    book.Skipped(
        on=DAY, step="cut", batch="lettuce 2", until=date(2027, 3, 4), cause="the van was late"
    ),
    book.Harvest(on=DAY, crop="lettuce_bibb", kg=3.6, batch="lettuce 2", units=24, unit="head"),
    book.Loss(on=DAY, batch="lettuce 2", parts=2, cause="aphids"),
    book.Weigh(on=DAY, tank="tank 2", mean_g=210.5, sampled=20),
    book.Deaths(on=DAY, tank="tank 2", count=3, cause="unknown"),
    book.FishHarvest(on=DAY, tank="tank 1", count=40, kg=22.25, emptied=True),
    book.Feed(on=DAY, kg=4.2, tank="tank 1", note="=2+2 was on the bag"),
    book.WaterTest(on=DAY, ph=6.8, nitrate_n_mg_l=41.5, temperature_c=-0.5),
    book.Delivery(on=DAY, line="bibb-cafe", customer="cafe", crop="b", quantity=24, unit="head"),
    book.Note(on=DAY, text="the pump hums, “loudly”; 'tis new"),
)

LEDGER = {"sow/2027-03-01": ("abc", 2, "20270301T000000Z"), "cut/2027-03-02": ("d", 0, "x")}


def note(text: str, **more: Any) -> Note:
    return Note(on=DAY, text=text, **more)


def texts(book: Book, after: int = 0) -> dict[int, str]:
    return {
        recorded.number: getattr(recorded.entry, "text", "")
        for recorded in book.entries(after=after)
    }


_DAYS = st.dates(FIRST_DAY, LAST_DAY)
_SIGNS = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs"))
_WORDS = st.text(_SIGNS, max_size=30)
_NAMES = (
    st.text(_SIGNS, min_size=1, max_size=20) | st.sampled_from(["=A1", "-x", "'", "''+", "@"])
).filter(lambda text: text.replace("\ufeff", "").strip() != "")
_MG_L = st.floats(0, 2000)
_KG = st.floats(0, 1e5, exclude_min=True)
_AMOUNT = st.floats(0, 1e6, exclude_min=True)
_PARTS = st.integers(1, 400_000)
_FISH = st.integers(1, 1_000_000)

_BY_FIELD: dict[str, Any] = {
    "ph": st.floats(0, 14),
    "temperature_c": st.floats(-40, 60),
    "mean_g": st.floats(0, 1e5, exclude_min=True),
    "kg": _KG,
    "quantity": _AMOUNT,
    "parts": _PARTS,
    "count": _FISH,
    "sampled": _FISH,
    "last": st.booleans(),
    "emptied": st.booleans(),
    "cause": _WORDS,
    "text": _NAMES,
} | {name: _MG_L for name in book.WATER_FIGURES if name.endswith("mg_l")}


def _of(model: type[Entry], **changed: Any) -> st.SearchStrategy[Any]:
    needed, optional = dict[str, Any](), dict[str, Any]()
    for name, field in model.model_fields.items():
        if name in {"kind", "on", "who", "note", "corrects", *changed}:
            continue
        values = _BY_FIELD.get(name, _NAMES)
        (needed if field.is_required() else optional)[name] = values
    common = {"on": _DAYS, "who": _WORDS, "note": _WORDS}
    fields = st.fixed_dictionaries({**needed, **common, **changed}, optional=optional)
    return fields.map(lambda given: model(**given))


def _steps(model: type[Entry]) -> st.SearchStrategy[Any]:
    """Steps with what goes with them."""
    when = {"planned_on": st.none() | _DAYS}
    if model is book.Skipped:
        when |= {"on": st.dates(FIRST_DAY, DAY), "until": st.none() | st.dates(DAY, LAST_DAY)}
    plants = {"count": st.none(), "tank": st.none(), "parts": st.none() | _PARTS}
    fish = {"count": st.none() | _FISH, "tank": st.none() | _NAMES, "parts": st.none()}
    water = {"count": st.none(), "tank": st.none() | _NAMES, "parts": st.none()}
    own = [plants, fish, water] if model is book.Done else [{}, {}, {}]
    return st.one_of(
        _of(
            model,
            **when,
            **own[0],
            step=st.sampled_from(["sow", "set out", "cut", "clear"]),
            batch=_NAMES,
        ),
        _of(model, **when, **own[1], step=st.sampled_from(FISH_STEPS), batch=_NAMES),
        _of(model, **when, **own[2], step=st.just("water"), batch=st.just("") | _NAMES),
    )


def _harvests() -> st.SearchStrategy[Any]:
    counted = _of(book.Harvest, units=_AMOUNT, unit=_NAMES, batch=_NAMES)
    return counted | _of(
        book.Harvest, units=st.none(), unit=st.none(), batch=st.none(), last=st.just(False)
    )


ENTRIES: st.SearchStrategy[Entry] = st.one_of(
    _steps(book.Done),
    _steps(book.Skipped),
    _harvests(),
    _of(book.WaterTest, ph=st.floats(0, 14)),
    *(
        _of(model)
        for model in get_args(Entry)
        if model not in (book.Done, book.Skipped, book.Harvest, book.WaterTest, book.Void)
    ),
)
