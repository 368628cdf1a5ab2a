"""What the forecast's ranges and chances are, in words, and the sizes of spread behind them."""

from collections.abc import Mapping

from planner.document import PlanDoc
from planner.pictures import Table
from planner.spread import SpreadRow, spread_rows
from planner.words import figure, plural

SPREAD_WORDS: Mapping[str, str] = {
    "season_growth": "Weather of a season, on growth",
    "season_memory_weeks": "How long it lasts",
    "week_growth": "Weather of a week, on growth",
    "week_memory_weeks": "How long it lasts",
    "days_class": "Days to harvest: a class of crops in this house",
    "days_crop": "Days to harvest: a crop in its class",
    "days_batch": "Days to harvest: a batch",
    "yield_class": "Weight of a plant: a class of crops in this house",
    "yield_crop": "Weight of a plant: a crop in its class",
    "yield_batch": "Weight of a plant: a batch",
    "yield_cut": "Weight of a cut or pick: one week's of a batch",
    "yield_season_share": "Share of a season's weather in the weight of crops cut once",
    "counted_share": "Share of a head's weight in how many are fit to sell",
    "germination": "Seedlings fit to set out, of the cells sown",
    "loss_class": "Losses: a class of crops in this house",
    "loss_crop": "Losses: a crop in its class",
    "loss_batch": "Losses: a batch",
    "fish_growth_class": "Growth of fish: all in this house",
    "fish_growth_species": "Growth of fish: a species",
    "fish_growth_cohort": "Growth of fish: a tank",
    "weighing": "Weight of fish at hand, as weighed: a tank",
    "deaths_species": "Deaths: a species in this house",
    "deaths_cohort": "Deaths: a tank",
    "fcr_species": "Feed for a kilogram of growth: a species in this house",
    "fcr_cohort": "Feed for a kilogram of growth: a tank",
}


def range_notes(document: PlanDoc) -> tuple[str, ...]:
    """Return what ranges and chances mean, what they rest on and what they leave out."""
    forecast = document["forecast"]
    if forecast is None:
        return (
            "There is no forecast in this plan: its figures have no ranges, its orders no chances.",
        )
    learned = len(document["learned"])
    records = (
        f"Records have changed the tables for {plural(learned, 'crop')} or fish of this house, "
        "and narrow their ranges."
        if learned
        else "No record has changed the tables yet; each one narrows the ranges."
    )
    return (
        f"A range holds eight of ten of {forecast['draws']:,} drawn seasons: one in ten comes to "
        "less than its lower figure and one in ten to more than its upper one. A chance is the "
        "share of those seasons in which an order gets at least what it tolerates.",
        "In a drawn season all crops share the weather, batches of a crop share how its table errs "
        "for this house, and each batch and tank has its own luck; so orders of one crop fail "
        "together. The weather is that of the years in weather.csv where the farm has that file; "
        "else its spread is a judgement.",
        records,
        "Where ranges are added up (the feed of a month, an order that several crops serve) all "
        "of them go one way, so that the sum is rather too wide.",
        "Not in the ranges: anybody who steers (heats more, cuts sooner, sows again, plans anew), "
        "pests and diseases beyond the usual losses, power, pumps or heating that fail, and orders "
        "that change.",
    )


def spread_table() -> Table:
    """Return the shipped sizes of spread and where each is from."""
    return Table(
        caption="How far a season may differ, before anything is recorded: one standard deviation",
        head=("What", "Size", "From"),
        rows=tuple(
            (SPREAD_WORDS.get(row.key, row.key.replace("_", " ")), _size(row), _basis(row))
            for row in spread_rows()
        ),
    )


def _size(row: SpreadRow) -> str:
    if row.unit == "weeks":
        return plural(row.size, "week")
    if row.unit == "share":
        return f"{row.size:.0%}"
    if row.unit == "sd of the share":
        return f"± {figure(100 * row.size)} points"
    return f"± {figure(100 * row.size)}%"


def _basis(row: SpreadRow) -> str:
    return f"{row.basis}: {row.source}" if row.source else row.basis
