"""The page's pictures of the water: nitrogen in and out, nitrate in its band, the biofilter."""

from collections.abc import Sequence
from datetime import date

from planner.document import PlanDoc, WeekDoc, WeekRangeDoc
from planner.pagefacts import Context, band_finding, context, mass, mass_unit, outside_band
from planner.pictures import Curve, Figure, Frame, Scale, frame, line_path, steps_path, week_marks
from planner.ranges import RANGE_WORDS, field_path, span_words, week_ranges
from planner.words import figure, plural, weight

TALL_PX, LOW_PX = 130.0, 60.0


def nitrogen_figure(document: PlanDoc, today: date) -> Figure:
    """Draw supply against uptake, nitrate in its band below, and the biofilter's load."""
    at = context(document, today)
    weeks = document["weeks"]
    foretold = week_ranges(document)
    range_head = ("Likely, mg/L",) if foretold else ()
    return Figure(
        name="nitrogen-chart",
        heading="Nitrogen by week",
        finding=f"{band_finding(document)}{_risk(at, document)}",
        key=(
            ("supply", "supply: nitrogen that the fish feed leaves in the water"),
            ("uptake", "uptake: nitrogen that the plants take"),
            ("nitrate", "nitrate-N, and ammonia made"),
            ("band", "band in which nitrate is wanted"),
            *((("range", RANGE_WORDS),) if foretold else ()),
            ("limit", "what the biofilter can turn over"),
        ),
        frames=(_balance(at, weeks), _nitrate(at, document), _filter(at, weeks)),
        table=at.table(
            "Nitrogen by week, in g N unless said otherwise",
            (
                f"Feed, {mass_unit(at.units)}",
                "Feed N",
                "Supply",
                "Uptake",
                "Lost",
                "Not found in the water",
                "Nitrate-N at the end, mg/L",
                *range_head,
                "Ammonia made, g/day",
                "Biofilter can take, g/day",
                "Note",
            ),
            (
                (
                    i,
                    (
                        figure(mass(week["feed_kg"], at.units)),
                        figure(week["feed_n_g"]),
                        figure(week["supply_n_g"]),
                        figure(week["uptake_n_g"]),
                        figure(week["lost_n_g"]),
                        figure(week["deficit_n_g"]),
                        figure(week["nitrate_n_mg_l"]),
                        *((_likely(foretold.get(week["week"])),) if foretold else ()),
                        figure(week["tan_g_day"]),
                        figure(week["biofilter_g_day"]),
                        _standing(document, i, week),
                    ),
                )
                for i, week in enumerate(weeks)
            ),
        ),
    )


def _likely(row: WeekRangeDoc | None) -> str:
    if row is None:
        return ""
    return span_words(figure(row["nitrate_n_mg_l_p10"]), figure(row["nitrate_n_mg_l_p90"]))


def _standing(document: PlanDoc, index: int, week: WeekDoc) -> str:
    under, over = outside_band(document)
    words = ["▼ under the band"] if index in under else ["▲ over the band"] if index in over else []
    if week["inherited"]:
        words.append("from what stood in the house")
    return ", ".join(words)


def _balance(at: Context, weeks: Sequence[WeekDoc]) -> Frame:
    supply = [week["supply_n_g"] for week in weeks]
    uptake = [week["uptake_n_g"] for week in weeks]
    scale = Scale.over([*supply, *uptake], TALL_PX)
    short = [i for i, week in enumerate(weeks) if week["deficit_n_g"] > 0.05]
    finding = (
        f"Supply is {weight(sum(supply) / 1000, at.units)} of nitrogen and uptake "
        f"{weight(sum(uptake) / 1000, at.units)} over {plural(len(weeks), 'week')}."
    )
    if short:
        finding += (
            f" The water cannot give all that the plants would take in {at.line.weeks_text(short)}."
        )
    return frame(
        at.line,
        scale,
        (
            Curve(kind="uptake", path=steps_path(uptake, scale)),
            Curve(kind="supply", path=steps_path(supply, scale)),
        ),
        heading="Supply (dashed) and uptake (solid), g nitrogen a week",
        finding=finding,
        today=at.today,
    )


