"""What must hold in every plan that is written, checked on the files alone.

Each check takes the plan as read from plan.json and yields a sentence for each fault; `calendar`
takes the calendar's octets too, `page` the HTML. They use nothing of the planner but the keys of
the document and the tables, so that a fault cannot hide behind the code that made it. The rules are
the project's own, stated in its documents; the file forms are those of RFC 5545 and of HTML.
"""

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from itertools import pairwise
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints, is_typeddict

import html5lib
from icalendar import Calendar

from planner.document import PlanDoc
from planner.tables import Crop, Fish, load_crops, load_fish

Plan = Mapping[str, Any]
Faults = Iterator[str]

MOST_EVENTS = 1000
MOST_OCTETS = 1_000_000
MOST_PAGE_OCTETS = 700_000
TANK_REST = timedelta(days=7)
WEEK = timedelta(days=7)
KG = 1e-3
GRAMS = 0.01
_DAYS = {
    "made_on", "start", "week", "date", "sow", "transplant", "ripe", "first_harvest",
    "last_harvest", "clear", "order_by", "stock", "harvest",
}  # fmt: skip
_MONDAYS = {"start", "week"}


def faults(
    plan: Plan,
    ics: bytes,
    html: str | None = None,
    *,
    crops: Mapping[str, Crop] | None = None,
    species: Mapping[str, Fish] | None = None,
) -> list[str]:
    """Return every fault of a plan and its calendar, and of its page if that is given.

    `crops` and `species` are the tables that the farm was planned with; the shipped ones if not.
    """
    form = [f"keys: {fault}" for fault in keys(plan)]
    if form:
        return form  # nothing else can be read with confidence
    table, water_life = crops or load_crops(), species or load_fish()
    checks: dict[str, Faults] = {
        "weeks": weeks(plan),
        "places": places(plan),
        "batches": batches(plan),
        "produce": produce(plan, table),
        "orders": orders(plan, table),
        "nitrogen": nitrogen(plan),
        "fish": fish(plan, water_life),
        "forecast": forecast(plan),
        "calendar": calendar(plan, ics),
        "page": iter(()) if html is None else page(html),
    }
    return [f"{name}: {fault}" for name, found in checks.items() for fault in found]


# Form


def keys(plan: Plan) -> Faults:
    """Every key of the document is there, with its type; numbers are finite, days are days."""
    yield from _typed(plan, PlanDoc, "plan")


def _typed(value: Any, kind: Any, where: str) -> Faults:
    if kind is Any:
        return
    options = get_args(kind) if get_origin(kind) is UnionType else (kind,)
    if value is None and NoneType in options:
        return
    kind = next(option for option in options if option is not NoneType)
    if is_typeddict(kind):
        if not isinstance(value, dict):
            yield f"{where} is no table"
            return
        for key, hint in get_type_hints(kind).items():
            if key not in value:
                yield f"{where} lacks {key}"
            else:
                yield from _typed(value[key], hint, f"{where}.{key}")
    elif get_origin(kind) in (list, dict):
        if not isinstance(value, get_origin(kind)):
            yield f"{where} is {value!r}"
            return
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for key, item in items:
            yield from _typed(item, get_args(kind)[-1], f"{where}[{key}]")
    elif kind is float:
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not math.isfinite(value)
        ):
            yield f"{where} is {value!r}, no finite number"
    elif type(value) is not kind:
        yield f"{where} is {value!r}, not of type {kind.__name__}"
    elif where.rpartition(".")[2] in _DAYS:
        yield from _day_faults(value, where)


def _day_faults(text: str, where: str) -> Faults:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        yield f"{where} is {text!r}, no date"
        return
    if where.rpartition(".")[2] in _MONDAYS and day.weekday() != 0:
        yield f"{where} is {text}, no Monday"


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _end(plan: Plan) -> date:
    """The day after the horizon."""
    return _day(plan["horizon"]["start"]) + plan["horizon"]["weeks"] * WEEK


def _in(plan: Plan, day: str | None) -> bool:
    """Whether a day is within the horizon and not before the plan date."""
    return day is not None and _day(plan["made_on"]) <= _day(day) < _end(plan)


