"""Modules import only from lower floors, as DEVELOPERS.md lists them."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "planner"


def floors() -> dict[str, int]:
    """Read the table of DEVELOPERS.md: floor by module."""
    rows = re.findall(
        r"^\| (\d+) \| ([a-z, ]+) \|", (ROOT / "DEVELOPERS.md").read_text("utf-8"), re.MULTILINE
    )
    return {name: int(floor) for floor, names in rows for name in names.split(", ")}


def sources() -> dict[str, list[Path]]:
    """Files of each module; a package counts as one module."""
    found: dict[str, list[Path]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).with_suffix("").parts[0]
        if name not in {"__init__", "__main__"}:
            found.setdefault(name, []).append(path)
    return found


def imports_of(path: Path) -> set[str]:
    """First names below `planner` that a file imports, and foreign packages."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module == "planner":
            names = [f"planner.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        else:
            continue
        found |= {".".join(name.split(".")[:2]) for name in names}
    return found


MODULES = sources()


@pytest.mark.parametrize("module", MODULES)
def test_imports_go_down(module: str) -> None:
    known = floors()
    assert module in known, f"{module} has no floor in DEVELOPERS.md"
    inner = {
        name.split(".")[1]
        for path in MODULES[module]
        for name in imports_of(path)
        if name.startswith("planner.")
    } - {module}
    assert {name for name in inner if known[name] >= known[module]} == set()


def test_no_floor_is_given_to_a_module_that_is_not_there() -> None:
    assert set(floors()) == set(MODULES)


@pytest.mark.parametrize("module", MODULES)
def test_only_the_models_know_the_solver(module: str) -> None:
    uses = any(name.startswith("ortools") for path in MODULES[module] for name in imports_of(path))
    assert not uses or module in {"season", "placement"}


@pytest.mark.parametrize("module", MODULES)
def test_only_the_terminal_asks_for_today(module: str) -> None:
    text = "\n".join(path.read_text("utf-8") for path in MODULES[module])
    assert module == "terminal" or not re.search(r"\b(date|datetime)\.(today|now|utcnow)\(", text)


@pytest.mark.parametrize(
    "path", [path for paths in MODULES.values() for path in paths], ids=lambda path: path.stem
)
def test_modules_stay_small(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= 400
