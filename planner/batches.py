"""Batch options: every way in which a part of a place may be sown, set out, cut and cleared.

An option is one crop in one zone, set out in one week and cleared in another. The season model
decides how many parts follow each. Standing batches have options too: when to clear them.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner.calendarrules import free_week, set_out_weekday, sowing_day
from planner.crops import Growth, GrowthModel, progress_per_day
from planner.demand import cut_days, sold
from planner.environment import Environment, zone_air_c, zone_dli_mol
from planner.farm import Farm, Standing, Zone
from planner.fields import Field, Ripe, left_of, schedules
from planner.horizon import Horizon
from planner.tables import Crop, cells_for

SEEDLING_DELAY_WEEKS = 3  # a tray may wait this long for its place; judgement
HEAD_KG_MIN = 4.0  # minutes a kg for crops sold by the head, about one a head; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One harvest of a part: what is ripe by a day and may be cut in any of some weeks.

    Attributes
    ----------
    first, last
        First and last week whose deliveries it can serve.
    ripe
        Day from which it is ripe.
    kg
        All that may be cut of it. [kg part⁻¹]
    """

    first: int
    last: int
    ripe: date
    kg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BatchOption:
    """One way for a part to be used; series are for one part of a place.

    Attributes
    ----------
    standing
        Number of the standing batch in the farm, None for a new one.
    start, stop
        First week held (negative when it stands already) and first week free again.
    cuts
        Harvests within the horizon and tail. [kg part⁻¹]
    uptake_g_n, labour_h
        By week of horizon and tail, labour without the harvest. [g part⁻¹ week⁻¹], [h part⁻¹]
    nursery
        First and last week in the nursery, None when it never stands there again.
    tail_kg
        Weight after the tail times the share grown by then. [kg part⁻¹]
    """

    crop: str
    zone: int
    standing: int | None
    sow: date
    set_out: date
    sown_in_place: bool
    ripe: date
    clear: date
    start: int
    stop: int
    plants: int
    cells: int
    cuts: tuple[Cut, ...]
    uptake_g_n: NDArray[np.float64]
    labour_h: NDArray[np.float64]
    nursery: tuple[int, int] | None
    seed_cost: float
    tail_kg: float
    first_day: int
    last_day: int

    @property
    def state(self) -> str:
        """State of a batch of this option on the plan date, new ones `planned`."""
        return "planned" if self.standing is None else "growing"


def harvest_hours_kg(farm: Farm, crop: Crop) -> float:
    """Return the work to cut or pick and pack a kilogram. [h kg⁻¹]"""
    if crop.feed_rate_class == "fruiting":
        return farm.labour.fruit_kg_min / 60
    if crop.yield_unit in {"head", "each"} and crop.kg_per_unit >= 0.1:
        return min(HEAD_KG_MIN, farm.labour.leaf_kg_min) / 60
    return farm.labour.leaf_kg_min / 60


