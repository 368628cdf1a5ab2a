"""A farm of a short season, planned in a second: for tests of one plan after another."""

import shutil
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from planner import planning
from planner.book import Entry, open_book
from planner.document import BatchDoc, PlanDoc
from planner.planning import Bundle
from planner.season.effort import Effort
from tests.farms import FARM_TOML, write_small_farm

MONDAY = date(2027, 3, 1)  # the farm's plan date
HORIZON_WEEKS = 16
QUICK = Effort(work=0)

RULES = """\
[weights]
change_part = 5.0
change_fish = 0.5

[rules]
horizon_weeks = 16
tail_weeks = 4
freeze_weeks = 1

[labour]"""
CROPS = """\
crops = [
    "lettuce_butterhead",
    "lettuce_romaine",
    "basil_genovese",
    "swiss_chard",
    "tomato_cherry_indet",
]
"""
GRAVEL = """\
[[zone]]
name = "north gravel"
method = "media_bed"
places = 4
area = "16 ft2"
parts = 2

"""
SHORT: Mapping[str, str] = {
    CROPS: 'crops = ["lettuce_butterhead", "basil_genovese"]\n',
    GRAVEL: "",
    "[labour]": RULES,
}
ORDERS_CSV = """\
line,customer,crop,unit,quantity,first_week,last_week,every_weeks,weekdays,priority,price,tolerance,may_be_cut
A1,Corner bistro,lettuce_butterhead,head,14,2027-03-22,2028-02-28,1,tue;fri,1,2.50,0.1,yes
A3,Corner bistro,basil_genovese,kg,0.5,2027-06-07,2028-02-28,1,fri,1,30,0.1,yes
A6,School kitchen,tilapia_nile,kg,4,2027-06-07,2028-02-28,4,fri,2,12.00,0.2,yes
"""
OUTLETS_CSV = """\
outlet,crop,most_per_week,price_kg
Farm stand,lettuce_butterhead,3,4.00
Farm stand,basil_genovese,1,18.00
Farm stand,tilapia_nile,6,8.00
"""
GROWING_CSV = """\
id,crop,zone,parts,places,sow,transplant,first_cut,as_of
G1,lettuce_butterhead,rafts,2,1,2027-01-04,2027-01-25,,2027-02-26
G4,basil_genovese,towers,2,1 2,2027-01-11,2027-02-01,,2027-02-26
T1,lettuce_butterhead,rafts,1,,2027-02-15,,,2027-02-26
"""


def write_short_farm(folder: Path, *, toml: Mapping[str, str] | None = None, **files: Any) -> Path:
    """Write the farm; `toml` are texts of farm.toml to replace, after it was made short."""
    text = FARM_TOML
    for old, new in [*SHORT.items(), *(toml or {}).items()]:
        if old not in text:
            raise ValueError(f"farm.toml does not hold {old!r}")
        text = text.replace(old, new)
    own = {"orders_csv": ORDERS_CSV, "outlets_csv": OUTLETS_CSV, "growing_csv": GROWING_CSV}
    return write_small_farm(folder, farm_toml=text, **(own | files))


def noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def planned(folder: Path, day: date = MONDAY, **more: Any) -> Bundle:
    """Plan on a day with little effort; keeps nothing."""
    return planning.make_plan(folder, today=day, plan_date=day, effort=QUICK, **more)


def kept(folder: Path, day: date = MONDAY, **more: Any) -> Bundle:
    """Plan on a day and keep the plan in the book."""
    bundle = planned(folder, day, **more)
    planning.keep(folder, bundle, now=noon(day))
    return bundle


def written(folder: Path, day: date = MONDAY, **more: Any) -> Bundle:
    """Plan on a day, keep the plan and write it to the farm's folder `plan`."""
    bundle = planned(folder, day, **more)
    planning.write(folder, bundle, folder / "plan", now=noon(day))
    return bundle


def record(folder: Path, day: date, *entries: Entry) -> tuple[int, ...]:
    with open_book(folder / "book.db", create=True) as book:
        return book.record(entries, now=noon(day))


def copied(folder: Path, target: Path) -> Path:
    shutil.copytree(folder, target)
    return target


def start_of(batch: BatchDoc) -> date:
    """The day on which a batch is set out, or sown in place."""
    return date.fromisoformat(batch["transplant"] or batch["sow"])


def coming(document: PlanDoc) -> list[BatchDoc]:
    """The batches that are still to be sown."""
    return [batch for batch in document["batches"] if batch["state"] == "planned"]


def content(folder: Path) -> dict[str, bytes]:
    """Every file under a folder, by name."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
