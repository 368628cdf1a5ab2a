"""The README tells the truth: commands, files, examples."""

import re
import shlex
import tomllib
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from planner.cli import app

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def test_every_command_has_help_and_stands_in_the_readme() -> None:
    group = typer.main.get_command(app)
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        assert command.help, name
        assert f"sowstock {name}" in README


LINES = [
    line.strip()
    for line in README.splitlines()
    if line.startswith("    sowstock ") and " init " not in line and "…" not in line
]


@pytest.mark.parametrize("line", LINES)
def test_every_command_line_of_the_readme_is_right_usage(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a folder without the farm each says so (1), or works (0); wrong usage would be 2."""
    monkeypatch.chdir(tmp_path)
    words = shlex.split(line.partition("  #")[0])
    result = CliRunner().invoke(app, words[1:])
    assert result.exit_code in (0, 1), result.output
    assert words[1] == "tables" or "my-farm" in result.stderr


def test_the_readme_names_two_commands_each_on_one_line() -> None:
    lines = [line for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert len(lines) == 2
    assert lines[0].endswith("sowstock plan examples/lakeside")
    assert "'.[test]'" in lines[1]
    assert lines[1].endswith("-m pytest")


def test_ci_runs_the_readme_command_as_it_stands() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    pattern = re.search(r'grep -E "(.+)" README.md', script)
    assert pattern
    assert len(re.findall(pattern[1], README, re.MULTILINE)) == 1


def test_the_readme_begins_with_one_paragraph_that_states_the_job() -> None:
    first = README.split("\n\n")[1]
    for word in ("grower", "year", "week", "without a plan", "nitrate", "calendar"):
        assert word in " ".join(first.split())


def test_the_examples_named_exist_and_say_that_they_are_invented() -> None:
    for name in re.findall(r"`examples/(\w+)`", README):
        farm = (ROOT / "examples" / name / "farm.toml").read_text("utf-8")
        assert "invented" in farm.lower()
        assert "plan_date" in tomllib.loads(farm)
