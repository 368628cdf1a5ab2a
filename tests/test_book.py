"""The book keeps what is entered, corrections beside what they correct, and every plan."""

import tempfile
import threading
from collections.abc import Iterator
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner import book as books
from planner.book import KINDS, Book, BookError, Entry, Feed, Void, open_book, read_entry
from planner.errors import InputError
from tests.books import DAY, ENTRIES, LEDGER, NOW, ONE_OF_EACH, note, texts


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book.db"


@pytest.fixture
def book(path: Path) -> Iterator[Book]:
    with open_book(path, create=True) as book:
        yield book


def faults(kind: str, **fields: object) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_entry(kind, fields, today=DAY)
    return list(caught.value.faults)


# what an entry may say


def test_every_kind_has_one_example_here_but_the_void() -> None:
    assert [entry.kind for entry in ONE_OF_EACH] == [kind for kind in KINDS if kind != "void"]
    assert tuple(KINDS.values()) == get_args(Entry)


def test_texts_become_an_entry_and_quantities_may_carry_their_unit() -> None:
    entry = read_entry(
        "harvest", {"on": "2027-03-01", "crop": " basil ", "kg": "5 lb", "unit": " "}, today=DAY
    )
    assert entry == books.Harvest(on=DAY, crop="basil", kg=5 * 0.45359237)


def test_a_warm_water_test_is_kept_in_celsius() -> None:
    entry = read_entry("water_test", {"on": DAY, "temperature_c": "77 degF"}, today=DAY)
    assert isinstance(entry, books.WaterTest)
    assert entry.temperature_c == pytest.approx(25)


def test_a_text_of_many_lines_is_put_on_one() -> None:
    assert note("the pump\r\n\thums ").text == "the pump hums"


def test_every_fault_of_an_entry_is_told_at_once() -> None:
    assert faults("harvest", on="2027-03-02", kg="-2 lb", corect="3") == [
        "crop is missing; give a text of 1 to 200 characters",
        'kg is "-2 lb"; give a number above 0, at most 100,000 kg',
        'unknown key "corect"; did you mean "corrects"?',
        "on is 2027-03-02; give the day it happened, not after today, 2027-03-01",
    ]


def test_a_wrong_kind_is_told_with_the_nearest() -> None:
    assert faults("harvst") == ['kind is "harvst"; give a kind of entry; did you mean "harvest"?']


@pytest.mark.parametrize(
    ("kind", "fields", "said"),
    [
        ("done", {"step": "sow"}, "batch is missing"),
        ("done", {"step": "sow", "batch": "a", "count": 3}, "only fish are counted"),
        ("done", {"step": "cut", "batch": "a", "tank": "t"}, "in no tank"),
        ("done", {"step": "take", "batch": "a", "parts": 2}, "no parts"),
        ("done", {"step": "sew", "batch": "a"}, 'did you mean "sow"'),
        ("skipped", {"step": "cut", "batch": "a", "until": "2027-02-28"}, "not before"),
        ("harvest", {"crop": "a", "kg": 1, "units": 24}, "unit is missing"),
        ("harvest", {"crop": "a", "kg": 1, "unit": "head"}, "units is missing"),
        ("harvest", {"crop": "a", "kg": 1, "last": "yes"}, "batch is missing"),
        ("harvest", {"crop": "a", "kg": float("nan")}, "kg is nan"),
        ("water_test", {}, "at least one of ph, tan_mg_l"),
        ("water_test", {"ph": 15}, "from 0 to 14"),
        ("deaths", {"tank": "t", "count": 0}, "from 1 to"),
        ("deaths", {"tank": "t", "count": "2.5"}, "a whole number"),
        ("note", {"text": "bell \a"}, "without control characters"),
        ("note", {}, "text is missing"),
        ("void", {}, "corrects is missing"),
    ],
)
def test_what_does_not_go_together_is_told(kind: str, fields: dict[str, Any], said: str) -> None:
    found = faults(kind, on=DAY, **fields)
    assert len(found) == 1
    assert said in found[0]


