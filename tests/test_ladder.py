"""The benchmark's farms are of the sizes asked for, and the benchmark itself still runs."""

import io
import re
import sys
import tomllib
from collections.abc import Sequence
from contextlib import redirect_stdout
from pathlib import Path

import pytest
from typer.testing import CliRunner

from planner.cli import app
from planner.farmfile import Inputs, read_farm
from planner.plan import violations
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.starting import check_dates
from tests import benchmark, benchrivals
from tests.benchruns import Ran, measured
from tests.ladder import EXAMPLES, shape, toml_text, write

TINY = {"example": "backyard", "crops": 4, "weeks": 5, "tail": 1}
SHAPES = (
    {},
    {"size": 4},
    {"size": 16},
    {"size": 64},
    {"crops": 12},
    {"crops": 25},
    {"crops": 45},
    {"weeks": 26},
    {"weeks": 104},
    {"crops": 12, "weeks": 26},
    {"one_batch": True},
    {"example": "backyard"},
    {"example": "backyard", "size": 3, "crops": 20, "weeks": 70, "one_batch": True},
    TINY,
)


def read(folder: Path, **given: object) -> Inputs:
    """Write a farm of the ladder, and read it as the command does."""
    inputs = read_farm(write(shape(**given), folder))
    assert inputs.farm.plan_date is not None
    check_dates(inputs.farm, inputs.crops, inputs.farm.plan_date)
    return inputs


@pytest.mark.parametrize("given", SHAPES, ids=str)
def test_every_farm_of_the_ladder_is_read_without_faults(given: dict, tmp_path: Path) -> None:
    farm = read(tmp_path / "farm", **given).farm
    assert len(farm.orders) >= 5
    assert farm.standing
    assert farm.cohorts
    assert shape(**given) == shape(**given)


@pytest.mark.parametrize("size", [1, 4, 64])
def test_a_larger_farm_is_the_same_farm_larger(size: int, tmp_path: Path) -> None:
    base, farm = read_farm(EXAMPLES / "lakeside").farm, read(tmp_path / "farm", size=size).farm
    for kinds in ("zones", "tanks"):
        before, after = getattr(base, kinds), getattr(farm, kinds)
        assert [kind.places for kind in after] == [size * kind.places for kind in before]
    assert farm.nursery.cells == size * base.nursery.cells
    assert farm.labour.hours_week == size * base.labour.hours_week
    for key in ("volume_m3", "biofilter_area_m2", "make_up_m3_day"):
        assert getattr(farm.water, key) == pytest.approx(size * getattr(base.water, key))
    assert farm.weights.nitrate_mg_l_week == size * base.weights.nitrate_mg_l_week
    quantities = [order.quantity for order in farm.orders]
    assert quantities == pytest.approx([size * order.quantity for order in base.orders])
    most_kg = [outlet.most_week_kg for outlet in farm.outlets]
    assert most_kg == pytest.approx([size * outlet.most_week_kg for outlet in base.outlets])
    assert [batch.parts for batch in farm.standing] == [size * b.parts for b in base.standing]
    assert any(batch.places for batch in farm.standing) == (size == 1)
    assert sum(c.count for c in farm.cohorts) == size * sum(c.count for c in base.cohorts)
    assert len({c.tank for c in farm.cohorts}) == size * len(base.cohorts)


@pytest.mark.parametrize("count", [12, 25, 45])
def test_every_crop_of_a_farm_is_ordered_or_has_an_outlet(count: int, tmp_path: Path) -> None:
    inputs = read(tmp_path / "farm", crops=count)
    farm = inputs.farm
    assert len(farm.crops_in_use) == count
    assert {batch.crop for batch in farm.standing} <= set(farm.crops_in_use)
    wanted = {crop for order in farm.orders for crop in order.crops}
    wanted |= {outlet.crop for outlet in farm.outlets}
    assert wanted >= set(farm.crops_in_use)
    assert not [doubt for doubt in inputs.doubts if "fits no zone" in doubt]
    added = [order for order in farm.orders if order.line.startswith("more ")]
    assert len(added) == max(0, count - 22)
    assert all(order.quantity * order.price <= 60 for order in added)  # a week


def test_more_crops_than_fit_the_house_are_refused() -> None:
    with pytest.raises(ValueError, match="more crops that fit the house, not 178"):
        shape(crops=200)


def test_orders_of_two_years_are_those_of_one_twice(tmp_path: Path) -> None:
    def weeks(inputs: Inputs) -> dict[str, int]:
        found: dict[str, int] = {}
        for order in inputs.farm.orders:
            line = order.line.removesuffix(" year 2")
            days = (order.last_week - order.first_week).days
            found[line] = found.get(line, 0) + days // 7 // order.every_weeks + 1
        return found

    one, two = read(tmp_path / "one"), read(tmp_path / "two", weeks=104)
    assert two.farm.rules.horizon_weeks == 104
    assert weeks(two) == {line: 2 * count for line, count in weeks(one).items()}


