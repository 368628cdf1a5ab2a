"""The page's pictures of the house: light, temperatures, day length, work and nursery."""

from collections.abc import Callable, Sequence
from datetime import date

from planner.document import PlanDoc
from planner.pagefacts import Context, context
from planner.pictures import Curve, Figure, Frame, Scale, columns_path, frame, line_path
from planner.words import figure, temperature

MIDDLE_PX, LOW_PX = 100.0, 60.0


def climate_figure(document: PlanDoc, today: date) -> Figure:
    """Draw light, temperatures and day length, each in its own frame."""
    at = context(document, today)
    weeks = document["weeks"]

    def shown(c: float) -> float:
        return c * 9 / 5 + 32 if at.units == "us" else c

    degrees = "°F" if at.units == "us" else "°C"
    light = [week["dli_mol"] for week in weeks]
    air = [shown(week["air_c"]) for week in weeks]
    water = [shown(week["water_c"]) for week in weeks]
    hours = [week["day_length_h"] for week in weeks]
    dark, bright = _extremes(at, light)
    coldest, warmest = (pick(week["water_c"] for week in weeks) for pick in (min, max))
    finding = (
        f"Least light {dark}, most {bright} mol/m² a day. Water from "
        f"{temperature(coldest, at.units)} to {temperature(warmest, at.units)}."
    )
    return Figure(
        name="climate-chart",
        heading="Light and warmth in the house",
        finding=finding,
        key=(("uptake", "air"), ("supply", "water")),
        frames=(
            _curves(at, light, LOW_PX, "Light inside, mol/m² a day", finding),
            _curves(
                at,
                air,
                MIDDLE_PX,
                f"Air (solid) and water (dashed), weekly mean, {degrees}",
                f"Air from {figure(min(air))} to {figure(max(air))} {degrees}, water from "
                f"{figure(min(water))} to {figure(max(water))} {degrees}.",
                second=water,
                from_zero=False,
            ),
            _curves(
                at,
                hours,
                LOW_PX,
                "Day length, hours",
                f"Days from {figure(min(hours))} to {figure(max(hours))} hours.",
                from_zero=False,
            ),
        ),
        table=at.table(
            "Light and warmth by week",
            ("Light, mol/m² a day", f"Air, {degrees}", f"Water, {degrees}", "Day length, h"),
            (
                (i, (f"{light[i]:.1f}", f"{air[i]:.0f}", f"{water[i]:.1f}", f"{hours[i]:.1f}"))
                for i in range(len(weeks))
            ),
        ),
    )


def _extremes(at: Context, values: Sequence[float]) -> tuple[str, str]:
    """Return the least and the greatest value in words, each with its first week."""
    least, most = min(values), max(values)
    return _when(at, values, least), _when(at, values, most)


def _when(at: Context, values: Sequence[float], value: float) -> str:
    return f"{figure(value)} in {at.line.weeks_text([values.index(value)])}"


def _curves(
    at: Context,
    values: Sequence[float],
    height: float,
    heading: str,
    finding: str,
    *,
    second: Sequence[float] = (),
    from_zero: bool = True,
) -> Frame:
    scale = Scale.over([*values, *second], height, from_zero=from_zero)

    def path(series: Sequence[float]) -> str:
        return line_path([(7 * i + 3.5, scale.y(value)) for i, value in enumerate(series)])

    return frame(
        at.line,
        scale,
        (Curve(kind="uptake", path=path(values)), Curve(kind="supply", path=path(second))),
        heading=heading,
        finding=finding,
        today=at.today,
    )


def labour_figure(document: PlanDoc, today: date) -> Figure:
    """Draw hours of work and trays in the nursery."""
    at = context(document, today)
    weeks = document["weeks"]
    hours = [week["labour_h"] for week in weeks]
    cells = [float(week["nursery_cells"]) for week in weeks]
    said: list[str] = []
    frames = []
    series: tuple[tuple[list[float], str, Callable[[float], str], str], ...] = (
        (hours, "Work, hours a week", lambda v: f"{figure(v)} hours", "Most work"),
        (cells, "Cells in the nursery", lambda v: f"{v:,.0f} cells", "Fullest nursery"),
    )
    for values, heading, words, most in series:
        scale = Scale.over(values, LOW_PX)
        top = max(values)
        said.append(f"{most}: {words(top)} in {at.line.weeks_text([values.index(top)])}.")
        frames.append(
            frame(
                at.line,
                scale,
                (Curve(kind="column", path=columns_path(values, scale)),),
                heading=heading,
                finding=said[-1],
                today=at.today,
            )
        )
    return Figure(
        name="labour-chart",
        heading="Hours and nursery cells by week",
        finding=" ".join(said),
        key=(),
        frames=tuple(frames),
        table=at.table(
            "Work and nursery by week",
            ("Work, hours", "Nursery, cells"),
            ((i, (figure(hours[i]), f"{weeks[i]['nursery_cells']:,d}")) for i in range(len(weeks))),
        ),
    )
