"""What a grower takes along, as facts: hand-checked on the small plan, whole against any plan."""

from collections import Counter, defaultdict
from dataclasses import replace
from datetime import date, timedelta
from math import ceil

import pytest

from planner.document import PlanDoc
from planner.purchases import BAG_KG, purchases
from planner.takerows import fish_days, harvests, settings_out, sowings
from planner.tasks import Kind, dated
from tests.plandocs import CROPS, FISH, MADE_ON, small_plan

MONDAY = date(2027, 3, 1)


def day(offset: int) -> date:
    return MONDAY + timedelta(days=offset)


@pytest.fixture(
    params=[(MADE_ON, 4), (MADE_ON, 20), (date(2027, 12, 27), 52), (date(2027, 3, 31), 30)],
    ids=lambda param: f"{param[0]}-{param[1]}",
)
def any_plan(request: pytest.FixtureRequest) -> PlanDoc:
    made_on, weeks = request.param
    return small_plan(made_on=made_on, weeks=weeks)


# Sowing


def test_sowings_by_hand():
    """74 cells take two trays of 72; radish, of which 80 % come up, 120 / 0.8 seeds."""
    found = {row.batch: row for row in sowings(small_plan(), CROPS)}
    assert list(found) == [
        "B0003", "B0006", "B0011", "B0007", "B0010", "B0005", "B0012", "B0008",
    ]  # fmt: skip
    first = found["B0003"]
    assert (first.day, first.crop, first.zone) == (day(2), "lettuce_butterhead", "raft")
    assert (first.seeds, first.cells, first.trays, first.plants) == (74, 74, 2, 56)
    assert first.set_out == day(23)
    basil, radish = found["B0005"], found["B0007"]
    assert (basil.cells, basil.seeds, basil.trays) == (40, 120, 1)
    assert (radish.seeds, radish.cells, radish.trays, radish.set_out) == (150, 0, 0, None)


@pytest.mark.parametrize(
    ("batch", "amount"),
    [("B0006", (24, "division")), ("B0010", (64, "plug")), ("B0011", (22, "cutting"))],
)
def test_what_is_not_seed_has_no_seeds(batch, amount):
    (row,) = (row for row in sowings(small_plan(), CROPS) if row.batch == batch)
    assert row.seeds is None
    assert row.amount == amount


def test_unknown_seeds_are_told_as_cells_or_plants():
    unsown = {"radish": replace(CROPS["radish"], seeds_per_cell=0)}
    found = {row.batch: row for row in sowings(small_plan(), unsown)}
    assert (found["B0003"].seeds, found["B0003"].amount) == (None, (74, "cell"))
    assert (found["B0007"].seeds, found["B0007"].amount) == (None, (120, "plant"))


def test_every_sowing_is_listed_and_its_cells_are_the_plans(any_plan):
    planned = [batch for batch in any_plan["batches"] if batch["state"] == "planned"]
    found = sowings(any_plan, CROPS)
    assert Counter((row.day.isoformat(), row.batch) for row in found) == Counter(
        (batch["sow"], batch["id"]) for batch in planned
    )
    assert sum(row.cells for row in found) == sum(batch["cells"] for batch in planned)
    lettuce = [row for row in found if row.crop == "lettuce_butterhead"]  # one seed a cell
    assert sum(row.seeds or 0 for row in lettuce) == sum(row.cells for row in lettuce) > 0


def test_the_list_and_the_jobs_agree(any_plan):
    jobs = dated(any_plan, crops=CROPS, fish=FISH, units="metric")
    told = {
        (job.kind, line.batch): (job.day, line.number)
        for job in jobs
        for line in job.lines
        if job.kind in (Kind.SOW, Kind.SET_OUT)
    }
    listed = {
        (Kind.SOW, row.batch): (row.day, row.cells or row.plants)
        for row in sowings(any_plan, CROPS)
    }
    listed |= {(Kind.SET_OUT, row.batch): (row.day, row.plants) for row in settings_out(any_plan)}
    assert told.items() <= listed.items()
    last = date.fromisoformat(any_plan["horizon"]["start"])
    last += timedelta(weeks=any_plan["horizon"]["weeks"])
    assert all(when >= last for key, (when, _) in listed.items() if key not in told)


def test_settings_out_by_hand():
    found = settings_out(small_plan())
    assert [row.batch for row in found] == [
        "B0002", "B0003", "B0006", "B0005", "B0012", "B0010", "B0011",
    ]  # fmt: skip
    assert (found[0].day, found[0].plants) == (day(15), 42)
    assert found[0].places == ({"name": "raft 3", "parts": 2}, {"name": "raft 4", "parts": 1})


# Deliveries


def test_each_delivery_and_each_shortage_is_listed_once(any_plan):
    found = harvests(any_plan)
    given = [row for row in found if row.batch]
    assert Counter((r.line, r.week.isoformat(), r.batch, r.quantity) for r in given) == Counter(
        (d["line"], d["week"], d["batch"], d["quantity"]) for d in any_plan["deliveries"]
    )
    short, planned = defaultdict(float), defaultdict(float)
    for row in found:
        short[row.line, row.week.isoformat()] += row.short
        planned[row.line, row.week.isoformat()] += row.quantity
    for order in any_plan["orders"]:
        key = order["line"], order["week"]
        assert short[key] == pytest.approx(order["short"], abs=1e-6)
        assert planned[key] == pytest.approx(order["planned"])
    assert [row.week for row in found] == sorted(row.week for row in found)


def test_a_delivery_by_hand():
    """Week 13: 0.9 kg basil of 1 kg; 20 tilapia of 260 + 24 × 90 / 7 g of 15 kg."""
    rows = [row for row in harvests(small_plan()) if row.week == day(28)]
    assert [(row.line, row.batch) for row in rows] == [
        ("L2", "B0004"), ("L2", ""), ("L4", "C01"), ("L4", ""),
    ]  # fmt: skip
    basil, short, fish, no_fish = rows
    assert (basil.customer, basil.crop, basil.quantity) == (
        "Mill Street Café",
        "basil_genovese",
        0.9,
    )
    assert (basil.places, basil.from_cooler, basil.short) == (("north gravel 1",), False, 0.0)
    assert (short.quantity, short.short) == (0.0, pytest.approx(0.1))
    assert (fish.places, fish.quantity) == (("fish tank 1",), pytest.approx(11.3714, abs=1e-4))
    assert no_fish.short == pytest.approx(15 - 11.3714, abs=1e-4)


def test_what_was_cut_in_an_earlier_week_comes_from_the_cooler():
    """Of 42 heads cut in week 15 are 30 sold and 12 kept for week 16, cut 18 more."""
    rows = [row for row in harvests(small_plan()) if row.week == day(49)]
    assert [(row.batch, row.quantity, row.from_cooler) for row in rows] == [
        ("B0002", pytest.approx(12), True),
        ("B0003", pytest.approx(18), False),
    ]


def test_a_line_that_gets_nothing_is_listed_as_short():
    document = small_plan()
    document["deliveries"] = []
    for order in document["orders"]:
        order["short"], order["planned"] = order["ordered"], 0.0
    rows = harvests(document)
    assert len(rows) == len(document["orders"])
    assert all(row.short > 0 and not row.batch and not row.quantity for row in rows)


# Fish


def test_fish_days_by_hand():
    found = fish_days(small_plan())
    assert [(row.day, row.stocked, row.cohort) for row in found[:4]] == [
        (day(9), True, "C02"), (day(16), False, "C01"), (day(30), False, "C01"),
        (day(38), True, "C03"),
    ]  # fmt: skip
    stock, take, last = found[:3]
    assert (stock.tank, stock.count, stock.mean_g, stock.kg) == ("fish tank 2", 60, 40.0, 2.4)
    assert (take.count, take.mean_g) == (20, pytest.approx(260 + 24 * 76 / 7))
    assert last.mean_g == pytest.approx(260 + 24 * 90 / 7)
    assert [(one.customer, one.line) for one in take.serves] == [("Mill Street Café", "L4")]
    assert take.serves[0].quantity == pytest.approx(take.kg)