def test_fish_as_one_batch_are_as_many_and_as_heavy(tmp_path: Path) -> None:
    base, farm = read_farm(EXAMPLES / "lakeside").farm, read(tmp_path / "farm", one_batch=True).farm
    (cohort,), (tank,) = farm.cohorts, farm.tanks
    assert tank.places == 1
    assert tank.volume_m3 == sum(t.places * t.volume_m3 for t in base.tanks)
    assert cohort.count == sum(c.count for c in base.cohorts)
    biomass_g = sum(c.count * c.mean_g for c in base.cohorts)
    assert cohort.count * cohort.mean_g == pytest.approx(biomass_g, rel=1e-3)


@pytest.mark.parametrize("example", ["lakeside", "backyard"])
def test_toml_is_written_as_it_was_read(example: str) -> None:
    table = tomllib.loads((EXAMPLES / example / "farm.toml").read_text("utf-8"))
    assert tomllib.loads(toml_text(table)) == table


def test_the_season_with_every_place_named_is_worth_the_same(tmp_path: Path) -> None:
    """Both are solved to the end, so their values may differ by the proven gaps alone."""
    folder = write(shape(**TINY), tmp_path / "farm")
    counted = benchrivals.problem_of(folder)
    named = benchrivals.by_place(counted)
    assert len(named.farm.zones) == sum(zone.places for zone in counted.farm.zones)
    assert len(named.farm.tanks) == sum(tank.places for tank in counted.farm.tanks)
    assert len(named.batches) > len(counted.batches)
    plans = [season_plan(problem, Effort()) for problem in (counted, named)]
    assert [violations(p, plan) for p, plan in zip((counted, named), plans, strict=True)] == [
        []
    ] * 2
    assert [plan.stopped_by for plan in plans] == ["proven"] * 2
    assert plans[0].value == pytest.approx(plans[1].value, rel=2e-4)


def test_a_process_is_timed_weighed_and_stopped() -> None:
    done = measured([sys.executable, "-c", "x = bytes(80_000_000); print(len(x))"], 60)
    assert (done.text.strip(), done.error) == ("80000000", "")
    assert 70 < done.mb < 1000
    assert done.seconds > 0
    failed = measured([sys.executable, "-c", "raise SystemExit('no plan')"], 60)
    assert failed.error == "no plan"
    stopped = measured([sys.executable, "-c", "import time; time.sleep(60)"], 0.2)
    assert stopped.error.startswith("given up after")
    assert stopped.seconds < 30


def in_process(command: Sequence[str], most_s: float | None) -> Ran:
    """Run what the benchmark asks for in this process: the same code, without starting Python."""
    _, _, module, *words = command
    if module == "planner":
        result = CliRunner().invoke(app, words)
        error = result.stderr if result.exit_code else ""
        return Ran(text=result.output, error=error, seconds=1.0, mb=1.0)
    assert module == "tests.benchrivals"
    with redirect_stdout(io.StringIO()) as out:
        benchrivals.main(words)
    return Ran(text=out.getvalue(), error="", seconds=1.0, mb=1.0)


def test_the_benchmark_runs_from_end_to_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "tables.md"
    benchmark.main(["--quick", "--out", str(out)], run=in_process)
    text = out.read_text("utf-8")
    assert text.strip() == capsys.readouterr().out.strip()
    assert re.search(r"^Machine: \d+ cores .*OR-Tools 9\.\d+.*, HiGHS 1\.\d+", text, re.MULTILINE)
    assert text.count("\n## ") == 1 + len(benchmark.PARTS)
    assert "ailed" not in text
    assert "NOT equal" not in text
    for _, body in re.findall(r"## (.+)\n\n((?:\|.+\n)+)", text):
        heads, _, *rows = body.splitlines()
        assert rows
        assert {row.count(" | ") for row in rows} == {heads.count(" | ")}
    counted, named = re.findall(r"(?:counted|named) \| [^|]+\| [^|]+\|( [^|]+\| [^|]+\|)", text)
    assert counted == named  # value and bound of a season solved to its end


def test_only_the_parts_asked_for_are_run(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark.main(["--quick", "--only", "weeks", "work"], run=in_process)
    text = capsys.readouterr().out
    assert re.findall(r"^## (.+)", text, re.MULTILINE) == ["The ladder", "Work"]
    assert [row.split(" | ")[0] for row in text.splitlines() if row.startswith("| ")][:4] == [
        "| farm",
        "| ---",
        "| base",
        "| 8 weeks",
    ]


def test_a_plan_that_fails_is_told_in_its_row(capsys: pytest.CaptureFixture[str]) -> None:
    def run(command: Sequence[str], most_s: float | None) -> Ran:
        if "size-2" in command[-1] and "plan" in command:
            return Ran(text="", error="out of memory", seconds=1.0, mb=1.0)
        return in_process(command, most_s)

    benchmark.main(["--quick", "--only", "size"], run=run)
    assert "| × 2: out of memory | — |" in capsys.readouterr().out