def weeks(plan: Plan) -> Faults:
    """The weeks are the horizon's, one after another; no rule is broken; ids are unique."""
    start = _day(plan["horizon"]["start"])
    wanted = [(start + n * WEEK).isoformat() for n in range(plan["horizon"]["weeks"])]
    if [row["week"] for row in plan["weeks"]] != wanted:
        yield "are not those of the horizon"
    if not timedelta(0) <= _day(plan["made_on"]) - start < WEEK:
        yield "the plan date is not in the first week"
    for name in ("batches", "cohorts"):
        ids = Counter(row["id"] for row in plan[name])
        yield from (f"{name}: {id} stands twice" for id, count in ids.items() if count > 1)
    yield from (f"a rule is broken: {text}" for text in plan["violations"])


# Places and batches


def places(plan: Plan) -> Faults:
    """No place ever holds more parts than it has, cleaning days included."""
    zones = {zone["name"]: zone for zone in plan["zones"]}
    changes: dict[str, list[tuple[date, int, str]]] = defaultdict(list)
    for batch in plan["batches"]:
        zone = zones[batch["zone"]]
        if sum(place["parts"] for place in batch["places"]) != batch["parts"]:
            yield f"{batch['id']}: its places do not hold its {batch['parts']} parts"
        first = _day(batch["transplant"] or batch["sow"])
        last = max(_day(batch["clear"]) + timedelta(days=zone["sanitation_days"]), first)
        for place in batch["places"]:
            name, _, number = place["name"].rpartition(" ")
            if name != zone["name"] or not 1 <= int(number) <= zone["places"]:
                yield f"{batch['id']}: {place['name']} is no place of {zone['name']}"
            changes[place["name"]] += [
                (last, -place["parts"], batch["id"]),
                (first, place["parts"], batch["id"]),
            ]
    for name, moves in changes.items():
        most, held = zones[name.rpartition(" ")[0]]["parts"], 0
        for day, parts, id in sorted(moves):  # what leaves on a day goes first
            held += parts
            if held > most:
                yield f"{name} holds {held} of {most} parts on {day}, with {id}"


def batches(plan: Plan) -> Faults:
    """A batch is sown, set out, ripe, cut and cleared in this order; its sums agree."""
    made_on, start = plan["made_on"], _day(plan["horizon"]["start"])
    for batch in plan["batches"]:
        id, cuts = batch["id"], batch["cuts"]
        if batch["state"] == "planned" and min(batch["sow"], batch["transplant"] or "9") < made_on:
            yield f"{id} is sown or set out before the plan date"
        course = [batch["sow"], batch["transplant"], batch["first_harvest"], batch["last_harvest"]]
        days = [day for day in (*course, batch["clear"]) if day is not None]
        if days != sorted(days):
            yield f"{id}: its days are not in order: {' '.join(days)}"
        if batch["transplant"] and batch["ripe"] < batch["transplant"]:
            yield f"{id} is ripe before it is set out"
        found = [cut["date"] for cut in cuts]
        ends = [found[0], found[-1]] if found else [None, None]
        if ends != [batch["first_harvest"], batch["last_harvest"]] or found != sorted(set(found)):
            yield f"{id}: its cuts are not those of its first and last day"
        if found and (found[0] < batch["ripe"] or found[-1] >= batch["clear"]):
            yield f"{id} is cut before it is ripe, or on or after the day it is cleared"
        if any(not _in(plan, day) for day in found):
            yield f"{id} is cut outside the horizon"
        by_week: dict[str, float] = defaultdict(float)
        for cut in cuts:
            monday = _day(cut["date"]) - timedelta(days=_day(cut["date"]).weekday())
            by_week[monday.isoformat()] += cut["kg"]
            if cut["kg"] <= 0 or monday < start:
                yield f"{id}: a cut of {cut['kg']} kg on {cut['date']}"
        yield from _differ({row["week"]: row["kg"] for row in batch["harvest"]}, by_week, id, KG)


def _differ(
    found: Mapping[Any, float], wanted: Mapping[Any, float], what: str, tolerance: float
) -> Faults:
    for key in sorted({*found, *wanted}):
        has, needs = found.get(key, 0.0), wanted.get(key, 0.0)
        if abs(has - needs) > tolerance + 1e-5 * abs(needs):
            yield f"{what}, {key}: {has:g} is not {needs:g}"


# Produce and orders


def produce(plan: Plan, crops: Mapping[str, Crop]) -> Faults:
    """What is cut and what comes from the cooler goes somewhere; batches and fish give the cut."""
    given: dict[tuple[str, str], float] = defaultdict(float)
    for batch in plan["batches"]:
        for row in batch["harvest"]:
            given[batch["crop"], row["week"]] += row["kg"]
    for cohort in plan["cohorts"]:
        for taken in cohort["taken"]:
            if taken["saleable"]:
                given[cohort["species"], taken["week"]] += taken["kg"]
    cut = {(row["crop"], row["week"]): row["cut_kg"] for row in plan["produce"]}
    yield from _differ(cut, given, "cut of batches and fish", 3 * KG)
    kept: dict[tuple[str, date], float] = defaultdict(float)
    for row in sorted(plan["produce"], key=lambda row: row["week"]):
        name, monday = row["crop"], _day(row["week"])
        outward = sum(row[k] for k in ("orders_kg", "outlets_kg", "to_cooler_kg", "wasted_kg"))
        if abs(row["cut_kg"] + row["from_cooler_kg"] - outward) > KG:
            yield f"{name}, {monday}: what comes in does not go out"
        if min(value for key, value in row.items() if key.endswith("_kg")) < 0:
            yield f"{name}, {monday}: a weight is below 0"
        if row["from_cooler_kg"] > kept[name, monday - WEEK] + KG:
            yield f"{name}, {monday}: more comes from the cooler than was put there"
        if row["to_cooler_kg"] > KG and (name not in crops or crops[name].shelf_days < 7):
            yield f"{name}, {monday}: kept a week, and does not keep so long"
        kept[name, monday] = row["to_cooler_kg"]


def orders(plan: Plan, crops: Mapping[str, Crop]) -> Faults:
    """Deliveries are what is planned, come from what was cut by then, and shortages are told."""
    sums: dict[tuple[str, str], float] = defaultdict(float)
    out: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    units = {row["line"]: row["unit"] for row in plan["orders"]}
    kind = {batch["id"]: batch["crop"] for batch in plan["batches"]}
    kind |= {cohort["id"]: cohort["species"] for cohort in plan["cohorts"]}
    for row in plan["deliveries"]:
        sums[row["line"], row["week"]] += row["quantity"]
        source = kind.get(row["batch"])
        if source is None or row["line"] not in units or row["quantity"] <= 0:
            yield f"delivery of {row['quantity']} from {row['batch']} for {row['line']}"
            continue
        weight = 1.0 if units[row["line"]] == "kg" else crops[source].kg_per_unit
        out[row["batch"]][row["week"]] += row["quantity"] * weight
    planned = {(row["line"], row["week"]): row["planned"] for row in plan["orders"]}
    if len(planned) != len(plan["orders"]):
        yield "a line stands twice in a week"
    yield from _differ(sums, planned, "deliveries and plan", KG)
    sold: dict[str, float] = defaultdict(float)
    for row in plan["orders"]:
        sold[row["week"]] += row["planned"] * row["kg_per_unit"]
        if abs(row["short"] - max(0.0, row["ordered"] - row["planned"])) > KG:
            yield f"{row['line']}, {row['week']}: short is {row['short']}"
        if row["planned"] > row["ordered"] + KG:
            yield f"{row['line']}, {row['week']}: more is planned than ordered"
    taken: dict[str, float] = defaultdict(float)
    for row in plan["produce"]:
        taken[row["week"]] += row["orders_kg"]
    yield from _differ(sold, taken, "weight of orders", 5 * KG)
    yield from _served(plan, out)


def _served(plan: Plan, out: Mapping[str, Mapping[str, float]]) -> Faults:
    """No batch has given more by the end of a week than was cut of it by then."""
    cut = {b["id"]: [(r["week"], r["kg"]) for r in b["harvest"]] for b in plan["batches"]}
    cut |= {c["id"]: [(t["week"], t["kg"]) for t in c["taken"]] for c in plan["cohorts"]}
    for id, by_week in out.items():
        for week in by_week:
            gone = sum(kg for when, kg in by_week.items() if when <= week)
            there = sum(kg for when, kg in cut[id] if when <= week)
            if gone > there + 3 * KG:
                yield f"{id} gives {gone:.3f} kg by {week}, of {there:.3f} kg cut"


