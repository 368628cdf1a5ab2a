"""The plan page: one HTML file with everything in it, readable without its script.

Everything that is a number, a word or a position is made ready here and in the chart modules;
the templates only put it in order. Nothing on the page depends on a clock.
"""

import hashlib
from base64 import b64encode
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from functools import lru_cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from planner.document import OrderWeekDoc, PlanDoc, SolverDoc
from planner.fishcharts import empty_tanks, rations, tank_figures
from planner.horizon import monday_of
from planner.housecharts import climate_figure, labour_figure
from planner.joblists import jobs_view, week_heading
from planner.jobs import Job
from planner.ordercharts import order_figures, produce_table
from planner.ordertexts import (
    DOUBTFUL,
    crop_name,
    doubt_warning,
    doubts,
    is_short,
    short_weeks_table,
    shortages,
)
from planner.pagefacts import Context, band_finding, context, isolated, outside_band
from planner.pictures import TimeLine, number
from planner.placecharts import looks, places_view
from planner.ranges import RANGE_WORDS
from planner.rangetexts import range_notes, spread_table
from planner.resources import shipped
from planner.summary import summary
from planner.tables import Crop, Fish
from planner.takelists import take_lists
from planner.water import NITRATE_PER_N
from planner.watercharts import nitrogen_figure
from planner.words import day_words, figure, plain, plural, quantity, spoken
from planner.worthtables import (
    certainty_table,
    certainty_words,
    comparison_table,
    margins_table,
)

FIRST_WARNINGS = 3
MOST_CHANGES = 60
# where a caution stands: the first section one of whose words is in its heading
CAUTION_SECTIONS: Mapping[str, tuple[str, ...]] = {
    "fish": ("fish", "tank", "tanks", "stocking", "oxygen"),
    "nitrogen": ("nitrogen", "nitrate", "ammonia", "water", "filter", "biofilter", "ph"),
    "orders": ("harvest", "food", "order", "orders", "produce"),
    "places": ("places", "crop", "crops", "plants", "pesticides"),
    "house": ("house", "light", "heat", "heating", "electricity", "power", "lamps"),
    "labour": ("work", "labour", "nursery"),
    "care": (),
}
NOT_CONSIDERED = (
    "Weather other than the climate that the farm names, but for the ranges: a dull or a warm "
    "spell moves every date.",
    "Pests, diseases and losses beyond the usual share.",
    "Nutrients other than nitrogen: potassium, calcium, iron and the rest, and the pH that "
    "decides what plants can take up.",
    "Oxygen, and what happens when power, pumps or heating fail.",
    "Who does the work on which day, deliveries' routes, and prices that change.",
    "Permits, food law and building codes: ask those who know yours.",
)
STOPS = {
    "proven": "the search ended because nothing better can be found",
    "work": "the search ended at its limit of work",
    "seconds": "the search ended at its limit of time",
    "interrupt": "the search was ended by hand",
}


