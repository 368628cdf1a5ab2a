"""The season on one sheet: what is cut, who is served, fish, feed, work and nitrogen in figures."""

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from planner.document import OrderWeekDoc, PlanDoc
from planner.pagefacts import Context, context, isolated, mass, mass_unit, outside_band
from planner.ranges import Range, weight_range
from planner.words import figure, natural, plain, plural, spoken, weight

MOST_SHORT = 8  # order lines named on the sheet
_SMALL = 1e-9  # of what is ordered: what is missing by rounding only


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table of the summary: a row is its head and its cells; the last row is the sum."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The whole horizon in figures.

    Attributes
    ----------
    harvest, orders
        What is cut by group of crops, and what each customer gets; no rows where there is none.
    totals
        Terms and their words: fish, feed, work, nitrogen.
    short
        The first lines that are short, as they were given.
    more
        How many short lines were left out.
    """

    harvest: Sheet
    orders: Sheet
    totals: tuple[tuple[str, str], ...]
    short: tuple[str, ...]
    more: int


def summary(
    document: PlanDoc, today: date, *, groups: Mapping[str, str], short: Sequence[str]
) -> Summary:
    """Return the season's totals in the grower's units.

    Parameters
    ----------
    groups
        Group of each crop by its id, as the picture of the places colours them; crops that are
        cut and have none stand by themselves.
    short
        Sentences on the order lines that are short, gravest first.
    """
    at = context(document, today)
    return Summary(
        harvest=_harvest(document, at, groups),
        orders=_orders(document, at),
        totals=tuple(_totals(document, at)),
        short=tuple(short[:MOST_SHORT]),
        more=max(len(short) - MOST_SHORT, 0),
    )


def share_words(part: float, whole: float) -> str:
    """Return a share of a whole in per cent, never rounded up: `100%` means all of it.

    Nothing asked is all met.
    """
    if part >= whole * (1 - _SMALL):
        return "100%"
    return f"{math.floor(1000 * part / whole + _SMALL) / 10:.1f}%"


def _harvest(document: PlanDoc, at: Context, groups: Mapping[str, str]) -> Sheet:
    swum = {cohort["species"] for cohort in document["cohorts"]}
    cut_kg: dict[str, float] = defaultdict(float)
    for row in document["produce"]:
        if row["crop"] not in swum:
            cut_kg[row["crop"]] += row["cut_kg"]
    members: dict[str, list[str]] = defaultdict(list)
    for crop in sorted((c for c in cut_kg if cut_kg[c] > 0), key=lambda c: (-cut_kg[c], c)):
        members[groups.get(crop, _name(document, crop))].append(crop)
    sums = {group: sum(cut_kg[crop] for crop in crops) for group, crops in members.items()}
    rows = [
        (
            isolated(plain(group)),
            ", ".join(isolated(_name(document, crop)) for crop in members[group]),
            figure(mass(sums[group], at.units)),
        )
        for group in sorted(sums, key=lambda group: (-sums[group], group))
    ]
    if rows:
        rows.append(("All crops", "", figure(mass(sum(sums.values()), at.units))))
    return Sheet(
        caption="Cut in the season",
        head=("Group", "Crops, most first", f"Cut, {mass_unit(at.units)}"),
        rows=tuple(rows),
    )


def _orders(document: PlanDoc, at: Context) -> Sheet:
    """Return what each customer ordered and gets, by weight; beyond an order nothing counts.

    With a forecast, how many deliveries are missed on average over the drawn seasons.
    """
    by_customer: dict[str, list[OrderWeekDoc]] = defaultdict(list)
    for row in document["orders"]:
        by_customer[plain(row["customer"])].append(row)
    rows = [
        _served(isolated(customer), by_customer[customer], at)
        for customer in sorted(by_customer, key=lambda name: (natural(name), name))
    ]
    if rows:
        rows.append(_served("All customers", document["orders"], at))
    return Sheet(
        caption="Orders met, by weight",
        head=(
            "Customer",
            f"Ordered, {mass_unit(at.units)}",
            "Met",
            "Deliveries short",
            *(("Likely missed",) if document["forecast"] else ()),
        ),
        rows=tuple(rows),
    )


def _served(head: str, rows: Sequence[OrderWeekDoc], at: Context) -> tuple[str, ...]:
    ordered_kg = sum(row["ordered"] * row["kg_per_unit"] for row in rows)
    met_kg = sum(min(row["planned"], row["ordered"]) * row["kg_per_unit"] for row in rows)
    short = sum(row["short"] > 0 and not row["within_tolerance"] for row in rows)
    missed = [1.0 - row["chance"] for row in rows if row["chance"] is not None]
    return (
        head,
        figure(mass(ordered_kg, at.units)),
        share_words(met_kg, ordered_kg),
        f"{short} of {len(rows):,}",
        *((f"{sum(missed):,.0f}",) if missed else ()),
    )


def _totals(document: PlanDoc, at: Context) -> list[tuple[str, str]]:
    weeks = document["weeks"]
    taken = [
        take
        for cohort in document["cohorts"]
        for take in cohort["taken"]
        if at.line.holds(date.fromisoformat(take["date"]))
    ]
    light = sum(take["count"] for take in taken if not take["saleable"])
    fish = weight(sum(take["kg"] for take in taken), at.units)
    fish += f", {sum(take['count'] for take in taken):,} fish"
    if light:
        fish += f"; {light:,} of them too light to sell"
    under, over = outside_band(document)
    inside = len(weeks) - len(under) - len(over)
    supply_kg, uptake_kg = (
        sum(week[key] for week in weeks) / 1000 for key in ("supply_n_g", "uptake_n_g")
    )
    feed_kg, hours = ([week[key] for week in weeks] for key in ("feed_kg", "labour_h"))
    return [
        ("Fish taken", fish if taken else "none"),
        (
            "Feed",
            weight(sum(feed_kg), at.units)
            + _likely_feed(document, at)
            + _most(at, feed_kg, lambda kg: weight(kg, at.units)),
        ),
        ("Work", f"{figure(sum(hours))} h" + _most(at, hours, lambda h: f"{figure(h)} h")),
        (
            "Nitrogen",
            f"{weight(supply_kg, at.units)} from the feed, {weight(uptake_kg, at.units)} into the "
            f"plants; nitrate in its band in {inside} of {plural(len(weeks), 'week')}",
        ),
    ]


def _likely_feed(document: PlanDoc, at: Context) -> str:
    """Say what all the feed may come to, where there is a forecast and feed."""
    if document["forecast"] is None or document["forecast"]["feed_total_kg"]["p90"] <= 0:
        return ""
    total = document["forecast"]["feed_total_kg"]
    return f", likely {weight_range(Range(total['p10'], total['p90']), at.units)}"


def _most(at: Context, values: Sequence[float], words: Callable[[float], str]) -> str:
    """Say in which week a series is highest; nothing where it is naught all through."""
    peak = max(range(len(values)), key=lambda week: values[week], default=0)
    if not values or values[peak] <= 0:
        return ""
    return f"; most in {at.line.weeks_text((peak,))}: {words(values[peak])}"


def _name(document: PlanDoc, crop: str) -> str:
    return spoken(document["crops"].get(crop, crop)) or crop
