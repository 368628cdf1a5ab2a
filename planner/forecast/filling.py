"""The forecast into the plan's document."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any, cast

from planner.document import (
    CohortRangeDoc,
    ForecastDoc,
    PlanDoc,
    ProduceRangeDoc,
    WeekRangeDoc,
)
from planner.forecast.bands import Band
from planner.forecast.result import Forecast

KG_DIGITS = 4
NOTHING = Band(0.0, 0.0, 0.0)


def fill(document: PlanDoc, forecast: Forecast) -> None:
    """Put the forecast into the document of the same plan: ranges, dates and chances.

    Keys set: `kg_p10`, `kg_p50` and `kg_p90` of each batch's harvests, `first_harvest_p10` and
    `first_harvest_p90` of each batch (None: later than the horizon, or never), `chance` of each
    order week, and `forecast`.

    Raises
    ------
    ValueError
        The document has not the order weeks that the forecast is of.
    """
    chances = [chance for _, chance in sorted(forecast.chance.items())]
    if len(chances) != len(document["orders"]):
        raise ValueError(
            f"the document has {len(document['orders'])} order weeks, the forecast {len(chances)}"
        )
    for batch in document["batches"]:
        row = cast("dict[str, Any]", batch)
        by_week = forecast.batch_kg.get(batch["id"], {})
        for harvest in batch["harvest"]:
            kg = by_week.get(_week(forecast, harvest["week"]), NOTHING)
            cast("dict[str, Any]", harvest).update(_ranged("kg", kg, KG_DIGITS))
        dates = forecast.first_harvest.get(batch["id"])
        for name in ("p10", "p90"):
            day = None if dates is None else getattr(dates, name)
            row[f"first_harvest_{name}"] = None if day is None else day.isoformat()
    for order, chance in zip(document["orders"], chances, strict=True):
        order["chance"] = round(chance, 3)
    cast("dict[str, Any]", document)["forecast"] = forecast_doc(forecast)


def forecast_doc(forecast: Forecast) -> ForecastDoc:
    """Return what stands under the key `forecast`; weeks without a crop's harvest are left out."""
    total = forecast.feed_total_kg
    return {
        "draws": forecast.draws,
        "seed": forecast.seed,
        "produce": _produce(forecast),
        "weeks": [
            cast(
                "WeekRangeDoc",
                {
                    "week": _monday(forecast, week),
                    **_ranged("nitrate_n_mg_l", Band(*forecast.nitrate_mg_l[:, week]), 3),
                    **_ranged("feed_kg", Band(*forecast.feed_kg[:, week]), KG_DIGITS),
                },
            )
            for week in range(forecast.nitrate_mg_l.shape[1])
        ],
        "cohorts": _cohorts(forecast),
        "feed_total_kg": {
            "p10": round(total.p10, 2),
            "p50": round(total.p50, 2),
            "p90": round(total.p90, 2),
        },
    }


def _produce(forecast: Forecast) -> list[ProduceRangeDoc]:
    weeks = forecast.nitrate_mg_l.shape[1]
    return [
        cast(
            "ProduceRangeDoc",
            {
                "week": _monday(forecast, week),
                "crop": name,
                **_ranged("kg", Band(*kg[:, week]), KG_DIGITS),
            },
        )
        for week in range(weeks)
        for name, kg in forecast.produce_kg.items()
        if kg[2, week] > 0
    ]


def _cohorts(forecast: Forecast) -> list[CohortRangeDoc]:
    return [
        cast(
            "CohortRangeDoc",
            {
                "id": name,
                "week": _monday(forecast, week),
                **_ranged("mean_g", mean_g, 2),
                **_ranged("kg", forecast.fish_kg[name][week], KG_DIGITS),
            },
        )
        for name, by_week in forecast.mean_g.items()
        for week, mean_g in by_week.items()
    ]


def _ranged(key: str, band: Band, digits: int) -> Mapping[str, float]:
    return {
        f"{key}_{name}": round(float(value), digits)
        for name, value in zip(Band._fields, band, strict=True)
    }


def _monday(forecast: Forecast, week: int) -> str:
    return (forecast.start + timedelta(weeks=week)).isoformat()


def _week(forecast: Forecast, monday: str) -> int:
    return (type(forecast.start).fromisoformat(monday) - forecast.start).days // 7
