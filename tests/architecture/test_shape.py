"""The shape of the tree: sizes, names, twins in the tests, what lies at the top, what help loads."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "archive"
UNIT = ROOT / "tests" / "unit"
CEILING = 400
DRAWERS = {"utils", "util", "common", "helpers", "helper", "core", "base", "misc", "manager", "tools", "lib"}
TOP = {
    ".ci",
    "archive",
    "examples",
    "migrations",
    "tests",
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
}
FAMILIES = {
    "archive/engine/operators": ("engine/test_operators.py", "engine/operators/test_*.py"),
    "archive/engine/kernels": ("engine/test_kernels*.py", "engine/kernels/test_*.py"),
}
"""Folders whose modules are tested together: declarations by one suite, kernels by their references."""

LISTS = {"archive/__init__.py", "archive/engine/operators/__init__.py"}
"""The package's own name, which hands out the Python API, and the explicit list of operator families."""

MODULES = sorted(path for path in PACKAGE.rglob("*.py") if "__pycache__" not in path.parts)
NAMED = [path for path in MODULES if path.name != "__init__.py"]


def told(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("path", MODULES, ids=told)
def test_a_module_stays_below_the_ceiling(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= CEILING


def test_no_module_or_package_is_a_drawer_for_everything() -> None:
    names = {path.stem for path in NAMED} | {path.parent.name for path in MODULES}
    assert not names & DRAWERS


def test_a_package_explains_itself_and_re_exports_nothing() -> None:
    for path in MODULES:
        if path.name == "__init__.py" and told(path) not in LISTS:
            text = path.read_text(encoding="utf-8").strip()
            assert text.startswith('"""'), told(path)
            assert text.endswith('"""'), told(path)
            assert "\nimport " not in text, told(path)


def twins(path: Path) -> list[Path]:
    """Where the tests of a module may lie."""
    for folder, patterns in FAMILIES.items():
        if told(path).startswith(folder + "/"):
            return [found for pattern in patterns for found in UNIT.glob(pattern)]
    below = path.relative_to(PACKAGE)
    found = UNIT / below.parent / f"test_{below.name}"
    if not found.exists() and below.parent.as_posix() == "views/cli":
        # Commands are thin and alike: one file tries them all, by name.
        found = UNIT / below.parent / "test_commands.py"
    return [found] if found.exists() else []


@pytest.mark.parametrize("path", NAMED, ids=told)
def test_a_module_has_its_twin_among_the_tests(path: Path) -> None:
    assert twins(path), f"tests/unit/{path.relative_to(PACKAGE).parent}/test_{path.name} is missing"


def test_the_top_of_the_repository_holds_only_what_is_meant_to_be_there() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    if not listed:
        pytest.skip("this is no git checkout")
    top = {name.partition("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} <= TOP
    assert {"archive", "migrations", "tests", "pyproject.toml", "README.md"} <= top


HELP = """
import json, sys
sys.argv = ["noctuary", *json.loads(sys.argv[1])]
from archive.views.cli.app import main
try:
    main()
except SystemExit as end:
    code = end.code
print("\\n" + json.dumps({"code": code, "modules": sorted(sys.modules)}))
"""


@pytest.mark.parametrize("words", [["--help"], ["recipe", "--help"], ["ingest", "--help"], ["--version"]])
def test_help_is_answered_without_loading_arrays_or_databases(words: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", HELP, json.dumps(words)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    answer = json.loads(done.stdout.splitlines()[-1])
    assert answer["code"] in (0, None)
    loaded = {name.partition(".")[0] for name in answer["modules"]}
    assert not loaded & {"numpy", "sqlalchemy", "alembic", "numba", "rawpy", "av", "PIL", "ephem"}