def page(
    document: PlanDoc,
    jobs: Sequence[Job],
    *,
    today: date,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    cautions: Sequence[tuple[str, str]],
    assumptions: Sequence[str],
) -> str:
    """Return the plan as one HTML page, the same text for the same input.

    Parameters
    ----------
    jobs
        The plan's dated jobs, in the order in which a day's jobs are listed.
    today
        The day on which the page is read; its week's jobs and its feed come first.
    crops, fish
        Table rows by id; one that is missing costs its family's colour and its source.
    cautions
        Heading and text of each; the heading's words choose the section (`CAUTION_SECTIONS`).
    assumptions
        Sentences that the plan rests on.
    """
    templates = _templates()
    script = templates.get_template("script.js.j2").render()
    line = context(document, today).line
    places = places_view(document, crops, today)
    groups = {hue: group for hue, group, _ in places.key}
    short = shortages(document, today)
    warned = warnings(document, today, places.overfull)
    return templates.get_template("page.html.j2").render(
        farm=plain(document["farm"]) or "farm",
        made_on=_long_day(date.fromisoformat(document["made_on"])),
        today=_long_day(today),
        week=week_heading(monday_of(today)),
        span=_span(line),
        warnings=warned[:FIRST_WARNINGS],
        more_warnings=warned[FIRST_WARNINGS:],
        happened=tuple(map(plain, document["happened"])),
        changes=_changes(document),
        changes_heading=changes_heading(document),
        jobs=jobs_view(document, jobs, today),
        rations=rations(document, today),
        summary=summary(
            document,
            today,
            groups={id: groups[look.hue] for id, look in looks(document, crops).items()},
            short=short,
        ),
        places=places,
        nitrogen=nitrogen_figure(document, today),
        nitrate_per_n=figure(NITRATE_PER_N),
        tanks=tank_figures(document, today),
        empty_tanks=tuple(map(plain, empty_tanks(document))),
        law=_law(document, fish),
        orders=order_figures(document, today),
        shortages=short,
        doubts=doubts(document, today),
        doubtful=f"{DOUBTFUL:.0%}",
        range_words=RANGE_WORDS if document["forecast"] else "",
        short_weeks=short_weeks_table(document, today),
        produce=produce_table(document, today),
        climate=climate_figure(document, today),
        labour=labour_figure(document, today),
        cautions=_cautions(cautions),
        assumptions=tuple(map(plain, assumptions)),
        solver=solver_words(document["solver"]),
        lists=take_lists(document, crops=crops, today=today),
        margins=margins_table(document),
        certainty=certainty_table(document),
        certainty_told=certainty_words(document),
        comparison=comparison_table(document),
        range_notes=range_notes(document),
        spread=spread_table() if document["forecast"] else None,
        not_considered=NOT_CONSIDERED,
        sources=_sources(document, crops, fish),
        script=script,
        script_hash=b64encode(hashlib.sha256(script.encode()).digest()).decode(),
    )


