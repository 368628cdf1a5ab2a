"""What a farm's parts must agree on (faults), and what a grower should look at twice (doubts).

Pure functions on the parts of a farm and the tables; the reader is `farmfile`.
"""

from calendar import month_name
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import available_timezones

from planner.calendarrules import FISH_WEEKDAY
from planner.errors import nearest
from planner.farm import NITRATE_UNTESTED_MG_L, Farm, Site, Standing, Tank, Water, Zone
from planner.farmrows import find, no_growth, unknown
from planner.horizon import WEEKDAYS
from planner.tables import Crop, Fish, Station, plants_per_part
from planner.wording import shown

FRESH_DAYS = 14  # older counts and tests are doubted
WARM_WATER_C = 26.0  # for lettuce: FAO589 in cropdata/sources.csv
WARM_WATER_CROPS = ("lettuce", "spinach", "basil")  # spinach and basil: judgement
FAR_DEGREES = 3.0  # of latitude between house and climate station; judgement
_WHY = "of the farm (see its method, its trellis and the size of a part)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """The parts of `farm.toml` that are in order by themselves, whatever the others are.

    `crops`, `species` (of fingerlings) and `fish_prices` are texts as written; names are those of
    all zones and tanks, in order or not.
    """

    plan_date: date | None
    site: Site | None
    water: Water | None
    tanks: tuple[Tank, ...]
    zones: tuple[Zone, ...]
    crops: tuple[str, ...]
    species: tuple[str, ...]
    fish_prices: tuple[str, ...]
    zone_names: tuple[str, ...]
    tank_names: tuple[str, ...]


def faults_of(
    parts: Parts, crops: Mapping[str, Crop], fish: Mapping[str, Fish], unread: frozenset[str]
) -> Iterator[str]:
    """Say what does not fit together in `farm.toml`. `unread` as in `Known`."""
    yield from _twice("zone", parts.zone_names)
    yield from _twice("tank", parts.tank_names)
    if parts.site and parts.site.timezone not in (zones := available_timezones()):
        found = parts.site.timezone
        hint = nearest(found, zones) or "; give one such as America/Chicago"
        yield f"site: timezone is {shown(found)}; there is no such time zone{hint}"
    yield from _named_faults(parts, crops, fish, unread)
    water = parts.water
    if water is None:
        return
    in_tanks_m3 = sum(tank.places * tank.volume_m3 for tank in parts.tanks)
    if in_tanks_m3 > water.volume_m3 * (1 + 1e-9):
        yield (
            f"water: volumes come to {water.volume_m3:.4g} m3, but the tanks alone hold "
            f"{in_tanks_m3:.4g} m3; volumes must list every part, the tanks too"
        )
    tested = water.nitrate_tested
    if tested and parts.plan_date and tested > parts.plan_date:
        yield f"water: nitrate_tested is {tested}, after plan_date, {parts.plan_date}"


def _twice(kind: str, names: Iterable[str]) -> Iterator[str]:
    """Say which names stand more than once, whatever their capitals."""
    for name, count in Counter(name.strip().lower() for name in names).items():
        if count > 1:
            yield f"{kind}: the name {shown(name)} stands {count} times; give each its own"


def _named_faults(
    parts: Parts, crops: Mapping[str, Crop], fish: Mapping[str, Fish], unread: frozenset[str]
) -> Iterator[str]:
    """Say which crops and species are not in the tables, or cannot be planned."""
    for number, text in enumerate(parts.crops, 1):
        if find(text, crops) is None and text.lower() not in unread:
            yield f"crops: item {number} {unknown(text, 'crop', crops)}"
    for id, count in Counter(find(text, crops) for text in parts.crops).items():
        if id and count > 1:
            yield f"crops: {id} stands there {count} times; once will do"
    for text in dict.fromkeys(parts.species):
        species = find(text, fish)
        if species is None and text.lower() not in unread:
            yield f"fingerlings: species {unknown(text, 'fish', fish)}"
        if species and fish[species].tgc_per_1000_degree_days is None:
            yield f"fingerlings: species {no_growth(species)}"
    for text in parts.fish_prices:
        if find(text, fish) is None and text.lower() not in unread:
            yield f"fish_prices: the key {unknown(text, 'fish', fish)}"


def doubts_of(
    farm: Farm, crops: Mapping[str, Crop], fish: Mapping[str, Fish], station: Station
) -> tuple[str, ...]:
    """Return what looks wrong in a sound farm, whatever the plan date."""
    return tuple(
        [
            *_site_doubts(farm, station),
            *_water_doubts(farm, fish),
            *_crop_doubts(farm, crops),
            *_sales_doubts(farm, crops),
        ]
    )


def _site_doubts(farm: Farm, station: Station) -> Iterator[str]:
    away = abs(station.latitude - farm.site.latitude)
    if away > FAR_DEGREES:  # False for a climate file without its place
        yield (
            f"farm.toml: site: the climate of {station.name} was measured {away:.0f} degrees of "
            "latitude away; take a nearer station, or give a climate file of your own"
        )


def _water_doubts(farm: Farm, fish: Mapping[str, Fish]) -> Iterator[str]:
    water = farm.water
    if water.nitrate_n_mg_l is None:
        yield (
            f"farm.toml: water: there is no nitrate test; {NITRATE_UNTESTED_MG_L:g} mg/L of "
            "nitrate nitrogen is assumed; test, and give nitrate_n and nitrate_tested"
        )
    elif water.nitrate_tested is None:
        yield "farm.toml: water: the nitrate test has no date; give nitrate_tested"
    kept = dict.fromkeys(
        [offer.species for offer in farm.fingerlings] + [c.species for c in farm.cohorts]
    )
    if water.biofilter_area_m2 == 0 and kept:
        yield (
            "farm.toml: water: biofilter_area is 0; nothing turns the fish's ammonia into nitrate; "
            "give the surface of filter media and gravel"
        )
    for species in kept:
        row = fish[species]
        if water.band_high_mg_l > row.nitrate_n_max_mg_l:
            yield (
                f"farm.toml: water: band_high is {water.band_high_mg_l:g} mg/L; {row.name} bears "
                f"{row.nitrate_n_max_mg_l:g}, which is the limit that holds"
            )
        cold = [t for t in water.temperatures_c if t <= row.temp_lethal_low_c]
        hot = [t for t in water.temperatures_c if t >= row.temp_max_c]
        if cold or hot:
            yield (
                f"farm.toml: water: temperatures reach {(cold or hot)[0]:g} °C; {row.name} lives "
                f"above {row.temp_lethal_low_c:g} and below {row.temp_max_c:g} °C"
            )


def _crop_doubts(farm: Farm, crops: Mapping[str, Crop]) -> Iterator[str]:
    in_use = [crops[id] for id in farm.crops_in_use]
    tender = [crop.name for crop in in_use if crop.id.split("_")[0] in WARM_WATER_CROPS]
    warm = [
        f"{month_name[month]} {t:g}"
        for month, t in enumerate(farm.water.temperatures_c, 1)
        if t > WARM_WATER_C
    ]
    if tender and warm:
        yield (
            f"farm.toml: water: temperatures are above {WARM_WATER_C:g} °C ({', '.join(warm)}); "
            f"too warm for {'; '.join(tender)}"
        )
    for crop in in_use:
        if not crop.direct_sow and farm.nursery.temperature_c > crop.germination_max_c:
            yield (
                f"farm.toml: nursery: temperature is {farm.nursery.temperature_c:g} °C; "
                f"{crop.name} germinates badly above {crop.germination_max_c:g} °C"
            )
    raised = [crop.name for crop in in_use if not crop.direct_sow]
    if raised and farm.nursery.cells == 0:
        yield f"farm.toml: nursery: cells is 0; no seedlings of {'; '.join(raised)} can be raised"


def _fits(crop: Crop, zone: Zone) -> bool:
    plants = plants_per_part(crop, zone.method, zone.area_m2, zone.sites, zone.parts)
    return plants > 0 and (zone.carries_trellis or not crop.trellis)


def _sales_doubts(farm: Farm, crops: Mapping[str, Crop]) -> Iterator[str]:
    wanted = {id for order in farm.orders for id in order.crops}
    wanted |= {outlet.crop for outlet in farm.outlets}
    for id in farm.crops_in_use:
        if id not in wanted:
            yield f"farm.toml: crops: nothing of {id} is ordered, and no outlet takes it"
    homeless = {
        id for id in farm.crops_in_use if not any(_fits(crops[id], zone) for zone in farm.zones)
    }
    for order in farm.orders:
        if homeless.issuperset(order.crops):
            line = shown(order.line)
            yield f"orders.csv: line {line}: {order.crop_text} fits no zone {_WHY}"
        if not set(order.crops) & set(crops) and min(order.weekdays) < FISH_WEEKDAY:
            line, day = shown(order.line), WEEKDAYS[FISH_WEEKDAY].capitalize()
            yield f"orders.csv: line {line}: fish are taken on {day}s; give a weekday from then on"
    for id in farm.crops_in_use:
        if id in homeless and id in wanted and not any(id in o.crops for o in farm.orders):
            yield f"farm.toml: crops: {id} fits no zone {_WHY}"


def dated_doubts(farm: Farm, plan_date: date) -> tuple[str, ...]:
    """Return what is too old to plan on at `plan_date`."""
    oldest = plan_date - timedelta(days=FRESH_DAYS)
    lists = (
        ("growing.csv", "batch", [(batch.as_of, batch.id) for batch in farm.standing]),
        ("cohorts.csv", "tank", [(cohort.as_of, cohort.tank) for cohort in farm.cohorts]),
    )
    found = []
    for file, kind, rows in lists:
        stale = sorted(row for row in rows if row[0] < oldest)
        if stale:
            others = f" and {len(stale) - 1} more" if len(stale) > 1 else ""
            found.append(
                f"{file}: {kind} {shown(stale[0][1])}{others}: as_of is {stale[0][0]}, over "
                f"{FRESH_DAYS} days before {plan_date}; count anew"
            )
    tested = farm.water.nitrate_tested
    if tested and tested < oldest:
        found.append(
            f"farm.toml: water: nitrate_tested is {tested}, over {FRESH_DAYS} days before "
            f"{plan_date}; test anew"
        )
    return tuple(found)


def crowding(farm: Farm, crops: Mapping[str, Crop], plan_date: date) -> Iterator[str]:
    """Say which zones and places hold more parts than they have on `plan_date`.

    Trays that were still in the nursery when they were counted may have been set out by then.
    """
    for zone in farm.zones:
        here = [batch for batch in farm.standing if batch.zone == zone.name]
        here = [batch for batch in here if is_set_out(batch, crops, plan_date)]
        parts = sum(batch.parts for batch in here)
        if parts > zone.all_parts:
            yield (
                f'growing.csv: zone "{zone.name}": the batches set out in it by {plan_date} hold '
                f"{parts} parts; it has {zone.all_parts}"
            )
        held: Counter[int] = Counter()
        for batch in here:
            held.update(batch.parts_by_place)
        full = [(place, parts) for place, parts in sorted(held.items()) if parts > zone.parts]
        if full:
            place, parts = full[0]
            ids = " and ".join(shown(batch.id) for batch in here if place in batch.places)
            others = f"; {len(full) - 1} more of its places are overfull" if len(full) > 1 else ""
            yield (
                f'growing.csv: batch {ids}: place "{zone.name} {place}" would hold {parts} parts '
                f"on {plan_date}; it has {zone.parts} (the parts of a row are spread evenly over "
                f"its places){others}"
            )


def is_set_out(batch: Standing, crops: Mapping[str, Crop], day: date) -> bool:
    """Whether a batch holds its places on a day; a tray without a date stays in the nursery."""
    set_out = batch.transplant
    if set_out is None and crops[batch.crop].direct_sow:
        set_out = batch.sow
    return set_out is not None and set_out <= day