def test_a_job_of_the_water_needs_no_batch() -> None:
    entry = read_entry("done", {"on": DAY, "step": "water", "batch": ""}, today=DAY)
    assert isinstance(entry, books.Done)
    assert entry.batch == ""


# entering and reading


def test_what_is_entered_is_there_after_closing(path: Path) -> None:
    with open_book(path, create=True) as book:
        assert book.record(ONE_OF_EACH, now=NOW) == tuple(range(1, len(ONE_OF_EACH) + 1))
    with open_book(path) as book:
        assert tuple(recorded.entry for recorded in book.everything()) == ONE_OF_EACH
        assert {recorded.written_at for recorded in book.everything()} == {NOW}
        assert book.highest() == len(ONE_OF_EACH)
        book.check()


@settings(max_examples=60, deadline=None)
@given(entries=st.lists(ENTRIES, max_size=6))
def test_any_entries_come_back_as_they_were(entries: list[Entry]) -> None:
    with (
        tempfile.TemporaryDirectory() as folder,
        open_book(Path(folder, "book.db"), create=True) as book,
    ):
        book.record(entries, now=NOW)
        assert [recorded.entry for recorded in book.everything()] == entries


def test_a_new_book_is_empty(book: Book) -> None:
    assert (book.everything(), book.entries(), book.highest()) == ((), (), 0)
    assert (book.plan_in_force(), book.plans(), book.ledger(), book.tokens()) == (None, (), {}, {})
    book.check()


def test_the_time_is_kept_in_utc(book: Book) -> None:
    there = NOW.astimezone(timezone(timedelta(hours=-5)))
    book.record([note("a")], now=there)
    assert book.everything()[0].written_at.isoformat() == "2027-03-01T08:30:00+00:00"
    with pytest.raises(ValueError, match="time zone"):
        book.record([note("b")], now=datetime(2027, 3, 1))
    assert book.highest() == 1


def test_a_key_that_was_sent_before_enters_nothing_and_gives_the_same_numbers(book: Book) -> None:
    first = book.record([note("a"), note("b")], now=NOW, key="form 1")
    assert book.record([note("a"), note("b")], now=NOW, key="form 1") == first == (1, 2)
    assert book.record([note("a")], now=NOW, key="form 2") == (3,)
    assert book.record([note("a")], now=NOW) == (4,)
    assert book.highest() == 4


