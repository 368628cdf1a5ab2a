"""The book: what was done, cut, weighed, tested and lost, and every plan; one SQLite file.

`open_book` is its door. What is entered stays: a correction is an entry of its own that names the
one it replaces.
"""

from planner.book.entries import (
    KINDS,
    STEPS,
    WATER_FIGURES,
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
    entry_or_faults,
    read_entry,
)
from planner.book.rows import KeptPlan
from planner.book.sheets import read_csv, write_csv
from planner.book.store import Book, open_book
from planner.book.troubles import BookError

__all__ = [
    "KINDS",
    "STEPS",
    "WATER_FIGURES",
    "Book",
    "BookError",
    "Deaths",
    "Delivery",
    "Done",
    "Entry",
    "Feed",
    "FishHarvest",
    "Harvest",
    "KeptPlan",
    "Loss",
    "Note",
    "Recorded",
    "Skipped",
    "Void",
    "WaterTest",
    "Weigh",
    "entry_or_faults",
    "open_book",
    "read_csv",
    "read_entry",
    "write_csv",
]