def _option(
    field: Field,
    growth: Growth,
    schedule: list[Ripe],
    *,
    beyond: bool,
    sow: date,
    set_out: date,
    standing: int | None,
    nursery: tuple[int, int] | None,
    new_cells: bool,
) -> BatchOption:
    """Make one option from a schedule of cuts; an empty one clears the place at once."""
    farm, horizon, crop = field.farm, field.horizon, field.crop
    weeks = horizon.all_weeks
    keep = field.plants * (1 - crop.loss_pct / 100)
    if schedule:
        clear = horizon.monday(schedule[-1].last + 1)
        until = growth.last_day + 1 if beyond else field.day_of(schedule[-1].ripe)
        if crop.harvest_kind == "picking" and not beyond:
            until += 7
    else:
        clear, until = horizon.plan_date, growth.first_day
    stop = free_week(horizon, clear, field.zone.sanitation_days)
    cells = 0 if nursery is None else cells_for(crop, field.plants)
    labour = np.zeros(weeks)
    cuts = []
    tail_kg = 0.0
    gained = field.model.progress[growth.first_day :]
    at_tail = field.day_of(horizon.monday(weeks)) - growth.first_day
    for cut in schedule:
        kg = round(cut.kg * keep, 4)
        if cut.first < weeks:
            if kg > 0:
                last = min(cut.last, weeks - 1)
                cuts.append(Cut(first=cut.first, last=last, ripe=cut.ripe, kg=kg))
        else:
            until_ripe = max(1, field.day_of(cut.ripe) - growth.first_day)
            share = gained[:at_tail].sum() / max(gained[:until_ripe].sum(), 1e-9)
            tail_kg += kg * min(1.0, float(share))
    if new_cells and nursery is not None:
        labour[nursery[0]] += cells * farm.labour.cell_min / 60
    set_out_week = horizon.week_of(set_out)
    if 0 <= set_out_week < weeks and set_out >= horizon.plan_date:
        labour[set_out_week] += field.plants * farm.labour.plant_min / 60
    clear_week = horizon.week_of(clear)
    if clear_week < weeks and not beyond:
        labour[clear_week] += farm.labour.place_min / field.zone.parts / 60
    held = 0 if nursery is None else nursery[1] - nursery[0] + 1
    cost = farm.prices.nursery_cell_week * cells * held
    if standing is None:
        cost += farm.prices.seed_cell * (cells or field.plants)
    return BatchOption(
        crop=crop.id,
        zone=field.zone_number,
        standing=standing,
        sow=sow,
        set_out=set_out,
        sown_in_place=crop.direct_sow,
        ripe=field.date_of(growth.ripe_day),
        clear=clear,
        start=set_out_week,
        stop=stop,
        plants=field.plants,
        cells=cells,
        cuts=tuple(cuts),
        uptake_g_n=np.round(field.weekly(growth, until, clear) * field.plants, 3),
        labour_h=np.round(labour, 5),
        nursery=nursery,
        seed_cost=round(cost, 4),
        tail_kg=round(tail_kg, 4),
        first_day=growth.first_day,
        last_day=field.day_of(clear),
    )


def _new_options(field: Field) -> Iterator[BatchOption]:
    """Yield the options of batches not yet sown."""
    horizon, crop = field.horizon, field.crop
    weekday = timedelta(days=set_out_weekday(field.zone.sanitation_days))
    for week in range(horizon.all_weeks):
        set_out = horizon.monday(week) + weekday
        sow = set_out if crop.direct_sow else sowing_day(set_out, field.nursery_days(set_out))
        if sow < horizon.plan_date or set_out < horizon.plan_date:
            continue
        growth = field.model.growth(field.day_of(set_out))
        if growth is None:
            continue
        nursery = None if crop.direct_sow else (horizon.week_of(sow), week)
        for schedule, beyond in schedules(field, growth):
            option = _option(
                field,
                growth,
                schedule,
                beyond=beyond,
                sow=sow,
                set_out=set_out,
                standing=None,
                nursery=nursery,
                new_cells=not crop.direct_sow,
            )
            if option.cuts or option.tail_kg > 0:
                yield option


def _seedling_options(field: Field, batch: Standing, number: int) -> Iterator[BatchOption]:
    """Yield the options of a tray that stands in the nursery on the plan date."""
    horizon = field.horizon
    weekday = timedelta(days=set_out_weekday(field.zone.sanitation_days))
    earliest = max(horizon.plan_date, batch.transplant or horizon.plan_date)
    offered = 0
    for week in range(horizon.week_of(earliest), horizon.all_weeks):
        set_out = horizon.monday(week) + weekday
        ready = max(earliest, batch.sow + timedelta(days=field.nursery_days(set_out)))
        if set_out < ready or offered > SEEDLING_DELAY_WEEKS:
            continue
        offered += 1
        growth = field.model.growth(field.day_of(set_out))
        if growth is None:
            continue
        for schedule, beyond in schedules(field, growth):
            yield _option(
                field,
                growth,
                schedule,
                beyond=beyond,
                sow=batch.sow,
                set_out=set_out,
                standing=number,
                nursery=(0, week),
                new_cells=False,
            )


