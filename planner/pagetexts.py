"""Cautions and assumptions that the page shows, in words, for one farm and its plan.

Cautions are common practice unless a source stands beside them; they defer to local codes and to
licensed practice.
"""

from collections.abc import Iterator
from datetime import date

from planner.plan import SeasonPlan, fish_sum
from planner.problem import SeasonProblem
from planner.schools import School
from planner.tables import Fish
from planner.water import (
    alkalinity_used_g,
    minutes_to_critical,
    oxygen_saturation_mg_l,
    pressure_atm,
)
from planner.words import day_words, figure, spoken, temperature

DAYTIME_OXYGEN_MG_L = 6.5
GENERATOR_DISTANCE_M = 6  # US Consumer Product Safety Commission advice: 20 ft


def cautions(
    problem: SeasonProblem, plan: SeasonPlan, fish: tuple[School, ...]
) -> tuple[tuple[str, str], ...]:
    """Return heading and text of every caution that the farm needs."""
    species = {problem.fish[school.option.species] for school in fish}
    found = [*_permits(species)]
    if fish:
        found.append(_oxygen(problem, fish))
        found.append(
            (
                "Fish: handling and slaughter",
                "Cover cuts, wear gloves and wash your hands: fish and their water can carry "
                "disease. Fast the fish for a day or two, then stun them by a blow or electrically "
                "before bleeding; leaving them to die in air or ice is not accepted for farmed "
                "fish. Fish that were treated with a drug, and plants on their water, are held "
                "back as the label and your vet say. Sale and slaughter follow local law.",
            )
        )
    found += [
        (
            "Food safety at harvest",
            "Fish water is not drinking water: keep it off what is eaten, keep birds, rodents and "
            "pets out, wash hands and knives, cut leaf before any fish or filter work, and chill "
            "it at once (basil not below 10 °C). Cut, bagged leaf needs a cold chain of 5 °C or "
            "less (US FDA Food Code, from memory). Follow your local food code.",
        ),
        (
            "Electricity near water",
            "Pumps, heaters and lamps stand over water: residual-current protection (GFCI or RCD, "
            "30 mA or less), drip loops, sockets above the splash, work by a licensed "
            "electrician. Unplug before you reach into a tank or filter.",
        ),
        (
            "Heating with flame",
            "Burn fuel only in vented heaters with their own combustion air, with a carbon "
            "monoxide alarm where people work; never run a generator indoors or within "
            f"{GENERATOR_DISTANCE_M} m (20 ft) of an opening. Snow must not block flues or vents. "
            "Fitting and gas work belong to a licensed trade; local codes come first.",
        ),
        (
            "Water chemicals and filters",
            "Potassium hydroxide and lime burn eyes and skin: goggles, gloves, base into water, "
            "never on fish, pH by no more than 0.2 to 0.3 a day. " + _alkalinity(problem, plan),
        ),
    ]
    return tuple(found)


def _permits(species: set[Fish]) -> Iterator[tuple[str, str]]:
    for row in sorted(species, key=lambda fish: fish.id):
        yield (
            f"Fish: permit for {spoken(row.name)}",
            f"Check permit before ordering. {row.legal_caution} Ask your fish and wildlife agency.",
        )


def _oxygen(problem: SeasonProblem, fish: tuple[School, ...]) -> tuple[str, str]:
    """Say how long the fullest tank lasts when the power fails."""
    farm = problem.farm
    heaviest, worst = 0.0, fish[0]
    for school in fish:
        biomass = float((school.option.alive * school.option.mean_g).max()) * school.fish / 1000
        if biomass > heaviest:
            heaviest, worst = biomass, school
    volume = farm.tanks[worst.option.tank].volume_m3
    water_c = max(farm.water.temperatures_c)
    full = float(oxygen_saturation_mg_l(water_c, pressure_atm(farm.site.elevation_m)))
    row = problem.fish[worst.option.species]
    minutes = minutes_to_critical(
        oxygen_mg_l=min(DAYTIME_OXYGEN_MG_L, full),
        critical_mg_l=row.do_critical_mg_l,
        volume_m3=volume,
        biomass_kg=max(heaviest, 0.001),
        feed_kg_day=float(worst.option.feed_g.max()) * worst.fish / 7000,
    )
    return (
        "Oxygen when the power fails",
        f"At its fullest the {worst.tank} has about {figure(float(minutes))} minutes from a good "
        "oxygen level to danger once pumps and air stop (a cautious reckoning). Keep an alarm that "
        "reaches you, battery air that starts by itself, and stop feeding until all runs again.",
    )


