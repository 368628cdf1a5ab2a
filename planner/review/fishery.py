"""Fish by tank: weight, survival, feed conversion and what was taken, planned against real."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from planner.book import Deaths, FishHarvest, Weigh
from planner.observed.fish import Curve, Tank, tanks
from planner.observed.plans import day_of
from planner.review.ground import DAY, NEAR, WEEK, Ground
from planner.review.kinds import FishRow


def fish_rows(ground: Ground) -> tuple[FishRow, ...]:
    """Return a row for each species in each tank within the span."""
    told = any(True for _ in ground.of(Deaths))
    rows = [
        _row(ground, tank, species, days, deaths_told=told)
        for tank in held(ground)
        for species, days in _stays(ground, tank).items()
    ]
    return tuple(sorted(rows, key=lambda row: (row.tank, row.species)))


def held(ground: Ground) -> list[Tank]:
    """Return the tanks of the plans with the entries of the span."""
    return tanks(ground.plans, ground.entries, ground.fish)


def species_on(tanks_held: Sequence[Tank], tank: str, day: date) -> str | None:
    """Return the species in a tank on a day, by the plan then in force."""
    found = [one.curve(day, day) for one in tanks_held if one.name == tank]
    return next((curve.cohort["species"] for curve in found if curve is not None), None)


def _stays(ground: Ground, tank: Tank) -> Mapping[str, list[tuple[date, date]]]:
    """Return by species the weeks, first day and day after the last, in which it is here."""
    found: dict[str, list[tuple[date, date]]] = {}
    start = ground.first
    while start <= ground.last:
        end = min(start + WEEK, ground.last + DAY)
        curve = tank.curve(start, end - DAY) or tank.curve(start, start)
        if curve is not None:
            found.setdefault(curve.cohort["species"], []).append((start, end))
        start = end
    return found


def _row(
    ground: Ground,
    tank: Tank,
    species: str,
    weeks: Sequence[tuple[date, date]],
    *,
    deaths_told: bool,
) -> FishRow:
    weighed = [e for e in tank.said if isinstance(e, Weigh) and _in(weeks, e.on)]
    foretold = _foretold(tank, species, weighed[-1].on) if weighed else None
    dead = [e.count for e in tank.said if isinstance(e, Deaths) and _in(weeks, e.on)]
    taken = [e for e in tank.said if isinstance(e, FishHarvest) and _in(weeks, e.on)]
    until = taken[-1].on + NEAR if taken else ground.last
    fcr = [obs for obs in tank.fcr() if obs.species == species]
    gain_kg = sum(obs.gain_kg for obs in fcr)
    count, planned_dead = _planned_deaths(tank, weeks)
    plan = ground.in_force(weeks[-1][0]) or ground.plans[0]
    return FishRow(
        tank=tank.name,
        species=species,
        weighed_on=weighed[-1].on if weighed else None,
        planned_mean_g=None if foretold is None else foretold.root_at(weighed[-1].on) ** 3,
        real_mean_g=weighed[-1].mean_g if weighed else None,
        planned_survival=1 - planned_dead / count if count > 0 else None,
        real_survival=1 - min(1.0, sum(dead) / count) if deaths_told and count > 0 else None,
        planned_dead=planned_dead if count > 0 else None,
        dead=sum(dead) if deaths_told else None,
        planned_fcr=ground.fish[species].fcr * plan.learned(species, "fcr"),
        real_fcr=sum(obs.feed_kg for obs in fcr) / gain_kg if gain_kg > 0 else None,
        planned_taken_kg=sum(_planned_takes(ground, tank, species, until), 0.0),
        real_taken_kg=sum((e.kg for e in taken), 0.0) if taken else None,
    )


def _in(weeks: Sequence[tuple[date, date]], day: date) -> bool:
    return any(first <= day < end for first, end in weeks)


def _foretold(tank: Tank, species: str, day: date) -> Curve | None:
    """Return the cohort as the last plan before a day had it, which did not know that day."""
    found = [
        curve
        for curve in tank.curves
        if curve.cohort["species"] == species
        and curve.plan.made_on < day
        and curve.covers(day, day)
    ]
    return found[-1] if found else None


def _planned_deaths(tank: Tank, weeks: Sequence[tuple[date, date]]) -> tuple[float, float]:
    """Return the fish of the first day, and the deaths that the plans in force foretold. [-]"""
    count = dead = 0.0
    for first, end in weeks:
        curve = tank.curve(first, first)
        if curve is not None:
            now = curve.count_at(first)
            count = count or now
            dead += now * curve.deaths_a_day() * (end - first).days
    return count, dead


def _planned_takes(ground: Ground, tank: Tank, species: str, until: date) -> Iterator[float]:
    """Yield what the plan in force on each day up to `until` meant to take out. [kg]"""
    for curve in tank.curves:
        if curve.cohort["species"] == species:
            for take in curve.cohort["taken"]:
                day = day_of(take["date"])
                if ground.within(day) and day <= until and ground.in_force(day) is curve.plan:
                    yield take["kg"]
