"""The measured skill as tables in Markdown."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import numpy as np

from tests.skill.measures import Ranged
from tests.skill.published import foretold
from tests.skill.rivals import FACTORS, LASTING, OURS, TABLE, Errors, errors
from tests.skill.simulate import Chance, Lived

YEAR = timedelta(weeks=52)
KINDS = {
    "kg": "kilograms of a crop and week",
    "date": "day of a batch's first cut",
    "yield": "kilograms of a batch",
    "fish": "mean weight of fish",
}
YEARS = ("before any record", "first season, learning on the way", "second season")
CHANCES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.95, 1.01)
AHEAD_WEEKS = 2

ANCHORS = (
    (
        "lettuce, day of harvest",
        "2.35 days off on average; 3.5 days was the target",
        "Nakano, Fujii, Koyama, Uno: The Horticulture Journal 94(4):472-482, 2025 (abstract)",
        "six plots in the field, from images of the crop two to three weeks after planting and a "
        "weather forecast; here from the day of setting out, with no look at the crop",
    ),
    (
        "fruit, kilograms of a week",
        "tomato, an average accuracy of 90 %",
        "Qaddoum, Hines, Iliescu: ISRN Artificial Intelligence 2013, 430986 (abstract)",
        "one large nursery that learned from five years of its own climate and yields; here a few "
        "half beds, one year of records, and no climate of the house is read",
    ),
    (
        "fruit, kilograms of two weeks",
        "sweet pepper 11.7 % (root mean square, 14 days ahead, whole greenhouse)",
        "Acta Horticulturae 674, article 46, 375-380 (abstract)",
        "the fruit on the plants was counted by colour; here nothing is counted",
    ),
    (
        "fish, weight",
        "biomass of 240 pens of salmon 5.1 % off on average at harvest, one in ten by over 10 %",
        "abstract of a study of three producers in mid-Norway, 2013 (Aquacultural Engineering, "
        "from memory)",
        "large pens, counted and weighed by producers at the harvest; here tanks of 34 fish, 20 of "
        "them weighed each month, and weights weeks ahead",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Farms that lived in one case, and orders foretold before any record, if any."""

    name: str
    farms: Sequence[Lived]
    chances: Sequence[Chance]

    @property
    def ranged(self) -> list[Ranged]:
        """Every range of every farm."""
        return [row for farm in self.farms for row in farm.ranged]


def coverage(rows: Sequence[Ranged], kind: str, *years: int) -> float:
    """Return the share of a kind's ranges, foretold in some years, that hold what came. [-]"""
    return float(np.mean([row.within for row in rows if row.kind == kind and row.year in years]))


def error_of_coverage(farms: Sequence[Lived], kind: str, year: int) -> float:
    """Return its standard error: farms are independent of each other, their ranges are not."""
    found = [coverage(farm.ranged, kind, year) for farm in farms]
    return float(np.std(found, ddof=1) / np.sqrt(len(found))) if len(found) > 1 else float("nan")


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"|{'|'.join(['---'] + ['--:'] * (len(head) - 1))}|"]
    return "\n".join(lines + [f"| {' | '.join(row)} |" for row in rows])


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def coverage_table(measured: Sequence[Measured]) -> str:
    """Return how many ranges of 80 % hold what came."""

    def rows() -> Iterator[Sequence[str]]:
        for found in measured:
            ranged = found.ranged
            for kind, words in KINDS.items():
                cells = [
                    f"{_percent(coverage(ranged, kind, year))} "
                    f"± {100 * error_of_coverage(found.farms, kind, year):.0f}"
                    for year in range(len(YEARS))
                ]
                yield f"{words}; {found.name}", *cells

    return _table(("80 % range of", *YEARS), rows())


def crops_table(found: Measured) -> str:
    """Return the same of weekly kilograms by crop."""

    def rows() -> Iterator[Sequence[str]]:
        kg = [row for row in found.ranged if row.kind == "kg"]
        for crop in sorted({row.crop for row in kg}):
            mine = [row for row in kg if row.crop == crop]
            shares = [coverage(mine, "kg", year) for year in range(len(YEARS))]
            yield crop, *map(_percent, shares), str(len(mine))

    return _table(("weekly kilograms of", *YEARS, "weeks foretold"), rows())


def rivals_table(measured: Sequence[Measured]) -> str:
    """Return the errors of every way over the second season's batches."""

    def rows() -> Iterator[Sequence[str]]:
        for found in measured:
            of = errors([farm.grown for farm in found.farms])
            table = of[TABLE]
            for name, e in of.items():
                pairs = ((e.kg, table.kg), (e.season_kg, table.season_kg))
                yield (
                    f"{name}; {found.name}",
                    f"{e.days:.1f} d ({100 * (e.days / table.days - 1):+.0f} %)",
                    *(f"{_percent(mine)} ({100 * (mine / its - 1):+.0f} %)" for mine, its in pairs),
                )

    head = (
        "second season, mean error (against the table alone)",
        "days from setting out to ripeness",
        "kilograms of a batch",
        "of a crop and zone in the season",
    )
    return _table(head, rows())


def learnt_table(measured: Sequence[Measured]) -> str:
    """Return how much of what an oracle is less wrong by than the table was learned."""

    def share(of: Mapping[str, Errors], best: str, figure: str) -> str:
        table, ours, least = (getattr(of[name], figure) for name in (TABLE, OURS, best))
        return f"{_percent((table - ours) / (table - least))} of {_percent(1 - least / table)}"

    def rows() -> Iterator[Sequence[str]]:
        for found in measured:
            of = errors([farm.grown for farm in found.farms])
            for best in (FACTORS, LASTING):
                cells = (share(of, best, figure) for figure in ("days", "kg", "season_kg"))
                yield f"{best}; {found.name}", *cells

    head = (
        "learned, of what the oracle is less wrong by than the table",
        "days from setting out to ripeness",
        "kilograms of a batch",
        "of a crop and zone in the season",
    )
    return _table(head, rows())


