"""The page's pictures of the fish: each tank's biomass under its limit, and its feed below."""

import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from planner.document import CohortDoc, PlanDoc, TankDoc
from planner.horizon import monday_of
from planner.pagefacts import Context, brief_names, context, density, mass, mass_unit
from planner.pictures import (
    Curve,
    Figure,
    Frame,
    Label,
    Scale,
    area_path,
    columns_path,
    frame,
    line_path,
    staggered,
)
from planner.ranges import (
    RANGE_WORDS,
    Range,
    cohort_ranges,
    field_path,
    span_words,
    widest,
)
from planner.words import LB_KG, day_words, figure, numbered, plural, spoken, weight

BIOMASS_PX, FEED_PX = 100.0, 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ration:
    """What a tank, or each of several, gets on a day, in words.

    `note` says when feeding starts or pauses.
    """

    tank: str
    feed: str
    fish: str
    note: str


def rations(document: PlanDoc, today: date) -> tuple[Ration, ...]:
    """Return today's feed of every tank in the document's order, the empty ones too.

    Tanks that get the same for the same fish share a ration, which names them all. A week's feed
    is spread evenly over its days with fish. The day before fish are taken none is given, so that
    they come clean (common practice).
    """
    at = context(document, today)
    found = []
    for tank in document["tanks"]:
        held = [c for c in document["cohorts"] if c["tank"] == tank["name"]]
        lines = [line for cohort in held for line in _rations(at, cohort, document["crops"])]
        found += lines or [Ration(tank=tank["name"], feed="none", fish="", note="empty")]
    alike: dict[Ration, list[str]] = defaultdict(list)
    for ration in found:
        alike[replace(ration, tank="")].append(ration.tank)
    return tuple(
        replace(
            ration,
            tank=numbered(tanks),
            feed=ration.feed.replace("a day", "a day each") if len(tanks) > 1 else ration.feed,
        )
        for ration, tanks in alike.items()
    )


def _rations(at: Context, cohort: CohortDoc, names: Mapping[str, str]) -> Iterator[Ration]:
    monday = monday_of(at.today)
    stock = date.fromisoformat(cohort["stock"])
    empty = date.fromisoformat(cohort["harvest"]) if cohort["harvest"] else date.max
    week = next((w for w in cohort["weeks"] if w["week"] == monday.isoformat()), None)
    if week is None or at.today >= empty:
        return
    days = (min(monday + timedelta(days=7), empty) - max(monday, stock)).days
    kg_day = week["feed_kg"] / days if days > 0 else 0.0
    tomorrow = (at.today + timedelta(days=1)).isoformat()
    feed, note = f"{weight(kg_day, at.units)} a day" if kg_day > 0 else "none", ""
    if at.today < stock:
        feed, note = "none", f"{feed} from {day_words(stock)}"
    elif any(taken["date"] == tomorrow for taken in cohort["taken"]):
        feed, note = "none", f"fish are taken tomorrow; else {feed}"
    name = spoken(names.get(cohort["species"], cohort["species"]))
    yield Ration(
        tank=cohort["tank"],
        feed=feed,
        fish=f"{week['count']:,.0f} {name} of {weight(week['mean_g'] / 1000, at.units)}",
        note=note,
    )