# Water and fish


def nitrogen(plan: Plan) -> Faults:
    """The water's nitrogen balances in each week, and is the sum of its parts."""
    volume_m3, before = plan["water"]["volume_m3"], plan["water"]["nitrate_n_start_mg_l"]
    uptake: dict[str, float] = defaultdict(float)
    for batch in plan["batches"]:
        for row in batch["uptake_g_n"]:
            uptake[row["week"]] += row["g"]
    feed: dict[str, float] = defaultdict(float)
    for cohort in plan["cohorts"]:
        for row in cohort["weeks"]:
            feed[row["week"]] += row["feed_kg"]
    for row in plan["weeks"]:
        week, now = row["week"], row["nitrate_n_mg_l"]
        change = row["supply_n_g"] - row["uptake_n_g"] + row["deficit_n_g"] - row["pool_loss_n_g"]
        off_g = volume_m3 * (now - before) - change
        if abs(off_g) > GRAMS + 1e-6 * volume_m3:
            yield f"{week}: {off_g:.3f} g are unaccounted for"
        if row["deficit_n_g"] > GRAMS and now > GRAMS / volume_m3:
            yield f"{week}: plants want while there is nitrate"
        if min(row[key] for key in row if key.endswith(("_g", "_mg_l", "_kg"))) < 0:
            yield f"{week}: a quantity is below 0"
        if (
            not row["pool_loss_n_g"] - GRAMS
            <= row["lost_n_g"]
            <= row["feed_n_g"] + before * volume_m3 + GRAMS
        ):
            yield f"{week}: {row['lost_n_g']} g lost"
        if abs(row["uptake_n_g"] - uptake[week]) > GRAMS + 1e-3 * len(plan["batches"]):
            yield f"{week}: batches take {uptake[week]:.3f} g, not {row['uptake_n_g']}"
        if abs(row["feed_kg"] - feed[week]) > KG + 1e-5 * len(plan["cohorts"]):
            yield f"{week}: cohorts eat {feed[week]:.3f} kg, not {row['feed_kg']}"
        before = now


def fish(plan: Plan, species: Mapping[str, Fish]) -> Faults:
    """Tanks are within their density and empty for a week between cohorts; the water bears it."""
    tanks = {tank["name"]: tank for tank in plan["tanks"]}
    inherited = {row["week"] for row in plan["weeks"] if row["inherited"]}
    stays: dict[str, list[tuple[date, date]]] = defaultdict(list)
    for cohort in plan["cohorts"]:
        tank, id = tanks[cohort["tank"]], cohort["id"]
        stays[tank["name"]].append(
            (_day(cohort["stock"]), _day(cohort["harvest"] or date.max.isoformat()))
        )
        for row in cohort["weeks"]:
            kg = row["count"] * row["mean_g"] / 1000
            if abs(kg - row["biomass_kg"]) > 1e-2 + 1e-5 * (row["count"] + row["mean_g"]):
                yield f"{id}, {row['week']}: {row['biomass_kg']} kg are not count times weight"
            density = row["biomass_kg"] / tank["volume_m3"]
            if density > cohort["max_kg_m3"] + KG and row["week"] not in inherited:
                yield f"{id}, {row['week']}: {density:.2f} kg/m3 of {cohort['max_kg_m3']}"
        yield from _growth(cohort, species[cohort["species"]])
        counts = [row["count"] for row in cohort["weeks"]]
        if any(later > earlier + KG for earlier, later in pairwise(counts)):
            yield f"{id}: fish appear from nowhere"
        if counts and sum(taken["count"] for taken in cohort["taken"]) > counts[0] + 1:
            yield f"{id}: more fish are taken than there were"
        yield from (
            f"{id}: taken on {t['date']}, not in the week of {t['week']} or from an empty tank"
            for t in cohort["taken"]
            if not 0 <= (_day(t["date"]) - _day(t["week"])).days < 7
            or t["date"] > (cohort["harvest"] or t["date"])
        )
    for name, times in stays.items():
        for (_, empty), (stock, _) in pairwise(sorted(times)):
            if empty > date.max - TANK_REST or stock < empty + TANK_REST:
                yield f"{name} is stocked on {stock}, empty from {empty}"
    bears = [species[cohort["species"]].nitrate_n_max_mg_l for cohort in plan["cohorts"]]
    for row in plan["weeks"]:
        if row["inherited"]:
            continue
        if row["nitrate_n_mg_l"] > min(bears, default=math.inf) + KG:
            yield f"{row['week']}: {row['nitrate_n_mg_l']} mg/L are more than the fish bear"
        if row["tan_g_day"] > row["biofilter_g_day"] + KG:
            yield f"{row['week']}: more ammonia than the filter turns over"