def weekly_errors(farms: Sequence[Lived], *, fruit: bool) -> tuple[float, float, int]:
    """Return sizes of error over what came, of kilograms two weeks ahead in the second season.

    By the forecast's middle, and by last year's same week. [-], [-], weeks
    """
    ours, last, came = 0.0, 0.0, 0.0
    count = 0
    for farm in farms:
        for row in farm.ranged:
            if (row.kind, row.year, row.ahead_weeks) != ("kg", 2, AHEAD_WEEKS):
                continue
            if row.fruit is not fruit:
                continue
            ours += abs(row.middle - row.real)
            last += abs(farm.cut_kg.get((row.crop, row.week - YEAR), 0.0) - row.real)
            came += row.real
            count += 1
    return ours / came, last / came, count


def weeks_table(found: Measured) -> str:
    """Return the errors of weekly kilograms two weeks ahead."""

    def rows() -> Iterator[Sequence[str]]:
        for name, fruit in (("leaf and heads", False), ("fruit", True)):
            ours, last, count = weekly_errors(found.farms, fruit=fruit)
            yield name, _percent(ours), _percent(last), str(count)

    head = ("kilograms of a crop's week, two weeks ahead", "forecast", "last year's week", "weeks")
    return _table(head, rows())


def fish_table(found: Measured) -> str:
    """Return the errors of the mean weight of fish by weeks ahead."""
    rows = [row for row in found.ranged if row.kind == "fish"]

    def lines() -> Iterator[Sequence[str]]:
        for ahead in sorted({row.ahead_weeks for row in rows}):
            cells = []
            for year in range(len(YEARS)):
                mine = [r for r in rows if (r.ahead_weeks, r.year) == (ahead, year)]
                off = [abs(r.middle / r.real - 1) for r in mine]
                cells.append(f"{100 * np.mean(off):.1f} %" if off else "")
            yield f"{ahead} weeks ahead", *cells

    return _table(("mean weight of fish, off by", *YEARS), lines())


def chances_table(measured: Sequence[Measured]) -> str:
    """Return how often orders were met, by the chance foretold."""

    def rows() -> Iterator[Sequence[str]]:
        for low, high in pairwise(CHANCES):
            cells = [f"{100 * low:.0f} to {min(100, 100 * high):.0f} %"]
            for found in measured:
                mine = [c for c in found.chances if low <= c.chance < high]
                if mine:
                    mean = np.mean([c.chance for c in mine])
                    met = np.mean([c.met for c in mine])
                    cells.append(f"{_percent(float(mean))} → {_percent(float(met))}")
                else:
                    cells.append("")
            cells.append(str(sum(low <= c.chance < high for c in measured[0].chances)))
            yield cells

    measured = [found for found in measured if found.chances]
    heads = [f"foretold → met; {found.name}" for found in measured]
    return _table(("chance foretold before any record", *heads, "order weeks"), rows())


def anchors_table(found: Measured) -> str:
    """Return the published figures beside those measured here, and what is different."""
    lettuce = [
        b
        for farm in found.farms
        for b in farm.grown
        if b.crop.startswith("lettuce") and b.year == 2
    ]
    days = float(np.mean([abs(b.learned_days - b.real_days) for b in lettuce]))
    fruit, _, _ = weekly_errors(found.farms, fruit=True)
    fish = [
        abs(row.middle / row.real - 1)
        for row in found.ranged
        if row.kind == "fish" and row.year == 2 and row.ahead_weeks <= 4
    ]
    here = (
        f"{days:.1f} days from setting out",
        f"{_percent(fruit)} two weeks ahead",
        f"{_percent(fruit)} two weeks ahead",
        f"{100 * float(np.mean(fish)):.1f} % two to four weeks ahead",
    )
    rows = [
        (what, ours, theirs, source, why)
        for (what, theirs, source, why), ours in zip(ANCHORS, here, strict=True)
    ]
    return _table(("", "measured here", "published", "source", "what is different"), rows)


def published_table() -> str:
    """Return the forecast of a second real year from a first one."""

    def rows() -> Iterator[Sequence[str]]:
        for row in foretold():
            yield (
                str(row.leaves),
                f"{row.real:.1f}",
                f"{row.table:.1f} ({row.before[0]:.1f} to {row.before[1]:.1f})",
                "yes" if row.held_before else "no",
                f"{row.learned:.1f} ({row.after[0]:.1f} to {row.after[1]:.1f})",
                "yes" if row.held_after else "no",
            )

    head = (
        "leaves, 1957-58",
        "degree-days/100",
        "by 1956-57 alone",
        "held",
        "learning from count to count",
        "held",
    )
    return _table(head, rows())


def report(measured: Sequence[Measured]) -> str:
    """Return all tables; the first of `measured` is that of the sizes as shipped."""
    first = measured[0]
    of = errors([farm.grown for farm in first.farms])
    parts = (
        f"{len(first.farms)} simulated farms, two seasons each, foretold every four weeks; "
        f"{of[OURS].batches} batches of the second season.",
        coverage_table(measured),
        crops_table(first),
        rivals_table(measured),
        learnt_table(measured),
        weeks_table(first),
        fish_table(first),
        chances_table(measured),
        anchors_table(first),
        published_table(),
    )
    return "\n\n".join(parts) + "\n"
