"""The plan as a document: named lots, cohorts, weeks, orders, all from the decisions alone."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np

from planner import plan as season
from planner.crops import doubts
from planner.demand import unit_weight_kg
from planner.document import (
    BatchDoc,
    CohortDoc,
    DeliveryDoc,
    OrderWeekDoc,
    PlaceDoc,
    PlanDoc,
    ProduceDoc,
    WeekDoc,
)
from planner.environment import zone_air_c, zone_dli_mol
from planner.insight import Insight
from planner.lots import Flows, Lot
from planner.nitrogen import lost_g
from planner.plan import SeasonPlan
from planner.present import row_of
from planner.problem import SeasonProblem
from planner.schools import School, order_by
from planner.tables import cells_for

KG_DIGITS = 6


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def document(
    problem: SeasonProblem,
    plan: SeasonPlan,
    all_lots: Sequence[Lot],
    fish: Sequence[School],
    goes: Flows,
    places: Mapping[str, Sequence[PlaceDoc]],
    warnings: Sequence[str],
    violations: Sequence[str],
    insight: Insight,
    *,
    rows_read: Sequence[dict[str, Any]] = (),
    happened: Sequence[str] = (),
    book_entries: int = 0,
) -> PlanDoc:
    """Return the document of a plan.

    Parameters
    ----------
    places
        By lot: where it stands.
    rows_read
        Of `growing.csv` and `cohorts.csv`, as they are now.
    happened
        Since the plan before, in words.
    book_entries
        Highest number of an entry of the book that the farm was taken from.
    """
    farm, horizon = problem.farm, problem.horizon
    end = horizon.monday(horizon.weeks)
    reported = [lot for lot in all_lots if lot.option.sow < end]
    names = {name: problem.crops[name].name for name in problem.produce if name in problem.crops}
    names |= {name: problem.fish[name].name for name in problem.produce if name in problem.fish}
    names |= {lot.option.crop: problem.crops[lot.option.crop].name for lot in all_lots}
    names |= {s.option.species: problem.fish[s.option.species].name for s in fish}
    return PlanDoc(
        farm=farm.name,
        made_on=horizon.plan_date.isoformat(),
        units=farm.units,
        horizon={"start": horizon.start.isoformat(), "weeks": horizon.weeks},
        solver={
            "status": plan.status.value,
            "value": round(plan.value, 2),
            "bound": round(plan.bound, 2),
            "gap": round(plan.gap, 6),
            "work": float(plan.work),
            "seconds": round(plan.seconds, 2),
            "seed": plan.seed,
            "stopped_by": plan.stopped_by,
        },
        crops=dict(sorted(names.items())),
        zones=[
            {
                "name": zone.name,
                "method": zone.method.value,
                "places": zone.places,
                "parts": zone.parts,
                "sanitation_days": zone.sanitation_days,
            }
            for zone in farm.zones
        ],
        tanks=[
            {
                "name": name,
                "volume_m3": tank.volume_m3,
                "max_kg_m3": tank.max_density_kg_m3 or _least_density(problem, name, fish),
            }
            for tank in farm.tanks
            for name in tank.tank_names
        ],
        water={
            "volume_m3": farm.water.volume_m3,
            "nitrate_n_start_mg_l": problem.start_pool_g / farm.water.volume_m3,
            "band_n_mg_l": [farm.water.band_low_mg_l, farm.water.band_high_mg_l],
        },
        batches=[_batch(problem, lot, goes, places[lot.id], end) for lot in reported],
        cohorts=[_cohort(problem, school) for school in fish if school.option.stock < end],
        weeks=_weeks(problem, plan),
        produce=_produce(problem, plan),
        orders=_orders(problem, plan, insight.why),
        deliveries=_served(problem, goes),
        marginal=list(insight.marginal),
        comparison=insight.comparison,
        forecast=None,
        certainty=None,
        learned={},
        house={
            "standing": [row_of(batch) for batch in farm.standing],
            "cohorts": [row_of(cohort) for cohort in farm.cohorts],
            "nitrate_n_mg_l": problem.start_pool_g / farm.water.volume_m3,
            "rows_read": list(rows_read),
        },
        book_entries=book_entries,
        happened=list(happened),
        changes=None,
        violations=list(violations),
        warnings=list(warnings),
    )


def _least_density(problem: SeasonProblem, tank: str, fish: Sequence[School]) -> float:
    """The strictest density limit of the species that the tank holds, or that the farm has."""
    here = {school.option.species for school in fish if school.tank == tank}
    here = here or {offer.species for offer in problem.farm.fingerlings}
    return min((problem.fish[name].density_max_kg_m3 for name in here), default=0.0)


def _batch(
    problem: SeasonProblem, lot: Lot, goes: Flows, places: Sequence[PlaceDoc], end: date
) -> BatchDoc:
    """One lot; harvests and cuts after the horizon are left out."""
    option, horizon = lot.option, problem.horizon
    crop = problem.crops[option.crop]
    zone = problem.farm.zones[option.zone]
    cuts = sorted((day, kg) for (source, day), kg in goes.cut.items() if source == lot.id)
    inside = [(day, kg) for day, kg in cuts if day < end]
    by_week: dict[int, float] = defaultdict(float)
    for day, kg in inside:
        by_week[horizon.week_of(day)] += kg
    plants = option.plants * lot.parts
    first, last = max(0, option.first_day), option.last_day
    air_c = zone_air_c(problem.environment, zone)[first:last]
    dli_mol = zone_dli_mol(problem.environment, zone)[first:last]
    standing = None if option.standing is None else problem.farm.standing[option.standing]
    return BatchDoc(
        id=lot.id,
        origin=None if standing is None else standing.id,
        crop=option.crop,
        zone=zone.name,
        method=zone.method.value,
        places=list(places),
        parts=lot.parts,
        plants=plants,
        cells=0 if option.nursery is None else cells_for(crop, plants),
        state=_state(problem, lot),
        sow=option.sow.isoformat(),
        transplant=None if option.sown_in_place else option.set_out.isoformat(),
        ripe=option.ripe.isoformat(),
        first_harvest=_iso(inside[0][0]) if inside else None,
        first_harvest_p10=None,
        first_harvest_p90=None,
        last_harvest=_iso(inside[-1][0]) if inside else None,
        clear=option.clear.isoformat(),
        harvest=[
            {
                "week": horizon.monday(week).isoformat(),
                "kg": round(kg, KG_DIGITS),
                "kg_p10": None,
                "kg_p50": None,
                "kg_p90": None,
            }
            for week, kg in sorted(by_week.items())
        ],
        cuts=[{"date": day.isoformat(), "kg": round(kg, KG_DIGITS)} for day, kg in inside],
        uptake_g_n=[
            {
                "week": horizon.monday(int(week)).isoformat(),
                "g": round(float(option.uptake_g_n[week]) * lot.parts, 3),
            }
            for week in np.flatnonzero(option.uptake_g_n[: horizon.weeks])
        ],
        warnings=[] if standing is not None and not inside else list(doubts(crop, air_c, dli_mol)),
    )


def _state(problem: SeasonProblem, lot: Lot) -> str:
    option = lot.option
    if option.standing is None:
        return "planned"
    if option.nursery is not None:
        return "sown"
    first_cut = problem.farm.standing[option.standing].first_cut
    return "cutting" if first_cut is not None else "growing"


def _cohort(problem: SeasonProblem, school: School) -> CohortDoc:
    option, horizon = school.option, problem.horizon
    weeks = []
    for week in range(horizon.weeks):
        alive, mean_g = float(option.alive[week]), float(option.mean_g[week])
        feed_kg = float(option.feed_g[week]) * school.fish / 1000
        if alive <= 0 and feed_kg <= 0:
            continue
        if alive <= 0:  # stocked, or counted, after this week's Monday
            alive, mean_g = 1.0, _first_weight_g(problem, school)
        weeks.append(
            {
                "week": horizon.monday(week).isoformat(),
                "mean_g": round(mean_g, 2),
                "count": round(alive * school.fish, 2),
                "biomass_kg": round(alive * school.fish * mean_g / 1000, 4),
                "feed_kg": round(feed_kg, 5),
            }
        )
    stock, tank = option.stock, problem.farm.tanks[option.tank]
    if option.at_hand is not None:
        stock = min(stock, horizon.plan_date - timedelta(days=1))
    return {
        "id": school.id,
        "at_hand": option.at_hand is not None,
        "species": option.species,
        "tank": school.tank,
        "max_kg_m3": tank.max_density_kg_m3 or problem.fish[option.species].density_max_kg_m3,
        "order_by": _iso(order_by(problem, school)),
        "stock": stock.isoformat(),
        "harvest": _iso(school.empty),
        "taken": [
            {
                "week": horizon.monday(take.week).isoformat(),
                "date": take.day.isoformat(),
                "count": count,
                "kg": round(take.share * school.fish * take.mean_g / 1000, 4),
                "saleable": take.saleable,
            }
            for take, count in zip(option.takes, counts(school), strict=True)
            if take.week < horizon.weeks
        ],
        "weeks": weeks,  # type: ignore[typeddict-item]
    }


def _first_weight_g(problem: SeasonProblem, school: School) -> float:
    """Mean weight of fish on the day they were counted or are stocked. [g]"""
    option, farm = school.option, problem.farm
    if option.at_hand is not None:
        return farm.cohorts[option.at_hand].mean_g
    return farm.fingerlings[option.offer or 0].weight_g


def counts(school: School) -> list[int]:
    """Whole fish of each taking; their sum is the whole number of fish that are left to take."""
    sums = np.cumsum([take.share * school.fish for take in school.option.takes]).round()
    return [int(n) for n in np.diff(np.concatenate([[0.0], sums]))]


def _weeks(problem: SeasonProblem, plan: SeasonPlan) -> list[WeekDoc]:
    water, environment = problem.farm.water, problem.environment
    pool = season.water_balance(problem, plan)
    total = {
        name: season.fish_sum(problem, plan, name)
        for name in ("feed_g", "feed_n_g", "dissolved_n_g", "solids_n_g", "supply_n_g", "tan_g")
    }
    lost = lost_g(
        total["dissolved_n_g"],
        total["solids_n_g"],
        pool.pool_loss_g,
        water.gas_loss,
        water.solids_kept,
    )
    uptake = season.uptake_g(problem, plan)
    hours = season.labour_h(problem, plan)
    cells = season.nursery_cells(problem, plan)
    climate = {
        name: problem.weekly(getattr(environment, name))
        for name in ("air_c", "water_c", "dli_house_mol", "day_length_h")
    }
    return [
        {
            "week": problem.horizon.monday(week).isoformat(),
            "feed_kg": round(float(total["feed_g"][week]) / 1000, 5),
            "feed_n_g": round(float(total["feed_n_g"][week]), 4),
            "supply_n_g": round(float(total["supply_n_g"][week]), 4),
            "uptake_n_g": round(float(uptake[week]), 4),
            "lost_n_g": round(float(lost[week]), 4),
            "pool_loss_n_g": round(float(pool.pool_loss_g[week]), 4),
            "deficit_n_g": round(float(pool.deficit_g[week]), 4),
            "nitrate_n_mg_l": round(float(pool.nitrate_mg_l[week]), 6),
            "tan_g_day": round(float(total["tan_g"][week]) / 7, 4),
            "biofilter_g_day": round(float(problem.biofilter_g_day[week]), 4),
            "inherited": bool(problem.inherited[week]),
            "air_c": round(float(climate["air_c"][week]), 2),
            "water_c": round(float(climate["water_c"][week]), 2),
            "dli_mol": round(float(climate["dli_house_mol"][week]), 2),
            "day_length_h": round(float(climate["day_length_h"][week]), 2),
            "labour_h": round(float(hours[week]), 3),
            "nursery_cells": int(cells[week]),
        }
        for week in range(problem.horizon.weeks)
    ]


def _produce(problem: SeasonProblem, plan: SeasonPlan) -> list[ProduceDoc]:
    cut = season.cut_kg(problem, plan)
    orders, outlets = season.sold_kg(problem, plan)
    kept, wasted = season.cooler_kg(problem, plan), season.wasted_kg(problem, plan)
    found: list[ProduceDoc] = []
    for week in range(problem.horizon.weeks):
        for name in problem.produce:
            before = float(kept[name][week - 1]) if week else 0.0
            row: ProduceDoc = {
                "week": problem.horizon.monday(week).isoformat(),
                "crop": name,
                "cut_kg": round(float(cut[name][week]), KG_DIGITS),
                "from_cooler_kg": round(before, KG_DIGITS),
                "orders_kg": round(float(orders[name][week]), KG_DIGITS),
                "outlets_kg": round(float(outlets[name][week]), KG_DIGITS),
                "to_cooler_kg": round(float(kept[name][week]), KG_DIGITS),
                "wasted_kg": round(max(0.0, float(wasted[name][week])), KG_DIGITS),
            }
            if row["cut_kg"] > 0 or row["from_cooler_kg"] > 0:
                found.append(row)
    return found


def _orders(problem: SeasonProblem, plan: SeasonPlan, why: Mapping[int, str]) -> list[OrderWeekDoc]:
    found: list[OrderWeekDoc] = []
    for number, order in enumerate(problem.orders):
        if order.week >= problem.horizon.weeks:
            continue
        line = problem.farm.orders[order.line]
        planned = season.planned_units(problem, plan, number)
        kg = sum(plan.order_kg.get((number, crop), 0.0) for crop in order.crops)
        weight = kg / planned if planned > 0 else unit_weight_kg(line, line.crops[0], problem.crops)
        found.append(
            {
                "line": line.line,
                "customer": line.customer,
                "crop": line.crops[0] if len(line.crops) == 1 else line.crop_text,
                "week": problem.horizon.monday(order.week).isoformat(),
                "unit": line.unit,
                "kg_per_unit": round(weight, KG_DIGITS),
                "ordered": round(order.ordered, KG_DIGITS),
                "planned": round(planned, KG_DIGITS),
                "short": round(max(0.0, order.ordered - planned), KG_DIGITS),
                "within_tolerance": planned >= order.least - 1e-6,
                "why": why.get(number),
                "chance": None,
            }
        )
    return found


def _served(problem: SeasonProblem, goes: Flows) -> list[DeliveryDoc]:
    """Deliveries of each line, week and batch, in the line's unit."""
    sums: dict[tuple[int, str], float] = defaultdict(float)
    produce_of: dict[str, str] = {}
    for served in goes.served:
        sums[served.order, served.source] += served.kg
        produce_of[served.source] = served.crop
    found: list[DeliveryDoc] = []
    for (number, source), kg in sorted(sums.items()):
        order = problem.orders[number]
        if order.week >= problem.horizon.weeks:
            continue
        weight = dict(zip(order.crops, order.kg_per_unit, strict=True))[produce_of[source]]
        found.append(
            {
                "line": problem.farm.orders[order.line].line,
                "week": problem.horizon.monday(order.week).isoformat(),
                "batch": source,
                "quantity": round(kg / weight, KG_DIGITS),
            }
        )
    return found