def _growth(cohort: Mapping[str, Any], species: Fish) -> Faults:
    """Fish never shrink, and put on no more than their feed gives."""
    taken: dict[str, float] = defaultdict(float)
    for row in cohort["taken"]:
        taken[row["week"]] += row["kg"]
    for now, then in pairwise(cohort["weeks"]):
        gain_kg = then["biomass_kg"] - now["biomass_kg"] + taken[now["week"]]
        if gain_kg > now["feed_kg"] / species.fcr + 1e-2 or then["mean_g"] < now["mean_g"]:
            yield (
                f"{cohort['id']}, {now['week']}: {gain_kg:.3f} kg are gained on {now['feed_kg']} kg"
            )


# Forecast


def forecast(plan: Plan) -> Faults:
    """Ranges are in order and about the plan, chances are from 0 to 1; all of them or none."""
    told = plan["forecast"]
    harvests = [(b["id"], row) for b in plan["batches"] for row in b["harvest"]]
    if told is None:
        yield from (f"{id}: a range without a forecast" for id, r in harvests if r["kg_p10"])
        yield from (f"{r['line']}: a chance without one" for r in plan["orders"] if r["chance"])
        return
    rows: list[tuple[str, Mapping[str, Any]]] = [
        *harvests,
        *((row["crop"], row) for row in told["produce"]),
        *(("water", row) for row in told["weeks"]),
        *((row["id"], row) for row in told["cohorts"]),
        ("feed in all", {f"kg_{end}": kg for end, kg in told["feed_total_kg"].items()}),
    ]
    for name, row in rows:
        yield from _out_of_order(f"{name}, {row.get('week', '')}", row)
    for row in plan["orders"]:
        if row["chance"] is None or not 0 <= row["chance"] <= 1:
            yield f"{row['line']}, {row['week']}: a chance of {row['chance']}"
    for batch in plan["batches"]:
        first, last = batch["first_harvest_p10"], batch["first_harvest_p90"]
        if first is not None and (first < plan["made_on"] or (last or first) < first):
            yield f"{batch['id']}: first cut from {first} to {last}"
    yield from _about_the_plan(plan)


def _out_of_order(where: str, row: Mapping[str, Any]) -> Faults:
    for key in (name.removesuffix("_p10") for name in row if name.endswith("_p10")):
        low, middle, high = (row[f"{key}_{end}"] for end in ("p10", "p50", "p90"))
        if low is None or middle is None or high is None:
            yield f"{where}: {key} has no range"
        elif not 0 <= low <= middle <= high:
            yield f"{where}: {key} from {low} over {middle} to {high}"


