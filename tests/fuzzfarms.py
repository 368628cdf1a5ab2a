"""Farm folders drawn by chance, for tests that no folder may break: small, odd, mostly readable."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TypeVar

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn

from planner.tables import Crop, load_crops, load_fish, plants_per_part

T = TypeVar("T")

CROPS = load_crops()
SPECIES = [id for id, row in load_fish().items() if row.tgc_per_1000_degree_days is not None]
METHODS = ("media_bed", "raft", "tower")
STATIONS = ("duluth_mn", "chicago_ohare_il", "helena_mt")
ZONE_NAMES = ("north gravel", "rafts", "towers, tall", "=bench", "Ü 4")
# years with 52 and with 53 ISO weeks, a leap day, and a plan that runs over New Year
FIRST_DAYS = (date(2027, 3, 1), date(2026, 11, 30), date(2028, 2, 21), date(2027, 6, 14))
YES_NO = ("true", "false")


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmFolder:
    """The files of a farm, the day on which it is read, and `--from` if it is given."""

    files: Mapping[str, str]
    today: date
    asked: date | None


@dataclass(slots=True)
class _Zone:
    name: str
    method: str
    places: int
    parts: int
    area_m2: float
    sites: int
    free: int = 0
    rows: list[str] = field(default_factory=list)


def _pick(draw: DrawFn, *usual: T, odd: Sequence[T] = ()) -> T:
    """Draw one of the usual values, or now and then an odd one."""
    if odd and draw(st.integers(0, 9)) == 0:
        return draw(st.sampled_from(odd))
    return draw(st.sampled_from(usual))


def _months(draw: DrawFn, usual: Sequence[float], odd: Sequence[float]) -> str:
    """Draw twelve values on a curve between two of `usual`, or one value for all the year."""
    if draw(st.booleans()):
        return str(_pick(draw, *usual, odd=odd))
    low, high = _pick(draw, *usual, odd=odd), _pick(draw, *usual, odd=odd)
    curve = [abs(6 - month) / 6 for month in range(12)]
    return str([round(high + (low - high) * share, 1) for share in curve])


def _table(heading: str, /, **keys: object) -> str:
    """Write a TOML table; what is None is left out, texts come as they are."""
    rows = [f"{key} = {value}" for key, value in keys.items() if value is not None]
    return "\n".join([f"[{heading}]" if heading else "", *rows, ""])


def _text(value: str) -> str:
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _zones(draw: DrawFn, count: int) -> list[_Zone]:
    zones = []
    for name in draw(st.permutations(ZONE_NAMES))[:count]:
        parts = _pick(draw, 1, 2, 4, odd=(20,))
        places = _pick(draw, 1, 2, 5, 12, odd=(60, 60, 60, 400, 400, 20_000))
        zone = _Zone(
            name=name,
            method=draw(st.sampled_from(METHODS)),
            places=places,
            parts=parts,
            area_m2=_pick(draw, 0.5, 1.44, 2.2, odd=(0.001, 40)),
            sites=max(parts, _pick(draw, 10, 20, 28, odd=(1, 2000))),
            free=places * parts,
        )
        lamps = _pick(draw, 0, 0, 120, odd=(2000,))
        offset = _pick(draw, None, None, None, 0, -3, odd=(-15, 15))
        zone.rows.append(
            _table(
                "[zone]",
                name=_text(zone.name),
                method=_text(zone.method),
                places=places,
                parts=parts,
                area=zone.area_m2 if zone.method != "tower" else None,
                sites=zone.sites if zone.method != "media_bed" else None,
                sanitation_days=_pick(draw, None, None, 0, 1, 3, 7, odd=(5, 14, 60)),
                light=_pick(draw, None, None, 0.8, odd=(0.05, 1.5)),
                lamps_umol=lamps or None,
                lamp_hours=_pick(draw, 8, 16, odd=(24, 0.1)) if lamps else None,
                lamp_months=_pick(draw, None, [11, 12, 1]) if lamps else None,
                air_offset=offset,
                trellis=_pick(draw, None, None, *YES_NO),
            )
        )
        zones.append(zone)
    return zones


def _water(draw: DrawFn, tanks_m3: float, plan_date: date) -> str:
    nitrate = _pick(draw, None, 0, 6, 38, odd=(70, 95, 150, 2000))
    tested = None
    if nitrate is not None and draw(st.booleans()):
        tested = plan_date - timedelta(days=_pick(draw, 0, 5, odd=(40,)))
    more = _pick(draw, 0.5, 3, 8, odd=(0.001, 0.02, 1000))
    return _table(
        "water",
        volumes=f'{{ "fish tanks" = {tanks_m3 + more:.6g} }}',
        temperatures=_months(draw, (18, 22, 24, 27), (2, 10, 13, 29.5, 33, 36, -1)),
        biofilter_area=_pick(draw, 20, 100, 400, odd=(0, 0.5, 1e6)),
        solids_kept=_pick(draw, None, *YES_NO),
        solid_share=_pick(draw, None, None, odd=(0, 1)),
        gas_loss=_pick(draw, None, None, odd=(0, 1)),
        mineralised=_pick(draw, None, None, odd=(0, 1)),
        pool_loss_week=_pick(draw, None, None, 0.1, odd=(0, 1)),
        nitrate_n=nitrate,
        nitrate_tested=tested,
        band_low=_pick(draw, None, 0, 10),
        band_high=_pick(draw, None, 50, odd=(11, 2000)),
    )


def _labour(draw: DrawFn) -> str:
    return _table(
        "labour",
        hours_week=_pick(draw, 10, 20, 40, odd=(0, 0.01, 3, 1e5)),
        price_hour=_pick(draw, 0, 18, odd=(1e6,)),
        place_min=_pick(draw, None, None, odd=(0, 600)),
        plant_min=_pick(draw, None, None, odd=(0, 60)),
        leaf_kg_min=_pick(draw, None, None, odd=(0, 600)),
        fish_kg_min=_pick(draw, None, None, odd=(0, 600)),
    )


def _money(draw: DrawFn) -> str:
    """Draw prices and weights, which may be nothing."""
    prices = _table(
        "prices",
        feed_kg=_pick(draw, None, 0, 2.5, odd=(1e6,)),
        seed_cell=_pick(draw, None, 0, odd=(1e3,)),
        nursery_cell_week=_pick(draw, None, 0, odd=(10,)),
    )
    weights = _table(
        "weights",
        shortage=_pick(draw, None, 10, 0, odd=(1e6,)),
        nitrate_mg_l_week=_pick(draw, None, 0, 5, odd=(1e4,)),
        waste_kg=_pick(draw, None, 0, 1, odd=(100,)),
        discard=_pick(draw, None, 0, odd=(1,)),
        tail_value=_pick(draw, None, 0, 1),
    )
    return prices + weights


def _fingerlings(draw: DrawFn) -> tuple[str, list[str]]:
    count = _pick(draw, 0, 1, 1, 2)
    species = draw(st.lists(st.sampled_from(SPECIES), min_size=count, max_size=count))
    rows = [
        _table(
            "[fingerlings]",
            species=_text(name),
            weight=_pick(draw, 10, 50, 200, odd=(0.001, 3000)),
            price=_pick(draw, 0, 1.2, odd=(1e6,)),
            lead_weeks=_pick(draw, 0, 1, 3, odd=(104,)),
            months=_pick(draw, None, None, [1, 4, 7, 8]),
            least_count=_pick(draw, 1, 10, 30, odd=(1_000_000,)),
        )
        for name in species
    ]
    return "".join(rows), species


def _tanks(draw: DrawFn) -> tuple[str, list[str], float]:
    text, names, volume_m3 = "", [], 0.0
    for number in range(_pick(draw, 0, 1, 1, 2)):
        places = _pick(draw, 1, 2, 3, odd=(30, 30, 500))
        volume = _pick(draw, 0.4, 1, 4, odd=(0.001, 100))
        density = _pick(draw, None, None, 25, odd=(0.1, 300))
        name = f"tank {'AB'[number]}"
        text += _table(
            "[tank]", name=_text(name), places=places, volume=volume, max_density=density
        )
        names += [f"{name} {n}" for n in range(1, places + 1)]
        volume_m3 += places * volume
    return text, names, volume_m3


def _grown(draw: DrawFn, zones: Sequence[_Zone], count: int) -> list[str]:
    """Draw crops of the shipped table, mostly such as some zone can carry."""
    at_home = [id for id in CROPS if any(_plants(CROPS[id], zone) for zone in zones)]
    chosen: list[str] = []
    for _ in range(count):
        table = at_home if at_home and draw(st.integers(0, 9)) else list(CROPS)
        chosen.append(draw(st.sampled_from(table)))
    return list(dict.fromkeys(chosen))


def _plants(crop: Crop, zone: _Zone) -> int:
    return plants_per_part(crop, zone.method, zone.area_m2, zone.sites, zone.parts)


def _orders(draw: DrawFn, crops: Sequence[str], species: Sequence[str], plan_date: date) -> str:
    text = (
        "line,customer,crop,unit,quantity,first_week,last_week,every_weeks,weekdays,priority,price,"
        "tolerance,may_be_cut\n"
    )
    for number in range(_pick(draw, 1, 2, 3, odd=(0, 6))):
        fish = bool(species) and draw(st.integers(0, 3)) == 0
        ware = draw(st.sampled_from(species if fish else crops))
        unit = "kg" if fish else _pick(draw, CROPS[ware].yield_unit, "kg", "lb")
        if not fish and draw(st.integers(0, 3)) == 0:
            ware = _pick(draw, f"any {ware.partition('_')[0]}", f"{ware};{crops[0]}")
            unit = "kg"
        first = plan_date + timedelta(days=draw(st.integers(-30, 60)))
        if draw(st.integers(0, 5)) == 0:
            first -= timedelta(days=364)
        last = first + timedelta(days=_pick(draw, 0, 21, 90, 400, odd=(6, 5000)))
        days = draw(st.lists(st.sampled_from(("mon", "tue", "wed", "thu", "fri", "sat", "sun"))))
        text += ",".join(
            [
                f"L{number}",
                _pick(draw, "Corner bistro", "Green grocer", odd=("=1+1", "Ærø <b>")),
                ware,
                unit,
                str(_pick(draw, 0.5, 4, 20, odd=(0.001, 1e6))),
                first.isoformat(),
                last.isoformat(),
                str(_pick(draw, "", 1, 2, 3, odd=(5, 52))),
                ";".join(days),
                str(_pick(draw, "", 1, 2, 3)),
                str(_pick(draw, 2, 9, odd=(0, 1e6))),
                str(_pick(draw, "", 0.1, "20%", odd=(0, 1))),
                _pick(draw, "", "yes", "no"),
            ]
        )
        text += "\n"
    return text


def _outlets(draw: DrawFn, crops: Sequence[str], species: Sequence[str]) -> str:
    text = "outlet,crop,most_per_week,price_kg\n"
    wares = draw(st.lists(st.sampled_from([*crops, *species]), max_size=3, unique=True))
    for ware in wares:
        most = _pick(draw, 1, 5, 50, odd=(0, 0.001, 1e6))
        text += f"Farm stand,{ware},{most},{_pick(draw, 3, 12, odd=(0, 1e6))}\n"
    return text


def _growing(draw: DrawFn, crops: Sequence[str], zones: Sequence[_Zone], plan_date: date) -> str:
    """Draw batches of any age: seedlings, just set out, over-ripe, being cut; rarely too many."""
    text = "id,crop,zone,parts,places,sow,transplant,first_cut,as_of\n"
    for number in range(_pick(draw, 0, 0, 1, 2, 4)):
        zone = draw(st.sampled_from(zones))
        able = [id for id in crops if _plants(CROPS[id], zone)]
        crop = draw(st.sampled_from(able or crops))
        as_of = plan_date - timedelta(days=_pick(draw, 0, 1, 4, 9, odd=(30, 200)))
        age = _pick(draw, 0, 3, 14, 30, 55, 90, odd=(200, 700, 3000))
        sow = as_of - timedelta(days=age)
        set_out, cut = "", ""
        if not CROPS[crop].direct_sow or draw(st.integers(0, 5)) == 0:
            day = sow + timedelta(days=_pick(draw, 0, 14, 25, odd=(60, 400)))
            set_out = _pick(draw, "", day.isoformat(), day.isoformat())
            if set_out and day < as_of:
                days = (as_of - day).days
                first = day + timedelta(days=draw(st.integers(0, days)))
                cut = _pick(draw, "", "", first.isoformat())
        parts = draw(st.integers(1, max(1, min(6, zone.free))))
        if draw(st.integers(0, 19)) == 0:
            parts = min(400, zone.places * zone.parts)
        zone.free -= parts
        places = ""
        if draw(st.booleans()):
            numbers = st.integers(1, min(zone.places, 30))
            most = min(parts, zone.places, 30)
            least = min(most, -(-parts // zone.parts))
            chosen = draw(st.sets(numbers, min_size=least, max_size=most))
            places = " ".join(map(str, sorted(chosen)))
        name = _pick(draw, f"G{number}", "")
        text += f"{name},{crop},{zone.name if ',' not in zone.name else _text(zone.name)},"
        text += f"{parts},{places},{sow},{set_out},{cut},{as_of}\n"
    return text


def _cohorts(draw: DrawFn, tanks: Sequence[str], species: Sequence[str], plan_date: date) -> str:
    """Draw fish at hand: fry, market weight, far too heavy, far too many, too cold for them."""
    text = "tank,species,count,mean_weight,as_of\n"
    for tank in draw(st.lists(st.sampled_from(tanks), max_size=3, unique=True)) if tanks else ():
        kind = draw(st.sampled_from([*species, *SPECIES]))
        count = _pick(draw, 5, 20, 40, odd=(1, 400, 1_000_000))
        weight = _pick(draw, 20, 90, 310, 600, odd=(0.001, 3, 2000, 9000))
        as_of = plan_date - timedelta(days=_pick(draw, 0, 2, 5, odd=(40, 400, 800, 3000)))
        text += f"{tank},{kind},{count},{weight},{as_of}\n"
    return text


@st.composite
def farm_folders(draw: DrawFn) -> FarmFolder:
    """Return strategies of small farms with all that a grower may write, sound or silly."""
    plan_date = draw(st.sampled_from(FIRST_DAYS)) + timedelta(days=draw(st.integers(0, 27)))
    zones = _zones(draw, _pick(draw, 1, 2, 3))
    crops = _grown(draw, zones, _pick(draw, 1, 2, 3, 4))
    tanks, tank_names, tanks_m3 = _tanks(draw)
    offers, species = _fingerlings(draw)
    growing = _growing(draw, crops, zones, plan_date)
    cohorts = _cohorts(draw, tank_names, species, plan_date)
    kept = list(dict.fromkeys([*species, *(row.split(",")[1] for row in cohorts.splitlines()[1:])]))
    in_farm = draw(st.booleans())
    horizon, tail = draw(st.integers(4, 12)), draw(st.integers(0, 4))
    prices = {name: _pick(draw, 9.0, 4, odd=(0, 1e6)) for name in kept if draw(st.booleans())}
    set_points = _months(draw, (12, 16, 20), (-5, 3, 27, 38))
    toml = (
        _table(
            "",
            name=_text(_pick(draw, "Small farm", odd=("Δ <script>", "a" * 200))),
            units=_text(_pick(draw, "us", "metric")),
            currency=_text(_pick(draw, "$", "kr")),
            plan_date=plan_date if in_farm else None,
            crops=[*crops],
        )
        + _table(
            "site",
            latitude=_pick(draw, 46.8, 41.9, odd=(0, -45, 66, -66)),
            longitude=_pick(draw, -92.1, 10, odd=(180, -180)),
            elevation=_pick(draw, None, 430, odd=(-430, 6000)),
            timezone=_text(_pick(draw, "America/Chicago", odd=("Pacific/Apia", "UTC"))),
            climate=_text(draw(st.sampled_from(STATIONS))),
        )
        + _table(
            "house",
            transmission=_pick(draw, None, 0.6, odd=(0.1, 1)),
            set_points=set_points,
            vent_above=_pick(draw, 40, 40, 27, odd=(60,)),
            solar_warming=_pick(draw, None, 6, odd=(-15, 15)),
        )
        + _water(draw, tanks_m3, plan_date)
        + tanks
        + "".join(row for zone in zones for row in zone.rows)
        + _table(
            "nursery",
            cells=_pick(draw, 50, 300, 600, odd=(0, 5, 10_000_000)),
            temperature=_pick(draw, None, 21, odd=(-40, 45)),
            month_factor=_pick(draw, None, None, 1.4, odd=(0.5, 3)),
        )
        + _labour(draw)
        + offers
        + _table("fish_prices", **prices)
        + _money(draw)
        + _table("rules", horizon_weeks=horizon, tail_weeks=tail)
    )
    files = {
        "farm.toml": toml,
        "orders.csv": _orders(draw, crops, kept, plan_date),
        "outlets.csv": _outlets(draw, crops, kept),
        "growing.csv": growing,
        "cohorts.csv": cohorts,
    }
    left_out = draw(st.sets(st.sampled_from(list(files)[1:]), max_size=1))
    return FarmFolder(
        files={name: text for name, text in files.items() if name not in left_out},
        today=plan_date,
        asked=None if draw(st.booleans()) else plan_date + timedelta(days=_pick(draw, 0, 2, 20)),
    )