def test_fish_weigh_what_grows_with_them_whatever_the_count_is_rounded_to():
    document = small_plan()
    document["cohorts"][0]["taken"][0]["count"] = 19
    assert fish_days(document)[1].mean_g == pytest.approx(260 + 24 * 76 / 7)
    document["cohorts"][0]["weeks"] = []
    assert fish_days(document)[1].mean_g == pytest.approx(20 / 19 * (260 + 24 * 76 / 7))


def test_every_taking_is_listed_and_serves_its_deliveries_once(any_plan):
    found = fish_days(any_plan)
    takes = [row for row in found if not row.stocked]
    assert Counter((r.cohort, r.day.isoformat(), r.count, r.kg) for r in takes) == Counter(
        (cohort["id"], taken["date"], taken["count"], taken["kg"])
        for cohort in any_plan["cohorts"]
        for taken in cohort["taken"]
    )
    assert {row.cohort for row in found if row.stocked} == {
        cohort["id"] for cohort in any_plan["cohorts"] if cohort["stock"] >= any_plan["made_on"]
    }
    served = [one for row in takes for one in row.serves]
    fish = {cohort["id"] for cohort in any_plan["cohorts"]}
    assert Counter(served) == Counter(row for row in harvests(any_plan) if row.batch in fish)


def test_fish_from_the_cooler_belong_to_the_taking_before():
    document = small_plan()
    later = (MONDAY + timedelta(weeks=3)).isoformat()  # taken in weeks 2 and 4
    (order,) = (row for row in document["orders"] if row["week"] == day(14).isoformat()
                and row["line"] == "L4")  # fmt: skip
    document["orders"].append({**order, "week": later, "short": 0.0})
    document["deliveries"].append({"line": "L4", "week": later, "batch": "C01", "quantity": 2.0})
    first, second = (row for row in fish_days(document) if row.cohort == "C01")
    assert [one.week for one in first.serves] == [day(14), day(21)]
    assert [one.from_cooler for one in first.serves] == [False, True]
    assert [one.week for one in second.serves] == [day(28)]


# Shopping


def test_seeds_to_buy_are_the_seeds_to_sow(any_plan):
    sown: Counter[tuple[str, str, str]] = Counter()
    for row in sowings(any_plan, CROPS):
        count, unit = row.amount
        sown[row.crop, unit, f"{row.day:%Y-%m}"] += count
    bought = {
        (row.what, row.unit, f"{row.day:%Y-%m}"): row.number
        for row in purchases(any_plan, CROPS)
        if row.kind not in ("fingerlings", "feed")
    }
    assert bought == dict(sown)


def test_seeds_by_hand():
    rows = [row for row in purchases(small_plan(), CROPS) if row.kind == "seed"]
    assert [(row.what, row.day, row.number) for row in rows] == [
        ("basil_genovese", day(20), 120),
        ("lettuce_butterhead", day(2), 74 + 64),
        ("radish", day(8), 150),
        ("radish", day(45), 150),
    ]


def test_fingerlings_are_needed_on_the_day_they_are_stocked():
    rows = [row for row in purchases(small_plan(), CROPS) if row.kind == "fingerlings"]
    assert [(row.what, row.day, row.number, row.mean_g, row.tank) for row in rows] == [
        ("perch_yellow", day(9), 60, 40.0, "fish tank 2"),
        ("tilapia_nile", day(38), 50, 50.0, "fish tank 1"),
    ]


def test_feed_is_that_of_the_weeks(any_plan):
    fed: dict[str, float] = defaultdict(float)
    for row in purchases(any_plan, CROPS):
        if row.kind == "feed":
            fed[row.what] += row.number
    for species in {cohort["species"] for cohort in any_plan["cohorts"]}:
        weeks = [w for c in any_plan["cohorts"] if c["species"] == species for w in c["weeks"]]
        assert fed[species] == pytest.approx(sum(week["feed_kg"] for week in weeks))
    assert sum(fed.values()) == pytest.approx(sum(week["feed_kg"] for week in any_plan["weeks"]))


