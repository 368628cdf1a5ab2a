"""The tables of the review's page."""

from datetime import date

from planner.pagefacts import isolated
from planner.pictures import Table
from planner.review.kinds import CropRow, FishRow, OrderRow, Review
from planner.review.sayings import (
    NOT_RECORDED,
    area_unit,
    method_words,
    money,
    number_words,
    share_words,
    value_words,
    weight_words,
)
from planner.words import area, day_words, figure, plain, plural, quantity, weight

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def name_of(found: Review, ware: str) -> str:
    """Return the name of a crop, a fish or what an order asks for."""
    return found.names.get(ware, plain(ware))


def crops_table(found: Review) -> Table:
    """Return crops by method and sowing month: planned and real."""
    coin = f"{plain(found.currency)} a {area_unit(found.units)} and week"
    return Table(
        caption="By crop, growing method and month of sowing: planned / real",
        head=(
            "Crop",
            "Grown, sown",
            "Batches with records",
            "Days to first cut",
            "Cut",
            "Plants lost: allowed for / written off",
            "Planned hours",
            coin,
        ),
        rows=tuple((name_of(found, row.crop), *_crop_cells(found, row)) for row in found.crops),
        grouped=True,
    )


def _crop_cells(found: Review, row: CropRow) -> tuple[str, ...]:
    if not row.batches:
        cut = weight_words(row.real_kg, found.units)
        return ("batch not named", "", "", f"– / {cut}", "", "", "")
    planned_kg = row.counted_kg if row.recorded else row.planned_kg
    planned = row.planned_loss * row.plants
    days = "– / not recorded"
    if row.planned_days is not None and row.real_days is not None:
        days = f"{figure(row.planned_days)} / {figure(row.real_days)}"
    return (
        f"{method_words(row.method)}, {_month(row.month)}",
        f"{row.recorded} of {row.batches}",
        days,
        _cut(found, planned_kg, row.real_kg),
        f"{figure(planned)} / {number_words(row.lost_plants)}",
        figure(row.planned_hours),
        _value_cell(found, row),
    )


def _cut(found: Review, planned_kg: float, real_kg: float | None) -> str:
    """Return planned and real weight; a batch without a cut yet has none planned. [kg]"""
    none_yet = planned_kg <= 0 and real_kg is None
    planned = "–" if none_yet else weight(planned_kg, found.units)
    return f"{planned} / {weight_words(real_kg, found.units)}"


def _value_cell(found: Review, row: CropRow) -> str:
    if row.price_kg <= 0:
        return "no price"
    real = value_words(row.real_value, found.currency, found.units)
    if row.planned_value is None:
        return f"– / {real}"
    return f"{value_words(row.planned_value, found.currency, found.units)} / {real}"


def _month(text: str) -> str:
    year, _, month = text.partition("-")
    return f"{MONTHS[int(month) - 1]} {year}"


def batches_table(found: Review) -> Table:
    """Return every batch: planned and real."""
    return Table(
        caption="Every batch: planned / real",
        head=("Crop", "Batch", "Zone", "Area", "Days", "Cut", "Started late", "Plants lost"),
        rows=tuple(
            (
                name_of(found, row.crop),
                isolated(plain(row.batch)),
                isolated(plain(row.zone)),
                area(row.area_m2, found.units),
                f"{'–' if row.planned_days is None else row.planned_days} / "
                f"{number_words(row.real_days)}",
                _cut(found, row.planned_kg if row.real_kg is None else row.counted_kg, row.real_kg),
                NOT_RECORDED if row.late_days is None else _late(row.late_days),
                number_words(row.lost_plants),
            )
            for row in found.batches
        ),
        grouped=True,
    )


def _late(days: int) -> str:
    return f"{plural(-days, 'day')} early" if days < 0 else plural(days, "day")


