"""The invented plan document keeps the sums that a real one keeps."""

from collections import defaultdict
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from tests import planchecks
from tests.plandocs import CROPS, VOLUME_M3, small_plan

DOCUMENT = small_plan()


def test_nitrogen_balances_every_week():
    pool_g = DOCUMENT["water"]["nitrate_n_start_mg_l"] * VOLUME_M3
    for week in DOCUMENT["weeks"]:
        pool_g += week["supply_n_g"] - week["uptake_n_g"]
        pool_g += week["deficit_n_g"] - week["pool_loss_n_g"]
        assert week["nitrate_n_mg_l"] * VOLUME_M3 == pytest.approx(pool_g)


def test_no_place_holds_more_than_its_parts():
    parts = {zone["name"]: zone["parts"] for zone in DOCUMENT["zones"]}
    cleaning = {zone["name"]: zone["sanitation_days"] for zone in DOCUMENT["zones"]}
    held: dict[tuple[str, date], int] = defaultdict(int)
    for batch in DOCUMENT["batches"]:
        day = date.fromisoformat(batch["transplant"] or batch["sow"])
        free = date.fromisoformat(batch["clear"]) + timedelta(days=cleaning[batch["zone"]])
        while day < free:
            for place in batch["places"]:
                held[place["name"], day] += place["parts"]
            day += timedelta(days=1)
    for (name, _), count in held.items():
        assert count <= parts[name.rpartition(" ")[0]]


def test_what_is_cut_is_what_goes_out():
    cut: dict[tuple[str, str], float] = defaultdict(float)
    for batch in DOCUMENT["batches"]:
        for row in batch["harvest"]:
            cut[batch["crop"], row["week"]] += row["kg"]
        cuts_kg = sum(row["kg"] for row in batch["cuts"])
        assert cuts_kg == pytest.approx(sum(row["kg"] for row in batch["harvest"]))
    cooler: dict[str, float] = defaultdict(float)
    for row in DOCUMENT["produce"]:
        if row["crop"] in CROPS:
            assert row["cut_kg"] == pytest.approx(cut[row["crop"], row["week"]])
        assert row["from_cooler_kg"] == pytest.approx(cooler[row["crop"]])
        cooler[row["crop"]] = row["to_cooler_kg"]
        out_kg = row["orders_kg"] + row["outlets_kg"] + row["to_cooler_kg"] + row["wasted_kg"]
        assert row["cut_kg"] + row["from_cooler_kg"] == pytest.approx(out_kg)


def test_orders_are_filled_by_deliveries():
    for order in DOCUMENT["orders"]:
        delivered = sum(
            row["quantity"]
            for row in DOCUMENT["deliveries"]
            if (row["line"], row["week"]) == (order["line"], order["week"])
        )
        assert order["planned"] == pytest.approx(delivered)
        assert order["short"] == pytest.approx(max(0, order["ordered"] - order["planned"]))


# The check of forecasts


def broken(change: Callable[[Any], None]) -> list[str]:
    document = small_plan(forecast=True)
    change(document)
    return list(planchecks.forecast(document))


def test_a_sound_forecast_or_none_has_no_fault():
    assert broken(lambda plan: None) == []
    assert list(planchecks.forecast(small_plan())) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda plan: plan["batches"][0]["harvest"][0].update(kg_p10=99.0), "B0001"),
        (lambda plan: plan["batches"][0]["harvest"][0].update(kg_p50=None), "has no range"),
        (lambda plan: plan["batches"][0].update(first_harvest_p90="2027-03-10"), "first cut"),
        (lambda plan: plan["orders"][0].update(chance=1.01), "a chance of 1.01"),
        (lambda plan: plan["orders"][0].update(chance=None), "a chance of None"),
        (lambda plan: plan["forecast"]["weeks"][3].update(nitrate_n_mg_l_p10=-1.0), "water"),
        (lambda plan: plan["forecast"]["weeks"].pop(), "its weeks are not"),
        (lambda plan: plan["forecast"]["cohorts"][0].update(id="C99"), "no fish are planned"),
        (lambda plan: plan["forecast"]["produce"][0].update(crop="kale"), "from nowhere"),
        (lambda plan: plan["forecast"]["produce"].clear(), "planned, foretold 0.000"),
        (lambda plan: plan["forecast"]["feed_total_kg"].update(p50=1.0), "feed"),
        (lambda plan: plan.update(forecast=None), "a range without a forecast"),
    ],
)
def test_each_fault_of_a_forecast_is_found(change, said):
    assert any(said in fault for fault in broken(change))