def _alkalinity(problem: SeasonProblem, plan: SeasonPlan) -> str:
    weeks = problem.horizon.weeks
    tan_g = float(fish_sum(problem, plan, "tan_g")[:weeks].mean())
    used = float(alkalinity_used_g(tan_g))
    return (
        f"Nitrification uses up to {figure(used)} g of alkalinity (as CaCO3) in a week here, less "
        "what the plants give back: test before you dose."
    )


def assumptions(problem: SeasonProblem, plan: SeasonPlan) -> tuple[str, ...]:
    """Return what the plan takes for granted, in sentences."""
    farm, water = problem.farm, problem.farm.water
    newest = [batch.as_of for batch in farm.standing] + [c.as_of for c in farm.cohorts]
    units = farm.units
    coldest, warmest = min(farm.house.set_points_c), max(farm.house.set_points_c)
    return (
        "Climate: the monthly means of the station that farm.toml names, every year alike; days "
        "between months are interpolated. Sun and day length by pvlib.",
        f"Light inside is {farm.house.transmission:.0%} of the light outside (2.018 mol for each "
        "MJ of global radiation: Faust and Logan, HortScience 53:1250, 2018) times each zone's "
        "share, and its lamps.",
        f"The heating holds a daily mean of {temperature(coldest, units)} to "
        f"{temperature(warmest, units)}; the house is warmer when the weather is.",
        "Crops grow by degree-days above a base, slowed when light is under the crop's target; "
        "yields are the crop table's, less its losses. Your own rows in crops.csv overrule it.",
        "What is ripe in a batch may be cut in any week until its next cut, or for as long as the "
        "crop stands; each bed, board or tower is cleared on a Monday and set out the same week.",
        "Fish grow by a thermal growth coefficient with the feed conversion of the fish table; "
        f"deaths are even. Of the feed's nitrogen {water.solid_share:.0%} leaves as solids "
        f"({'kept in the gravel' if water.solids_kept else 'taken out by the filters'}), "
        f"{water.gas_loss:.0%} of what dissolves leaves as gas, {water.pool_loss_week:.0%} of the "
        "water's nitrate leaves each week with exchanged water (judgement).",
        f"Nitrate is held between {water.band_low_mg_l:g} and {water.band_high_mg_l:g} mg/L "
        "nitrate-N where that pays; every mg/L outside costs "
        f"{farm.weights.nitrate_mg_l_week:g} {farm.currency} a week in the reckoning.",
        f"A unit short beyond its tolerance costs {farm.weights.shortage:g} times its price times "
        "4 less its priority; orders go on as a year before in the weeks after the horizon.",
        "Feed-rate ratio of the handbooks, as a cross-check only: "
        f"{_feed_ratio(problem, plan)} (published: 60 to 100 for rafts, 15 to 40 for media "
        "beds that keep solids; it counts losses and other nutrients, so it is no nitrogen "
        "balance).",
        "Latest record of what stands in the house: "
        + (max(newest).isoformat() if newest else "none given")
        + ".",
    )


def _feed_ratio(problem: SeasonProblem, plan: SeasonPlan) -> str:
    farm, weeks = problem.farm, problem.horizon.weeks
    area = sum(
        zone.places * ((zone.sites or 0) / 20 if zone.area_m2 is None else zone.area_m2)
        for zone in farm.zones
    )
    feed_g = float(fish_sum(problem, plan, "feed_g")[:weeks].mean()) / 7
    return f"{feed_g / area:.0f} g of feed per m² of growing area a day" if area else "no area"


def warnings(
    problem: SeasonProblem, fish: tuple[School, ...], farm_doubts: tuple[str, ...], today: date
) -> tuple[str, ...]:
    """Return what the grower should know before acting on the plan."""
    cold = sorted({school.tank for school in fish if school.option.cold})
    found = list(problem.warnings)
    if cold:
        found.append(
            f"{', '.join(cold)}: more than four weeks are too cold to feed; expect no growth then."
        )
    late = {
        school.tank
        for school in fish
        if school.option.at_hand is not None
        and any(not take.saleable for take in school.option.takes)
    }
    if late:
        found.append(
            f"{', '.join(sorted(late))}: the fish are taken out before they can be sold, for no "
            "course keeps them within their limits."
        )
    found += _without_tank(problem, fish)
    return (*found, *(doubt for doubt in farm_doubts if doubt not in found))


def _without_tank(problem: SeasonProblem, fish: tuple[School, ...]) -> list[str]:
    """Fish on order that the plan does not stock."""
    found = []
    for number, ordered in enumerate(problem.farm.ordered):
        left = ordered.count - sum(s.fish for s in fish if s.option.ordered == number)
        if left > 0:
            name = spoken(problem.fish[ordered.species].name)
            found.append(
                f"{left:,} of the {ordered.count:,} {name} on order for {day_words(ordered.day)} "
                "have no place in this plan: cancel them, or make room."
            )
    return found
