"""The plan's tables as files: read back with the csv module, they say what the document says."""

import csv
import io
import json
from math import ceil

import pytest

from planner.document import PlanDoc
from planner.tablefiles import tables
from planner.tasks import dated
from tests.plandocs import CROPS, FISH, small_plan

ODD = ('=HYPERLINK("x")', 'a "quoted", name', "two\nlines", "@sum", "سلطة 🐟")


def files_of(document: PlanDoc) -> dict[str, bytes]:
    jobs = dated(document, crops=CROPS, fish=FISH, units="metric")
    return tables(document, jobs, crops=CROPS)


def rows_in(content: bytes) -> list[dict[str, str]]:
    rows = list(csv.DictReader(io.StringIO(content.decode(), newline="")))
    assert all(None not in row and None not in row.values() for row in rows)
    return rows


def read(name: str, document: PlanDoc) -> list[dict[str, str]]:
    return rows_in(files_of(document)[f"{name}.csv"])


def test_there_is_a_file_for_every_table():
    assert set(files_of(small_plan())) == {
        "batches.csv", "deliveries.csv", "fish.csv", "fish_list.csv", "harvest.csv", "jobs.csv",
        "orders.csv", "produce.csv", "setting_out.csv", "shopping.csv", "sowing.csv", "weeks.csv",
    }  # fmt: skip


def test_sowings_in_a_file():
    document = small_plan()
    rows = read("sowing", document)
    assert rows[0] == {
        "date": "2027-03-03",
        "crop": "lettuce, butterhead",
        "crop_id": "lettuce_butterhead",
        "batch": "B0003",
        "started_from": "seed",
        "seeds": "74",
        "cells": "74",
        "trays_of_72": "2",
        "plants": "56",
        "for_zone": "raft",
        "set_out": "2027-03-24",
    }
    planned = [batch for batch in document["batches"] if batch["state"] == "planned"]
    assert {row["batch"] for row in rows} == {batch["id"] for batch in planned}
    assert sum(int(row["cells"]) for row in rows) == sum(batch["cells"] for batch in planned)
    assert all(int(row["trays_of_72"]) == ceil(int(row["cells"]) / 72) for row in rows)
    mint = next(row for row in rows if row["crop_id"] == "mint")
    assert (mint["started_from"], mint["seeds"]) == ("division", "")
    radish = next(row for row in rows if row["crop_id"] == "radish")
    assert (radish["seeds"], radish["cells"], radish["set_out"]) == ("150", "0", "")


def test_settings_out_in_a_file():
    rows = read("setting_out", small_plan())
    assert rows[0] == {
        "date": "2027-03-16",
        "crop": "lettuce, butterhead",
        "crop_id": "lettuce_butterhead",
        "batch": "B0002",
        "plants": "42",
        "zone": "raft",
        "places": "raft 3:2 raft 4:1",
    }
    assert len(rows) == 7


def test_harvests_in_a_file():
    document = small_plan()
    rows = read("harvest", document)
    given = [row for row in rows if row["batch"]]
    assert len(given) == len(document["deliveries"])
    assert sum(float(row["quantity"]) for row in rows) == pytest.approx(
        sum(order["planned"] for order in document["orders"])
    )
    assert sum(float(row["short"]) for row in rows) == pytest.approx(
        sum(order["short"] for order in document["orders"])
    )
    cooled = next(row for row in rows if row["from"] == "cooler")
    assert (cooled["week"], cooled["line"], cooled["batch"], cooled["places"]) == (
        "2027-04-19", "L1", "B0002", "raft 3; raft 4",
    )  # fmt: skip
    short = next(row for row in rows if not row["batch"])
    assert (short["quantity"], short["from"], short["places"]) == ("0.0", "", "")


def test_fish_in_a_file():
    rows = read("fish_list", small_plan())
    assert rows[0] == {
        "date": "2027-03-10",
        "what": "stock",
        "fish": "Yellow perch",
        "fish_id": "perch_yellow",
        "cohort": "C02",
        "tank": "fish tank 2",
        "count": "60",
        "mean_g": "40.0",
        "kg": "2.4",
        "kg_p10": "",
        "kg_p90": "",
        "saleable": "",
        "order_lines": "",
        "order_by": "on order",
        "note": "order ahead, check permit before ordering",
    }
    assert (rows[1]["saleable"], rows[1]["order_lines"]) == ("True", "L4")
    assert [row["order_by"] for row in rows if row["what"] == "stock"] == ["on order", "2027-03-18"]
    assert {row["order_by"] for row in rows if row["what"] == "take"} == {""}
    assert sum(row["what"] == "take" for row in rows) == 5


def test_purchases_in_a_file():
    document = small_plan()
    rows = read("shopping", document)
    kinds = [row["kind"] for row in rows]
    assert set(kinds) == {"seed", "plug", "division", "cutting", "fingerlings", "feed"}
    feed_kg = sum(float(row["number"]) for row in rows if row["kind"] == "feed")
    fed_kg = sum(week["feed_kg"] for week in document["weeks"])
    assert feed_kg == pytest.approx(fed_kg, abs=1e-3)
    first = next(row for row in rows if row["kind"] == "feed" and row["what_id"] == "tilapia_nile")
    assert (first["month"], first["first_needed"], first["bags_of_20_kg"]) == (
        "2027-03", "2027-03-03", "1",
    )  # fmt: skip
    assert float(first["first_week_kg"]) == pytest.approx(1.632)
    seeds = next(row for row in rows if row["what_id"] == "lettuce_butterhead")
    assert (seeds["number"], seeds["unit"], seeds["bags_of_20_kg"]) == ("138", "seed", "")
    permits = [row["kind"] for row in rows if "permit" in row["note"]]
    assert permits == ["fingerlings", "fingerlings"]
    assert [row["order_by"] for row in rows if row["order_by"]] == ["on order", "2027-03-18"]