@lru_cache(maxsize=1)
def _templates() -> Environment:
    """Return the templates, which are compiled once."""
    templates = Environment(
        loader=FileSystemLoader(shipped("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.filters |= {"n": number, "plain": plain}
    return templates


def _long_day(day: date) -> str:
    return f"{day_words(day)} {day.year}"


def _span(line: TimeLine) -> str:
    last = line.end - timedelta(days=1)
    return f"{plural(line.weeks, 'week')}, {_long_day(line.start)} to {_long_day(last)}"


def warnings(document: PlanDoc, today: date, overfull: Sequence[str]) -> tuple[str, ...]:
    """Return the page's warnings, gravest first, each once: broken rules, places, orders, water.

    Each says what to do; what else the plan warns of comes last, in its own words. `overfull`
    are the sentences on places. What to do about nitrate is common practice.
    """
    found = [f"A rule is broken: {text}" for text in document["violations"]]
    found += [f"{text}. Move a batch, or clear the one before it sooner." for text in overfull]
    found += _short_warning(document, context(document, today))
    found += doubt_warning(document, today)
    under, over = outside_band(document)
    if under or over:
        found.append(f"{band_finding(document)} {_nitrate_advice(bool(under), bool(over))}")
    found += document["warnings"]
    return tuple(dict.fromkeys(plain(text) for text in found))


def _short_warning(document: PlanDoc, at: Context) -> list[str]:
    """Say how many order lines are short, what the soonest lacks, and what to do."""
    lines: dict[str, list[OrderWeekDoc]] = defaultdict(list)
    for row in document["orders"]:
        if is_short(row):
            lines[row["line"]].append(row)
    if not lines:
        return []
    rows = min(lines.values(), key=lambda rows: (min(r["week"] for r in rows), rows[0]["line"]))
    first = rows[0]
    short, ordered = (sum(row[key] for row in rows) for key in ("short", "ordered"))
    missing = quantity(short, "kg", at.units) if first["unit"] == "kg" else figure(short)
    weeks = at.line.weeks_text((at.line.week(date.fromisoformat(r["week"])) for r in rows), most=2)
    one = len(lines) == 1
    return [
        f"{'1 order line is' if one else f'{len(lines)} order lines are'} short. "
        f"{'' if one else 'Soonest: '}{isolated(plain(first['customer']))}, line "
        f"{isolated(plain(first['line']))}: {missing} of "
        f"{quantity(ordered, first['unit'], at.units)} "
        f"{isolated(crop_name(first['crop'], document['crops']))} missing, {weeks}. "
        f"Tell the {'customer' if one else 'customers'}, or buy in."
    ]


def _nitrate_advice(under: bool, over: bool) -> str:
    more = "feed more if the fish eat it all and ammonia stays low, or set out less"
    less = "feed less, set out more or exchange some water"
    if under and over:
        return f"Test weekly. Where it is under: {more}. Where it is over: {less}."
    return f"Test weekly; {more if under else less}."


def changes_heading(document: PlanDoc) -> str:
    """Say how much of the plan before is kept; empty when there was none."""
    changes = document["changes"]
    if changes is None:
        return "Since the lists were written" if document["happened"] else ""
    kept, moved = changes["kept"], changes["moved"]
    return (
        f"Against the plan of {day_words(date.fromisoformat(changes['before']))}: "
        f"{plural(kept, 'start')} kept, {moved} changed"
    )


def _changes(document: PlanDoc) -> tuple[str, ...]:
    """Return what is planned otherwise, soonest first, as far as a page should hold it."""
    items = () if document["changes"] is None else document["changes"]["items"]
    more = len(items) - MOST_CHANGES
    shown = tuple(plain(item["text"]) for item in items[:MOST_CHANGES])
    return (*shown, f"{more} more stand in tables/changes.csv") if more > 0 else shown


def _law(document: PlanDoc, fish: Mapping[str, Fish]) -> tuple[tuple[str, str], ...]:
    """Return what the law may say on each species in the plan."""
    species = sorted({cohort["species"] for cohort in document["cohorts"]})
    return tuple(
        (spoken(fish[id].name), plain(fish[id].legal_caution))
        for id in species
        if id in fish and fish[id].legal_caution
    )


def _cautions(cautions: Iterable[tuple[str, str]]) -> dict[str, list[tuple[str, str]]]:
    """Part the cautions by the section in which they stand; none is lost."""
    placed: dict[str, list[tuple[str, str]]] = {section: [] for section in CAUTION_SECTIONS}
    for heading, text in cautions:
        words = set(plain(heading).casefold().replace(",", " ").split())
        section = next(
            (name for name, keys in CAUTION_SECTIONS.items() if words.intersection(keys)), "care"
        )
        placed[section].append((plain(heading), plain(text)))
    return placed


def solver_words(solver: SolverDoc) -> tuple[tuple[str, str], ...]:
    """Return how good the plan is known to be: terms and their words; never elapsed seconds."""
    return (
        ("Result", f"{solver['status']}; {STOPS.get(solver['stopped_by'], solver['stopped_by'])}"),
        ("Value of the plan", f"{solver['value']:,.2f} in the farm's money"),
        ("No plan can be worth more than", f"{solver['bound']:,.2f}"),
        ("Gap between the two", f"{solver['gap']:.1%}"),
        ("Work done", figure(solver["work"])),
        ("Seed", str(solver["seed"])),
    )


def _sources(
    document: PlanDoc, crops: Mapping[str, Crop], fish: Mapping[str, Fish]
) -> tuple[tuple[str, str, str], ...]:
    """Return name, how sure its row is, and sources, of every crop and fish in the plan."""
    used = {batch["crop"] for batch in document["batches"]}
    rows = [
        (spoken(crops[id].name), plain(crops[id].confidence), plain(crops[id].sources))
        for id in used
        if id in crops
    ]
    swum = {cohort["species"] for cohort in document["cohorts"]}
    rows += [(spoken(fish[id].name), "", plain(fish[id].sources)) for id in swum if id in fish]
    return tuple(sorted(rows))