def _about_the_plan(plan: Plan) -> Faults:
    """What is foretold is of this plan: its weeks, its crops and fish, its sums in between."""
    told = plan["forecast"]
    if [row["week"] for row in told["weeks"]] != [row["week"] for row in plan["weeks"]]:
        yield "its weeks are not those of the plan"
    fish_weeks = {(c["id"], row["week"]) for c in plan["cohorts"] for row in c["weeks"]}
    for row in told["cohorts"]:
        if (row["id"], row["week"]) not in fish_weeks:
            yield f"{row['id']}, {row['week']}: no fish are planned"
    planned: dict[str, float] = defaultdict(float)
    for row in plan["produce"]:
        planned[row["crop"]] += row["cut_kg"]
    low: dict[str, float] = defaultdict(float)
    high: dict[str, float] = defaultdict(float)
    for row in told["produce"]:
        low[row["crop"]] += row["kg_p10"]
        high[row["crop"]] += row["kg_p90"]
    yield from (f"{crop} comes from nowhere" for crop in high if planned[crop] <= 0)
    for crop, kg in planned.items():
        if not low[crop] - KG <= kg * 1.05 or kg * 0.8 > high[crop] + KG:
            yield f"{crop}: {kg:.3f} kg planned, foretold {low[crop]:.3f} to {high[crop]:.3f}"
    feeds = [(row["feed_kg_p10"], row["feed_kg_p90"]) for row in told["weeks"]]
    least, most = (sum(ends) for ends in zip(*feeds, strict=True))
    rounding = KG + 0.001 * len(feeds)
    if not least - rounding <= told["feed_total_kg"]["p50"] <= most + rounding:
        yield f"feed of {told['feed_total_kg']['p50']} kg is not that of the weeks"


# Calendar and page


def calendar(plan: Plan, ics: bytes) -> Faults:
    """Every dated act of the plan stands in exactly one event of its day, and no other does."""
    events = list(Calendar.from_ical(ics).walk("VEVENT"))
    if len(events) >= MOST_EVENTS or len(ics) >= MOST_OCTETS:
        yield f"{len(events)} events, {len(ics)} octets"
    if len({str(event["UID"]) for event in events}) < len(events):
        yield "two events have one UID"
    told: Counter[tuple[str, str, str]] = Counter()
    tested: Counter[str] = Counter()
    for event in events:
        day = event["DTSTART"].dt
        if type(day) is not date or not _in(plan, day.isoformat()):
            yield f"an event on {day}"
            continue
        kind = str(event["CATEGORIES"].cats[0])
        if kind == "Water":
            tested[(day - timedelta(days=day.weekday())).isoformat()] += 1
        for text, id in _entries(str(event["DESCRIPTION"])):
            act = text.partition(" ")[0].rstrip(":") if kind == "Fish" else kind
            told[day.isoformat(), act, id] += 1
    if tested != Counter(row["week"] for row in plan["weeks"]):
        yield "the water is not tested once in each week"
    wanted = Counter(
        (day, act, _shown(id)) for day, act, id in _acts(plan) if day is not None and _in(plan, day)
    )
    yield from (f"{key} is not told" for key in (wanted - told))
    yield from (f"{key} is told and is not of the plan" for key in (told - wanted))


def _shown(id: str) -> str:
    return " ".join(id.split())


def _entries(description: str) -> Iterator[tuple[str, str]]:
    for line in description.splitlines():
        text, mark, id = line.rpartition(" [")
        if mark and id.endswith("]"):
            yield text, id[:-1]


def _acts(plan: Plan) -> Iterator[tuple[str | None, str, str]]:
    """Yield day, act and id of everything that the calendar must tell."""
    for batch in plan["batches"]:
        id, state = batch["id"], batch["state"]
        if state == "planned":
            yield batch["sow"], "Sow", id
        if state in ("planned", "sown"):
            yield batch["transplant"], "Set out", id
        for cut in batch["cuts"]:
            yield cut["date"], "Cut", id
        yield batch["clear"], "Clear", id
    for cohort in plan["cohorts"]:
        yield cohort["order_by"], "Order", cohort["id"]
        yield cohort["stock"], "Stock", cohort["id"]
        for taken in cohort["taken"]:
            yield taken["date"], "Take", cohort["id"]
        yield cohort["harvest"], "Empty", cohort["id"]


def page(html: str) -> Faults:
    """The page is valid HTML and small enough for a phone."""
    size = len(html.encode())
    if size >= MOST_PAGE_OCTETS:
        yield f"has {size} octets"
    parser = html5lib.HTMLParser()
    parser.parse(html)
    yield from (f"at {where}: {code}" for where, code, _ in parser.errors[:5])
    loaded = re.findall(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//[^"'\s>]*""", html)
    yield from (f"loads or links {text}" for text in loaded)