def _nitrate(at: Context, document: PlanDoc) -> Frame:
    low, high = document["water"]["band_n_mg_l"]
    ends = [week["nitrate_n_mg_l"] for week in document["weeks"]]
    levels = [document["water"]["nitrate_n_start_mg_l"], *ends]
    foretold = week_ranges(document)
    likely = [foretold[week["week"]] for week in document["weeks"] if week["week"] in foretold]
    lows = [levels[0], *(row["nitrate_n_mg_l_p10"] for row in likely)]
    highs = [levels[0], *(row["nitrate_n_mg_l_p90"] for row in likely)]
    scale = Scale.over([*levels, *highs, high], TALL_PX)
    under, over = outside_band(document)

    def line(values: Sequence[float]) -> list[tuple[float, float]]:
        return [(7 * i, scale.y(level)) for i, level in enumerate(values)]

    return frame(
        at.line,
        scale,
        (
            Curve(kind="range", path=field_path(line(lows), line(highs)) if likely else ""),
            Curve(kind="nitrate", path=line_path(line(levels))),
        ),
        heading="Nitrate-N in its band, mg/L",
        finding=f"{band_finding(document)}{_risk(at, document)}",
        today=at.today,
        band=(low, high),
        marks=tuple(
            [
                *week_marks(at.line, over, "▲", "over", TALL_PX - 2),
                *week_marks(at.line, under, "▼", "under", TALL_PX - 2),
            ]
        ),
    )


def _risk(at: Context, document: PlanDoc) -> str:
    """Say when nitrate may leave its band though it is planned in it."""
    low, high = document["water"]["band_n_mg_l"]
    planned_out = {week for weeks in outside_band(document) for week in weeks}
    said = []
    rows = [
        (at.line.week(date.fromisoformat(monday)), row)
        for monday, row in week_ranges(document).items()
    ]
    for side, weeks in (
        ("under", [i for i, row in rows if row["nitrate_n_mg_l_p10"] < low - 5e-4]),
        ("over", [i for i, row in rows if row["nitrate_n_mg_l_p90"] > high + 5e-4]),
    ):
        more = [week for week in weeks if week not in planned_out]
        if more:
            said.append(f"{side} it in {at.line.weeks_text(more, most=3)}")
    return f" In a tenth or more of the drawn seasons it is {' and '.join(said)}." if said else ""


def _filter(at: Context, weeks: Sequence[WeekDoc]) -> Frame:
    made = [week["tan_g_day"] for week in weeks]
    can = [week["biofilter_g_day"] for week in weeks]
    # the filter's capacity is often far above the load: it may run off the top
    scale = Scale.over([*made, min(max(can, default=0.0), 3 * max(made, default=1.0))], LOW_PX)
    weak = [i for i, week in enumerate(weeks) if week["tan_g_day"] > week["biofilter_g_day"] + 5e-4]
    if weak:
        finding = f"More ammonia than the biofilter can take in {at.line.weeks_text(weak)}."
    else:
        most = max((m / c for m, c in zip(made, can, strict=True) if c > 0), default=0.0)
        finding = f"Ammonia stays within the biofilter's reach; at most {most:.0%} of it is used."
    above = min(can, default=0.0) > scale.high
    limit = "biofilter's limit is above the frame" if above else "biofilter's limit (dotted)"
    return frame(
        at.line,
        scale,
        (
            Curve(
                kind="limit",
                path=steps_path([c if c <= scale.high else None for c in can], scale),
            ),
            Curve(kind="nitrate", path=steps_path(made, scale)),
        ),
        heading=f"Ammonia made (solid), g N a day; {limit}",
        finding=finding,
        today=at.today,
        marks=tuple(week_marks(at.line, weak, "▲", "over", LOW_PX - 2)),
    )