def test_feed_by_hand():
    """40 tilapia gain 24 g in the week of 1 March, at 1.7 kg of feed a kg; 3 March is plan day."""
    first = next(row for row in purchases(small_plan(), CROPS) if row.what == "tilapia_nile"
                 and row.kind == "feed")  # fmt: skip
    assert (first.day, first.bags) == (MADE_ON, 1)
    assert first.first_week_kg == pytest.approx(40 * 0.024 * 1.7)


def test_the_month_of_a_week_that_began_before_the_plan_is_that_of_the_plan_day():
    document = small_plan(made_on=date(2027, 4, 1))  # the week began on 29 March
    months = [
        (row.what, row.day.replace(day=1)) for row in purchases(document, CROPS)
        if row.kind == "feed"
    ]  # fmt: skip
    assert min(day for _, day in months) == date(2027, 4, 1)
    assert len(months) == len(set(months))


def test_there_is_always_feed_in_a_bag_and_never_a_bag_too_many():
    document = small_plan()
    for cohort in document["cohorts"]:
        for week in cohort["weeks"]:
            week["feed_kg"] *= 9.7
    need_kg: dict[str, float] = defaultdict(float)
    bags: Counter[str] = Counter()
    for row in purchases(document, CROPS):
        if row.kind == "feed":
            need_kg[row.what] += row.number
            bags[row.what] += row.bags or 0
            assert bags[row.what] == ceil(need_kg[row.what] / BAG_KG)
    assert min(bags.values()) > 3


# Ranges


def test_a_months_feed_has_the_range_of_its_weeks():
    document = small_plan(forecast=True)
    rows = [row for row in purchases(document, CROPS) if row.kind == "feed"]
    assert rows
    for row in rows:
        assert row.likely_kg == pytest.approx((0.85 * row.number, 1.15 * row.number))
    forecast = document["forecast"]
    assert forecast is not None
    week = forecast["weeks"][0]
    week["feed_kg_p10"], week["feed_kg_p90"] = 0.0, 3 * week["feed_kg_p90"]
    first = next(row for row in purchases(document, CROPS) if row.what == "tilapia_nile"
                 and row.kind == "feed")  # fmt: skip
    fed_kg = 40 * 0.024 * 1.7  # of the first week
    assert first.likely_kg == pytest.approx(
        (0.85 * (first.number - fed_kg), 1.15 * (first.number + 2 * fed_kg))
    )


def test_a_week_that_the_forecast_lacks_leaves_its_month_without_a_range():
    document = small_plan(forecast=True)
    forecast = document["forecast"]
    assert forecast is not None
    forecast["weeks"] = forecast["weeks"][1:]
    feed = [row for row in purchases(document, CROPS) if row.kind == "feed"]
    assert {row.day.month for row in feed if row.likely_kg is None} == {3}
    assert all(row.likely_kg is None for row in purchases(small_plan(), CROPS))


def test_deliveries_carry_their_orders_chance_and_fish_their_range():
    document = small_plan(forecast=True)
    chance = {(row["line"], row["week"]): row["chance"] for row in document["orders"]}
    rows = harvests(document)
    assert all(row.chance == chance[row.line, row.week.isoformat()] for row in rows)
    takes = [row for row in fish_days(document) if not row.stocked]
    assert all(row.share == pytest.approx((0.9, 1.1)) for row in takes)
    assert all(row.share is None for row in fish_days(small_plan()))


# Order


def test_the_order_of_the_document_does_not_matter(any_plan):
    before = _all(any_plan)
    for key in ("batches", "cohorts", "orders", "deliveries"):
        any_plan[key].reverse()  # type: ignore[literal-required]
    assert _all(any_plan) == before


def _all(document: PlanDoc) -> list[object]:
    return [
        sowings(document, CROPS),
        settings_out(document),
        harvests(document),
        fish_days(document),
        purchases(document, CROPS),
    ]
