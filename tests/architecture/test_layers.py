"""Which way imports may point: the contracts of .importlinter, and that they bite."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMMAND = "from importlinter.cli import lint_imports_command; lint_imports_command()"


def lint(root: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", COMMAND, "--no-cache", "--config", str(root / ".importlinter")],
        cwd=root,
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": str(root), "PATH": "", "COLUMNS": "200"},
    )


def test_every_import_contract_is_kept() -> None:
    result = lint(ROOT)
    assert result.returncode == 0, result.stdout + result.stderr
    assert "0 broken" in result.stdout


@pytest.mark.slow
@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("archive/store/odd.py", "import archive.journal.log", "Imports point down"),
        ("archive/custody/odd.py", "import archive.ingest.card", "Imports point down"),
        ("archive/drawer.py", "", "Imports point down"),
        ("archive/engine/odd.py", "import archive.store.digest", "The engine sees pixels"),
        ("archive/views/odd.py", "import archive.journal.log", "Views ask the workspace"),
        ("archive/workspace_odd/__init__.py", "", "Imports point down"),
        ("archive/journal/odd.py", "import sqlalchemy", "Only the catalogue knows a database"),
        ("archive/store/odd.py", "import pydantic", "Only the formats"),
        ("archive/ingest/odd.py", "import PIL", "Only the engine, and the demo"),
        ("archive/exports/odd.py", "import numpy", "Only the engine, the demo and the movie"),
        ("archive/model/odd.py", "import ephem", "Only nights"),
        ("archive/custody/odd.py", "import rich", "Only views"),
        ("archive/formats/odd.py", "import exifread", "Only the ingest"),
    ],
)
def test_a_contract_that_is_broken_on_purpose_is_told(
    tmp_path: Path, module: str, line: str, contract: str
) -> None:
    shutil.copytree(ROOT / "archive", tmp_path / "archive", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / ".importlinter", tmp_path)
    odd = tmp_path / module
    odd.parent.mkdir(exist_ok=True)
    odd.write_text(f'"""Broken on purpose."""\n{line}\n')
    result = lint(tmp_path)
    assert result.returncode == 1
    broken = [text for text in result.stdout.splitlines() if " BROKEN" in text]
    assert any(text.startswith(contract) for text in broken), result.stdout


def imported(path: Path) -> set[str]:
    """Top names of every module that a file imports, at any depth of it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found


def test_no_part_but_views_knows_the_command_line_library() -> None:
    # A contract can only name modules that something imports; this one holds when nothing does.
    users = [path for path in (ROOT / "archive").rglob("*.py") if "click" in imported(path)]
    assert all(path.relative_to(ROOT / "archive").parts[0] == "views" for path in users)


def test_the_words_of_the_model_need_little_more_than_the_standard_library() -> None:
    allowed = sys.stdlib_module_names | {"archive", "rfc8785"}
    for path in (ROOT / "archive" / "model").glob("*.py"):
        assert imported(path) <= allowed, path.name


def test_nothing_of_an_archive_is_ever_read_from_a_pickle() -> None:
    # Rows between a rebuild and the processes it began: never from a file, or from anyone else. Compiled
    # kernels, which are code whatever they lie in: from a folder that only the user can write.
    allowed = {"hands.py": {"marshal"}, "kernelfiles.py": {"pickle"}}
    for path in (ROOT / "archive").rglob("*.py"):
        found = imported(path) & {"pickle", "shelve", "dill", "marshal"}
        assert found <= allowed.get(path.name, set()), path.name
