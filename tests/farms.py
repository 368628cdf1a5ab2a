"""A small farm for tests, invented: 4 gravel beds, 6 boards, 8 towers, 2 tanks of 1 m³."""

from collections.abc import Mapping
from pathlib import Path

FARM_TOML = """\
name = "Small farm"
units = "metric"
plan_date = 2027-03-01
crops = [
    "lettuce_butterhead",
    "lettuce_romaine",
    "basil_genovese",
    "swiss_chard",
    "tomato_cherry_indet",
]

[site]
latitude = 46.8
longitude = -92.1
elevation = "1400 ft"
timezone = "America/Chicago"
climate = "duluth_mn"

[house]
transmission = 0.60
set_points = [15, 15, 16, 17, 18, 19, 20, 20, 18, 17, 15, 15]

[water]
volumes = { "fish tanks" = 2.0, "gravel beds" = 0.7, "raft trough" = 2.6, sump = "250 gal" }
temperatures = [22, 22, 22, 23, 24, 25, 25, 25, 24, 23, 22, 22]
biofilter_area = 400
nitrate_n = 38
nitrate_tested = 2027-02-24

[[tank]]
name = "fish tank"
places = 2
volume = 1.0

[[zone]]
name = "north gravel"
method = "media_bed"
places = 4
area = "16 ft2"
parts = 2

[[zone]]
name = "rafts"
method = "raft"
places = 6
area = 1.44
sites = 28
parts = 2

[[zone]]
name = "towers"
method = "tower"
places = 8
sites = 20
lamps_umol = 120
lamp_hours = 10
lamp_months = [10, 11, 12, 1, 2, 3]

[nursery]
cells = 600

[labour]
hours_week = 20
price_hour = 18

[[fingerlings]]
species = "tilapia_nile"
weight = 50
price = 1.2
lead_weeks = 3
least_count = 30

[fish_prices]
tilapia_nile = 9.0
"""

ORDERS_CSV = """\
line,customer,crop,unit,quantity,first_week,last_week,every_weeks,weekdays,priority,price,tolerance,may_be_cut
A1,Corner bistro,lettuce_butterhead,head,14,2027-03-08,2028-02-28,1,tue;fri,1,2.50,0.1,yes
A2,Green grocer,any lettuce,head,12,2027-03-08,2028-02-28,1,thu,2,2.20,10%,yes
A3,Corner bistro,basil_genovese,kg,0.5,2027-03-15,2028-02-28,1,fri,1,30,0.1,yes
A4,School kitchen,Swiss chard,bunch,4,2027-03-08,2027-12-13,1,,3,3.00,0.2,yes
A5,Green grocer,tomato_cherry_indet,kg,1,2027-06-14,2027-09-27,1,thu,2,8.00,0.2,yes
A6,School kitchen,tilapia_nile,kg,4,2027-03-22,2028-02-28,4,fri,2,12.00,0.2,no
"""

OUTLETS_CSV = """\
outlet,crop,most_per_week,price_kg
Farm stand,any lettuce,3,4.00
Farm stand,basil_genovese,1,18.00
Farm stand,swiss_chard,2 kg,6.00
Farm stand,tomato_cherry_indet,4 lb,5.00
Farm stand,tilapia_nile,6,8.00
"""

GROWING_CSV = """\
id,crop,zone,parts,places,sow,transplant,first_cut,as_of
G1,lettuce_butterhead,rafts,2,1,2027-01-04,2027-01-25,,2027-02-26
G2,lettuce_romaine,rafts,3,2-3,2027-01-11,2027-02-01,,2027-02-26
G3,swiss_chard,north gravel,2,1,2026-12-07,2026-12-28,2027-02-09,2027-02-26
G4,basil_genovese,towers,2,1 2,2027-01-11,2027-02-01,,2027-02-26
,lettuce_butterhead,rafts,1,,2027-02-15,,,2027-02-26
"""

COHORTS_CSV = """\
tank,species,count,mean_weight,as_of
fish tank 1,tilapia_nile,34,310,2027-02-26
fish tank 2,tilapia_nile,34,90 g,2027-02-26
"""

FILES = {
    "farm.toml": FARM_TOML,
    "orders.csv": ORDERS_CSV,
    "outlets.csv": OUTLETS_CSV,
    "growing.csv": GROWING_CSV,
    "cohorts.csv": COHORTS_CSV,
}


def write_small_farm(folder: Path, **changes: str | Mapping[str, str] | None) -> Path:
    """Write the small farm into `folder`, which is made if need be, and return the folder.

    A change is named by its file with `_` for the dot (`farm_toml`, `orders_csv`, also files that
    the small farm has not, such as `crops_csv`). It is the whole text, or None to leave the file
    out, or texts to replace by others, each of which must stand in the file.
    """
    files: dict[str, str] = dict(FILES)
    for key, change in changes.items():
        name = ".".join(key.rsplit("_", 1))
        if change is None:
            del files[name]
        elif isinstance(change, str):
            files[name] = change
        else:
            for old, new in change.items():
                if old not in files[name]:
                    raise ValueError(f"{name} of the small farm does not hold {old!r}")
                files[name] = files[name].replace(old, new)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder
