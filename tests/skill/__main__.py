"""Measure the skill of the forecast: `python -m tests.skill [--farms N] [--out FILE]`.

Half a minute of one core for each farm in each of four cases.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.skill.simulate import Lived, live, order_chances, world
from tests.skill.tables import Measured, report

CASES = (  # name, size of the truth's spread, share of ripeness noted, cuts put off are noted
    ("sizes as shipped", 1.0, 1.0, True),
    ("harvests and cuts put off noted", 1.0, 0.0, True),
    ("only harvests noted", 1.0, 0.0, False),
    ("truth's spread × 1.5", 1.5, 1.0, True),
)
ORDER_FARMS = 40
FIRST_SEED = 3000  # no farm that was looked at while this was written


def _live(task: tuple[float, float, bool, int]) -> Lived:
    size, notes_ripe, puts_off, seed = task
    return live(world(), seed, size=size, notes_ripe=notes_ripe, puts_off=puts_off)


def main(given: Sequence[str] | None = None) -> None:
    """Print the tables, or write them to a file."""
    parser = argparse.ArgumentParser(prog="python -m tests.skill", description=__doc__)
    parser.add_argument("--farms", type=int, default=12, help="simulated farms in each case")
    parser.add_argument("--jobs", type=int, default=2, help="processes at a time")
    parser.add_argument("--out", type=Path, help="file to write; else the tables are printed")
    chosen = parser.parse_args(given)
    seeds = range(FIRST_SEED, FIRST_SEED + chosen.farms)
    tasks = [(*case[1:], seed) for case in CASES for seed in seeds]
    with ProcessPoolExecutor(chosen.jobs) as pool:
        lived = dict(zip(tasks, pool.map(_live, tasks), strict=True))
    here = world()
    orders = range(FIRST_SEED, FIRST_SEED + ORDER_FARMS)
    measured = [
        Measured(
            name=name,
            farms=[lived[size, notes, puts_off, seed] for seed in seeds],
            chances=order_chances(here, orders, size=size) if notes else (),
        )
        for name, size, notes, puts_off in CASES
    ]
    text = report(measured)
    if chosen.out is None:
        print(text)
    else:
        chosen.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