def _standing_options(field: Field, batch: Standing, number: int) -> Iterator[BatchOption]:
    """Yield the options of a batch that holds its places on the plan date.

    Cuts whose time has passed are gone. A batch that by the model is past its harvest is offered
    one cut now: it stands there, so the grower knows better. So are the heads that still stand of
    a batch whose cutting has begun. Where the grower has dated its ripeness, that day holds.
    """
    horizon, crop = field.horizon, field.crop
    set_out = batch.transplant or batch.sow
    first_day = field.day_of(set_out)
    dated = batch.first_cut or batch.ripe
    growth = field.model.growth(first_day, None if dated is None else field.day_of(dated))
    today = field.day_of(horizon.plan_date)
    begun = batch.first_cut is not None and crop.harvest_kind != "once"
    if growth is not None and not begun and growth.ripe_day < today:
        growth = field.model.growth(first_day, today)
    common = {"sow": batch.sow, "set_out": set_out, "standing": number, "nursery": None}
    if growth is None or batch.finished:  # past its stand, or nothing is left: it is cleared
        growth = Growth(
            first_day=first_day,
            ripe_day=today,
            cut_days=(),
            cut_kg=(),
            last_day=today,
            uptake_g_n=np.zeros(0),
        )
        yield _option(field, growth, [], beyond=False, new_cells=False, **common)  # type: ignore[arg-type]
        return
    left = left_of(field, growth, today, batch.left)
    remaining = Growth(
        first_day=growth.first_day,
        ripe_day=growth.ripe_day,
        cut_days=tuple(day for day, _ in left),
        cut_kg=tuple(kg for _, kg in left),
        last_day=growth.last_day,
        uptake_g_n=growth.uptake_g_n,
    )
    yield _option(field, remaining, [], beyond=False, new_cells=False, **common)  # type: ignore[arg-type]
    if left:
        for schedule, beyond in schedules(field, remaining):
            yield _option(field, remaining, schedule, beyond=beyond, new_cells=False, **common)  # type: ignore[arg-type]


def fits(farm: Farm, crop: Crop, zone: Zone) -> bool:
    """Whether a zone is offered to a crop: a good fit, or a possible one where none is good."""
    if crop.trellis and not zone.carries_trellis:
        return False
    here = getattr(crop, f"{zone.method.value}_fit")
    good = any(getattr(crop, f"{other.method.value}_fit") == "good" for other in farm.zones)
    return here == "good" or (here == "possible" and not good)


def _fields(
    farm: Farm,
    horizon: Horizon,
    crops_in: Mapping[str, Mapping[str, Crop]],
    environment: Environment,
) -> Iterator[tuple[Field, bool]]:
    wanted = sold(farm)
    standing = {(batch.crop, batch.zone) for batch in farm.standing}
    for zone_number, zone in enumerate(farm.zones):
        air_c = zone_air_c(environment, zone)
        dli_mol = zone_dli_mol(environment, zone)
        for name in dict.fromkeys([*farm.crops_in_use, *(crop for crop, _ in standing)]):
            crop = crops_in[zone.method][name]
            here = (name, zone.name) in standing
            grown = name in farm.crops_in_use and name in wanted and fits(farm, crop, zone)
            if not here and not grown:
                continue
            field = Field(
                farm=farm,
                horizon=horizon,
                crop=crop,
                zone=zone,
                zone_number=zone_number,
                model=GrowthModel(
                    crop=crop, progress=progress_per_day(crop, air_c, dli_mol), dli_mol=dli_mol
                ),
                day_zero=environment.start,
                cut_rule=cut_days(farm, name),
            )
            if field.plants > 0:
                yield field, grown


def batch_options(
    farm: Farm,
    horizon: Horizon,
    crops_in: Mapping[str, Mapping[str, Crop]],
    environment: Environment,
) -> tuple[BatchOption, ...]:
    """Return every option of new and standing batches, in a fixed order.

    `crops_in` holds, by growing method, the crops as this house grows them in it.
    `environment` begins on or before the first day of any standing batch and runs past the tail
    for as long as any crop stands.
    """
    found: list[BatchOption] = []
    for field, grown in _fields(farm, horizon, crops_in, environment):
        if grown:
            found.extend(_new_options(field))
        for number, batch in enumerate(farm.standing):
            if (batch.crop, batch.zone) != (field.crop.id, field.zone.name):
                continue
            planted = batch.transplant or (batch.sow if field.crop.direct_sow else None)
            if planted is None or planted > horizon.plan_date:
                found.extend(_seedling_options(field, batch, number))
            else:
                found.extend(_standing_options(field, batch, number))
    return tuple(found)