def customers_table(found: Review) -> Table:
    """Return the fill rate of each customer."""
    return Table(
        caption="Share of the orders' worth, by customer",
        head=("Customer", "Order weeks with records", "Planned", "Planned of those", "Delivered"),
        rows=tuple(
            (
                isolated(plain(row.customer)),
                f"{row.recorded} of {row.order_weeks}",
                share_words(row.planned_rate),
                "–" if row.counted_rate is None else share_words(row.counted_rate),
                "planned only" if row.real_rate is None else share_words(row.real_rate),
            )
            for row in found.customers
        ),
    )


def shortages_table(found: Review) -> Table:
    """Return every order that was short beyond its tolerance, and its cause."""
    return Table(
        caption="Orders that were short beyond their tolerance",
        head=("Week from", "Customer, line", "What", "Ordered", "Planned", "Delivered", "Cause"),
        rows=tuple(_short_cells(found, row) for row in found.orders if row.short > 0),
    )


def _short_cells(found: Review, row: OrderRow) -> tuple[str, ...]:
    got = "planned only" if row.delivered is None else _units(found, row, row.delivered)
    return (
        day_cell(row.week),
        f"{isolated(plain(row.customer))}, {isolated(plain(row.line))}",
        name_of(found, row.crop),
        _units(found, row, row.ordered),
        _units(found, row, row.planned),
        got,
        isolated(plain(row.cause)),
    )


def _units(found: Review, row: OrderRow, number: float) -> str:
    return quantity(number, plain(row.unit), found.units)


def day_cell(day: date) -> str:
    return f"{day_words(day).partition(' ')[2]} {day.year}"


def fish_table(found: Review) -> Table:
    """Return the fish of each tank: planned and real."""
    return Table(
        caption="Fish by tank: planned / real",
        head=("Fish", "Tank", "Mean weight", "Weighed", "Survival", "Feed per kg gain", "Taken"),
        rows=tuple((name_of(found, row.species), *_fish_cells(found, row)) for row in found.fish),
    )


def _fish_cells(found: Review, row: FishRow) -> tuple[str, ...]:
    planned_g, real_g = row.planned_mean_g, row.real_mean_g
    mean = NOT_RECORDED
    if real_g is not None:
        foretold = "–" if planned_g is None else weight(planned_g / 1000, found.units)
        mean = f"{foretold} / {weight(real_g / 1000, found.units)}"
    survival = "–" if row.planned_survival is None else share_words(row.planned_survival, digits=1)
    return (
        isolated(plain(row.tank)),
        mean,
        NOT_RECORDED if row.weighed_on is None else day_cell(row.weighed_on),
        f"{survival} / {share_words(row.real_survival, digits=1)}",
        f"{figure(row.planned_fcr)} / {number_words(row.real_fcr)}",
        f"{weight(row.planned_taken_kg, found.units)} / "
        f"{weight_words(row.real_taken_kg, found.units)}",
    )


def weeks_table(found: Review) -> Table:
    """Return nitrate and feed by week: planned and real."""
    rows = []
    for row in found.weeks:
        low, high = row.tested_low_mg_l, row.tested_high_mg_l
        tested = "not tested"
        if low is not None and high is not None:
            tested = figure(low) if low == high else f"{figure(low)} to {figure(high)}"
        rows.append(
            (
                day_cell(row.week),
                figure(row.planned_mg_l),
                tested,
                f"by {figure(row.out_mg_l)}" if row.out_mg_l else "",
                weight(row.planned_feed_kg, found.units),
                weight_words(row.real_feed_kg, found.units),
            )
        )
    return Table(
        caption="Nitrate-N in mg/L, and feed, by week",
        head=("Week from", "Planned", "Tested", "Out of band", "Feed planned", "Feed given"),
        rows=tuple(rows),
    )


def change_words(found: Review) -> tuple[tuple[str, str, str, str], ...]:
    """Return title, sum, how it was reckoned and what to do, of each thing to change."""
    return tuple(
        (
            plain(change.title),
            money(change.money, found.currency),
            plain(change.reckoned),
            plain(change.todo),
        )
        for change in found.changes
    )