def tank_figures(document: PlanDoc, today: date) -> tuple[Figure, ...]:
    """Draw each tank that holds fish in the horizon: biomass under its limit, feed below it.

    Tanks of one size that hold the same fish all through are drawn once, under all their names.
    """
    at, briefs = context(document, today), brief_names(document["crops"])
    held: dict[str, list[CohortDoc]] = {tank["name"]: [] for tank in document["tanks"]}
    for cohort in document["cohorts"]:
        if cohort["weeks"] and cohort["tank"] in held:
            held[cohort["tank"]].append(cohort)
    alike: dict[str, list[TankDoc]] = defaultdict(list)
    for tank in document["tanks"]:
        if held[tank["name"]]:
            alike[_likeness(tank, held[tank["name"]])].append(tank)
    ranges = _ranges(document)
    return tuple(
        _tank(at, tanks, _shared([held[tank["name"]] for tank in tanks], ranges), briefs)
        for tanks in alike.values()
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """A cohort, or the first of those that are alike, and the forecast's ranges by week.

    Ranges hold those of every cohort that is alike. [g], [kg]
    """

    cohort: CohortDoc
    mean_g: Mapping[str, Range]
    kg: Mapping[str, Range]


_Ranges = Mapping[tuple[str, str], tuple[Range, Range]]


def _ranges(document: PlanDoc) -> _Ranges:
    return {
        key: (Range(row["mean_g_p10"], row["mean_g_p90"]), Range(row["kg_p10"], row["kg_p90"]))
        for key, row in cohort_ranges(document).items()
    }


def _shared(alike: Sequence[Sequence[CohortDoc]], ranges: _Ranges) -> list[_Kept]:
    """Return the cohorts of tanks that are alike, each of them once."""
    found = []
    for same in zip(*alike, strict=True):
        mean_g: dict[str, Range] = {}
        kg: dict[str, Range] = {}
        for week in same[0]["weeks"]:
            monday = week["week"]
            known = [ranges[one["id"], monday] for one in same if (one["id"], monday) in ranges]
            for target, index in ((mean_g, 0), (kg, 1)):
                together = widest(one[index] for one in known)
                if together is not None:
                    target[monday] = together
        found.append(_Kept(cohort=same[0], mean_g=mean_g, kg=kg))
    return found


def _likeness(tank: TankDoc, cohorts: Sequence[CohortDoc]) -> str:
    """Return a key that tanks share when a chart of them would be the same."""
    own = {"id": "", "tank": ""}
    return json.dumps([tank["volume_m3"], *({**cohort, **own} for cohort in cohorts)])


def empty_tanks(document: PlanDoc) -> tuple[str, ...]:
    """Return the tanks that hold no fish in the horizon."""
    used = {cohort["tank"] for cohort in document["cohorts"] if cohort["weeks"]}
    return tuple(tank["name"] for tank in document["tanks"] if tank["name"] not in used)


def _tank(
    at: Context, tanks: Sequence[TankDoc], kept: Sequence[_Kept], briefs: Mapping[str, str]
) -> Figure:
    cohorts = [one.cohort for one in kept]
    peaks_kg = [max(week["biomass_kg"] for week in cohort["weeks"]) for cohort in cohorts]
    peak_kg, most_kg_m3 = max(
        zip(peaks_kg, (cohort["max_kg_m3"] for cohort in cohorts), strict=True),
        key=lambda fish: fish[0] / fish[1],
    )
    limit_kg = most_kg_m3 * tanks[0]["volume_m3"]
    name = numbered(tank["name"] for tank in tanks)
    most = "At most" if len(tanks) == 1 else "In each at most"
    finding = (
        f"{most} {weight(peak_kg, at.units)} of fish, {peak_kg / limit_kg:.0%} of the "
        f"{weight(limit_kg, at.units)} at {density(most_kg_m3, at.units)}."
    )
    likely_kg = widest(kg for one in kept for kg in one.kg.values())
    if likely_kg is not None and weight(likely_kg.high, at.units) != weight(peak_kg, at.units):
        finding += f" Likely no more than {weight(likely_kg.high, at.units)}."
    foretold = likely_kg is not None
    return Figure(
        name="",
        heading=name,
        finding=finding,
        key=(("range", RANGE_WORDS),) if foretold else (),
        frames=(_biomass(at, kept, briefs, limit_kg, finding), _feed(at, cohorts)),
        table=at.table(
            f"{name} by week",
            (
                "Fish",
                "Count",
                f"Mean weight, {'oz' if at.units == 'us' else 'g'}",
                *(("Likely",) if foretold else ()),
                f"Biomass on Monday, {mass_unit(at.units)}",
                *(("Likely",) if foretold else ()),
                f"Feed of the week, {mass_unit(at.units)}",
                "In and out",
            ),
            _tank_rows(at, kept, briefs, foretold=foretold),
        ),
    )


def _tank_rows(
    at: Context, kept: Sequence[_Kept], briefs: Mapping[str, str], *, foretold: bool
) -> list[tuple[int, Sequence[str]]]:
    def likely(one: Range | None, shown: Callable[[float], float]) -> tuple[str, ...]:
        if not foretold:
            return ()
        return ("",) if one is None else (span_words(*(figure(shown(end)) for end in one)),)

    def mean(g: float) -> float:
        return g / LB_KG / 1000 * 16 if at.units == "us" else g

    rows = []
    for one in kept:
        cohort = one.cohort
        stocked = at.line.week(date.fromisoformat(cohort["stock"]))
        for week in cohort["weeks"]:
            index = at.line.week(date.fromisoformat(week["week"]))
            if not 0 <= index < at.line.weeks:
                continue
            moves = [
                f"{plural(t['count'], 'fish')} out, {weight(t['kg'], at.units)}, "
                f"{at.line.day_text(date.fromisoformat(t['date']))}"
                for t in cohort["taken"]
                if at.line.week(date.fromisoformat(t["date"])) == index
            ]
            if stocked == index:
                day = at.line.day_text(date.fromisoformat(cohort["stock"]))
                moves.insert(0, f"stocked {day}")
            rows.append(
                (
                    index,
                    (
                        briefs.get(cohort["species"], cohort["species"]),
                        f"{week['count']:,.0f}",
                        figure(mean(week["mean_g"])),
                        *likely(one.mean_g.get(week["week"]), mean),
                        figure(mass(week["biomass_kg"], at.units)),
                        *likely(one.kg.get(week["week"]), lambda kg: mass(kg, at.units)),
                        figure(mass(week["feed_kg"], at.units)),
                        "; ".join(moves),
                    ),
                )
            )
    return sorted(rows, key=lambda row: row[0])


def _biomass(
    at: Context,
    kept: Sequence[_Kept],
    briefs: Mapping[str, str],
    limit_kg: float,
    finding: str,
) -> Frame:
    cohorts = [one.cohort for one in kept]
    peak_kg = max(week["biomass_kg"] for cohort in cohorts for week in cohort["weeks"])
    peak_kg = max(peak_kg, *(kg.high for one in kept for kg in one.kg.values()), 0.0)
    scale = Scale.over([mass(max(peak_kg, limit_kg), at.units)], BIOMASS_PX)
    limit_y = scale.y(mass(limit_kg, at.units))
    curves = []
    for one in kept:
        cohort = one.cohort
        points: list[tuple[float, float]] = []
        lows: list[tuple[float, float]] = []
        highs: list[tuple[float, float]] = []
        for week in cohort["weeks"]:
            monday = date.fromisoformat(week["week"])
            day = max(monday, date.fromisoformat(cohort["stock"]))
            if at.line.holds(day):
                points.append((at.line.day(day), scale.y(mass(week["biomass_kg"], at.units))))
                if week["week"] in one.kg:
                    low, high = (scale.y(mass(kg, at.units)) for kg in one.kg[week["week"]])
                    lows.append((at.line.day(day), low))
                    highs.append((at.line.day(day), high))
        if points:
            end = at.line.day(date.fromisoformat(cohort["harvest"] or at.line.end.isoformat()))
            last = min(end, points[-1][0] + 7)
            for curve in (points, lows, highs):
                curve += [(last, px) for _, px in curve[-1:]]
        path = area_path(points, BIOMASS_PX)
        curves += [
            Curve(kind="field", path=path),
            Curve(kind="range", path=field_path(lows, highs)),
            Curve(kind="biomass", path=line_path(points)),
        ]
    curves.append(
        Curve(kind="limit", path=line_path([(0, limit_y), (at.line.days, limit_y)])),
    )
    return frame(
        at.line,
        scale,
        curves,
        heading=f"Biomass (solid) and density limit (dotted), {mass_unit(at.units)}",
        finding=finding,
        today=at.today,
        labels=_moves(at, cohorts, briefs),
    )


def _moves(
    at: Context, cohorts: Sequence[CohortDoc], briefs: Mapping[str, str]
) -> tuple[Label, ...]:
    words = []
    for cohort in cohorts:
        stock = date.fromisoformat(cohort["stock"])
        if at.line.holds(stock) and cohort["weeks"]:
            name = briefs.get(cohort["species"], cohort["species"])
            short = name if len(name) <= 16 else f"{name[:15]}…"
            count = f"{cohort['weeks'][0]['count']:,.0f}"
            words.append((at.line.share(stock), f"in {at.line.day_text(stock)}: {count} {short}"))
        taken = [t for t in cohort["taken"] if at.line.holds(date.fromisoformat(t["date"]))]
        if taken:
            first, last = (date.fromisoformat(taken[i]["date"]) for i in (0, -1))
            span = at.line.day_text(first)
            if last != first:
                span += f" to {at.line.day_text(last)}"
            count = f"{sum(t['count'] for t in taken):,d}"
            words.append((at.line.share(first), f"out {span}: {count}"))
    return staggered(words)


def _feed(at: Context, cohorts: Sequence[CohortDoc]) -> Frame:
    fed = [0.0] * at.line.weeks
    for cohort in cohorts:
        for week in cohort["weeks"]:
            index = at.line.week(date.fromisoformat(week["week"]))
            if 0 <= index < at.line.weeks:
                fed[index] += mass(week["feed_kg"], at.units)
    scale = Scale.over(fed, FEED_PX)
    unit = mass_unit(at.units)
    return frame(
        at.line,
        scale,
        (Curve(kind="column", path=columns_path(fed, scale)),),
        heading=f"Feed, {unit} a week",
        finding=f"Feed of {figure(sum(fed))} {unit} in all, at most {figure(max(fed))} a week.",
        today=at.today,
    )
