"""The review as one HTML page without a script: read on a phone, printed at season's end."""

from functools import lru_cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from planner.pictures import number
from planner.resources import shipped
from planner.review import lessons, sheets
from planner.review.kinds import Review
from planner.review.summary import facts, long_day, span
from planner.words import plain

RECKONED = (
    "Planned is what the plan in force at the time said: of a batch the plan when it was set out, "
    "of a week the plan when it began, or the first one made in it.",
    "Real is what the book holds. What nobody wrote down is called not recorded and counts "
    "nowhere, neither as nothing nor as planned.",
    "A batch is taken as set out when planned, unless the book says otherwise.",
    "Weights that are held against the plan: of finished crops that are cut once all planned "
    "cuts, of others those of weeks in which a cut was weighed or put off. Cuts without a batch "
    "count by week, not by batch.",
    "Plants allowed for are the share that the plan took off for single plants that fail; those "
    "written off are whole parts that were lost, beyond that.",
    "A week without a recorded cut does not count for the forecast, for nobody writes down that "
    "nothing was cut.",
    "Hours are planned hours, by the minutes of farm.toml: nobody writes down hours worked.",
    "Worth of an area and week: weight cut at the crop's mean price over its order lines, else its "
    "best outlet, over the area and time held, by the recorded share of the planned cuts; 20 tower "
    "slots count as 1 m².",
    "A fill rate counts no order more than once and goes by worth, or by weight where nothing has "
    "a price. Order weeks without a recorded delivery are left out of it.",
    "Survival is of the fish of the first day, with deaths as found. Feed for each kilogram of "
    "gain is told where feed is written down from one weighing to the next.",
    "Sums of money overlap: plants lost may be why an order was short. Do not add them up.",
)


def page(found: Review) -> str:
    """Return the review as one HTML page, the same text for the same review."""
    made_on = long_day(found.last)
    return (
        _templates()
        .get_template("review.html.j2")
        .render(
            farm=plain(found.farm) or "farm",
            made_on=made_on,
            span=span(found),
            facts=facts(found),
            changes=sheets.change_words(found),
            crops=sheets.crops_table(found),
            batches=sheets.batches_table(found),
            customers=sheets.customers_table(found),
            shortages=sheets.shortages_table(found),
            beside=found.beside,
            fish=sheets.fish_table(found),
            weeks=sheets.weeks_table(found),
            forecast=lessons.forecast_table(found),
            produce=lessons.produce_table(found),
            learned=lessons.learned_table(found),
            lessons=lessons.learned_sentences(found),
            reckoned=RECKONED,
        )
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
    templates.filters["n"] = number  # of the shared macros
    return templates