def test_two_threads_may_use_one_open_book(book: Book) -> None:
    def work(name: str) -> None:
        for n in range(20):
            book.record([note(f"{name} {n}")], now=NOW)

    threads = [threading.Thread(target=work, args=(name,)) for name in "abc"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    said = {getattr(recorded.entry, "text", "") for recorded in book.everything()}
    assert said == {f"{name} {n}" for name in "abc" for n in range(20)}


# corrections


def test_a_correction_stands_for_what_it_corrects(book: Book) -> None:
    book.record([note("a"), note("b")], now=NOW)
    book.record([note("a, really", corrects=1)], now=NOW)
    assert texts(book) == {2: "b", 3: "a, really"}
    book.record([note("a, at last", corrects=3)], now=NOW)
    assert texts(book) == {2: "b", 4: "a, at last"}
    assert texts(book, after=2) == {4: "a, at last"}
    assert len(book.everything()) == 4


def test_a_void_takes_an_entry_away_and_is_not_listed(book: Book) -> None:
    book.record([note("a"), note("b"), Void(on=DAY, corrects=1)], now=NOW)
    assert texts(book) == {2: "b"}
    assert book.highest() == 3


def test_taking_a_correction_away_does_not_bring_the_first_entry_back(book: Book) -> None:
    book.record([note("a"), note("b", corrects=1), Void(on=DAY, corrects=2)], now=NOW)
    assert texts(book) == {}


def test_an_entry_may_be_corrected_by_one_of_another_kind(book: Book) -> None:
    book.record([note("4 kg of feed"), Feed(on=DAY, kg=4, corrects=1)], now=NOW)
    assert [recorded.entry.kind for recorded in book.entries()] == ["feed"]


def test_a_correction_of_what_does_not_hold_is_refused_and_nothing_is_entered(book: Book) -> None:
    book.record([note("a"), note("b", corrects=1), note("c"), Void(on=DAY, corrects=3)], now=NOW)
    wrong = [note("x", corrects=n) for n in (1, 3, 4, 99)]
    with pytest.raises(InputError) as caught:
        book.record([note("good"), *wrong, note("y", corrects=9)], now=NOW, key="k")
    assert caught.value.faults == (
        "corrects is 1; that entry was replaced by entry 2, correct that one",
        "corrects is 3; that entry was taken away by entry 4, enter it anew",
        "corrects is 4; that only took another entry away, enter that one anew instead",
        "corrects is 99; there is no such entry, the newest is 5",
        "corrects is 9; there is no such entry, the newest is 5",
    )
    assert book.highest() == 4
    assert book.record([note("good")], now=NOW, key="k") == (5,)


@settings(max_examples=60, deadline=None)
@given(steps=st.lists(st.tuples(st.booleans(), st.integers(0, 12)), max_size=20))
def test_whatever_is_corrected_what_holds_was_entered_once(steps: list[tuple[bool, int]]) -> None:
    """Against a plain reckoning: a set of what holds."""
    holds = set[int]()
    number = 0
    with (
        tempfile.TemporaryDirectory() as folder,
        open_book(Path(folder, "book.db"), create=True) as book,
    ):
        for void, old in steps:
            corrects = old or None
            if void and corrects is None:
                continue
            entry = Void(on=DAY, corrects=old) if void else note("n", corrects=corrects)
            if corrects is not None and corrects not in holds:
                with pytest.raises(InputError):
                    book.record([entry], now=NOW)
                continue
            (number,) = book.record([entry], now=NOW)
            holds -= {old}
            holds |= set() if void else {number}
        assert {recorded.number for recorded in book.entries()} == holds
        assert book.highest() == number


# plans, ledger, tokens


def test_the_newest_plan_is_in_force_and_all_are_kept(book: Book) -> None:
    assert book.keep_plan('{"a": "°"}', made_on=DAY, now=NOW, ledger=LEDGER) == 1
    assert book.keep_plan("{}", made_on=date(2027, 3, 8), now=NOW, ledger={}) == 2
    newest = book.plan_in_force()
    assert newest == books.KeptPlan(number=2, made_on=date(2027, 3, 8), kept_at=NOW, text="{}")
    assert [plan.text for plan in book.plans()] == ['{"a": "°"}', "{}"]
    assert book.ledger() == {}


def test_a_plan_and_its_ledger_are_kept_together_or_not_at_all(book: Book) -> None:
    book.keep_plan("{}", made_on=DAY, now=NOW, ledger=LEDGER)
    with pytest.raises(BookError):
        book.keep_plan("[]", made_on=DAY, now=NOW, ledger={"k": ("d", -1, "x")})
    assert book.ledger() == LEDGER
    assert len(book.plans()) == 1


def test_a_kept_ledger_takes_the_place_of_the_one_before(book: Book) -> None:
    book.keep_ledger(LEDGER)
    assert book.ledger() == LEDGER
    book.keep_ledger({"k": ("d", 7, "x")})
    assert book.ledger() == {"k": ("d", 7, "x")}


def test_only_the_newest_token_of_a_name_matches_and_only_its_hash_is_kept(
    book: Book, path: Path
) -> None:
    book.new_token("page", "secret-one", now=NOW)
    book.new_token("record", "secret-two", now=NOW)
    assert book.token_matches("page", "secret-one")
    for wrong in ("secret-two", "Secret-one", "secret-on", "", "é", "\ud800"):
        assert not book.token_matches("page", wrong)
    assert not book.token_matches("other", "secret-one")
    assert not book.token_matches("other", "")
    later = NOW + timedelta(days=1)
    book.new_token("page", "secret-three", now=later)
    assert not book.token_matches("page", "secret-one")
    assert book.token_matches("page", "secret-three")
    assert book.tokens() == {"page": later, "record": NOW}
    kept = b"".join(file.read_bytes() for file in path.parent.iterdir())
    assert b"secret-" not in kept