def test_batches_and_weeks_in_files():
    document = small_plan()
    batches = read("batches", document)
    assert [row["batch"] for row in batches] == [batch["id"] for batch in document["batches"]]
    assert batches[1]["places"] == "raft 3:2 raft 4:1"
    assert float(batches[1]["harvest_kg"]) == 10.5
    weeks = read("weeks", document)
    for row, week in zip(weeks, document["weeks"], strict=True):
        assert row["week"] == week["week"]
        assert float(row["nitrate_n_mg_l"]) == week["nitrate_n_mg_l"]


def test_ranges_and_chances_in_files():
    document = small_plan(forecast=True)
    files = {name: rows_in(content) for name, content in files_of(document).items()}
    forecast = document["forecast"]
    assert forecast is not None
    foretold = files["forecast.csv"]
    assert len(foretold) == len(forecast["produce"])
    planned = {(row["week"], row["crop"]): row["cut_kg"] for row in document["produce"]}
    for read_back, row in zip(foretold, forecast["produce"], strict=True):
        assert (read_back["week"], read_back["crop_id"]) == (row["week"], row["crop"])
        assert float(read_back["kg_p90"]) == pytest.approx(row["kg_p90"])
        assert float(read_back["planned_kg"]) == pytest.approx(planned[row["week"], row["crop"]])
    for read_back, week in zip(files["weeks.csv"], forecast["weeks"], strict=True):
        assert float(read_back["nitrate_n_mg_l_p10"]) == pytest.approx(week["nitrate_n_mg_l_p10"])
        assert float(read_back["feed_kg_p50"]) == pytest.approx(week["feed_kg_p50"])
    for read_back, cohort in zip(files["fish.csv"], forecast["cohorts"], strict=True):
        assert read_back["cohort"] == cohort["id"]
        assert float(read_back["mean_g_p90"]) == pytest.approx(cohort["mean_g_p90"])
        assert float(read_back["biomass_kg_p10"]) == pytest.approx(cohort["kg_p10"])
    assert [row["chance"] for row in files["orders.csv"]] == [
        str(order["chance"]) for order in document["orders"]
    ]
    basil = next(row for row in files["harvest.csv"] if row["batch"] == "B0004")
    assert [float(basil[f"batch_kg_{end}"]) for end in ("p10", "p50", "p90")] == pytest.approx(
        [0.96, 1.164, 1.44]
    )
    assert basil["chance"] == "0.9"
    cooled = next(row for row in files["harvest.csv"] if row["from"] == "cooler")
    assert cooled["batch_kg_p50"] == ""
    batch = files["batches.csv"][0]
    assert (batch["first_cut_p10"], batch["first_cut_p90"]) == ("2027-03-11", "2027-03-15")
    take = next(row for row in files["fish_list.csv"] if row["what"] == "take")
    assert float(take["kg_p10"]) == pytest.approx(0.9 * float(take["kg"]), abs=1e-4)
    feed = [row for row in files["shopping.csv"] if row["kind"] == "feed"]
    for row in feed:
        assert float(row["number_p90"]) == pytest.approx(1.15 * float(row["number"]), abs=1e-4)


def test_without_a_forecast_ranges_are_blank():
    files = {name: rows_in(content) for name, content in files_of(small_plan()).items()}
    assert "forecast.csv" not in files
    ranges = {
        (name, column): {row[column] for row in rows}
        for name, rows in files.items()
        for column in (rows[0] if rows else ())
        if column.endswith(("_p10", "_p50", "_p90")) or column == "chance"
    }
    assert len(ranges) > 15
    assert set().union(*ranges.values()) == {""}


def test_jobs_in_a_file():
    document = small_plan()
    jobs = dated(document, crops=CROPS, fish=FISH, units="metric")
    assert [(row["date"], row["what"]) for row in read("jobs", document)] == [
        (job.day.isoformat(), line.text) for job in jobs for line in job.lines
    ]


@pytest.mark.parametrize("odd", ODD)
def test_odd_names_are_read_back_and_never_run(odd):
    text = json.dumps(small_plan())
    for known in ("Corner Kitchen", "raft", "fish tank 1", "B0003", "mint (spearmint, peppermint)"):
        text = text.replace(f'"{known}', f'"{json.dumps(odd)[1:-1]}')
    document: PlanDoc = json.loads(text)
    safe = f"'{odd}" if odd[0] in "=@" else odd
    files = {name: rows_in(content) for name, content in files_of(document).items()}
    assert {row["customer"] for row in files["harvest.csv"]} == {safe, "Mill Street Café"}
    assert files["sowing.csv"][0]["batch"] == safe
    assert files["setting_out.csv"][0]["zone"] == safe
    assert safe in {row["tank"] for row in files["fish_list.csv"]}
    assert safe in {row["what"] for row in files["shopping.csv"]}
    cells = [cell for rows in files.values() for row in rows for cell in row.values()]
    assert not any(cell.startswith(("=", "@")) for cell in cells)


def test_a_crop_without_a_row_is_sown_in_cells():
    document = small_plan()
    rows = rows_in(tables(document, ())["sowing.csv"])
    assert {(row["started_from"], row["seeds"]) for row in rows} == {("seed", "")}


def test_same_plan_same_files():
    assert files_of(small_plan()) == files_of(small_plan())


def test_a_plan_without_anything_still_gives_files():
    document = small_plan()
    for key in ("batches", "cohorts", "orders", "deliveries", "produce"):
        document[key] = []  # type: ignore[literal-required]
    files = files_of(document)
    assert files["sowing.csv"] == files["shopping.csv"] == b"\n"
