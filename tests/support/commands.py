"""The command line as people and scripts meet it: in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-m", "archive.views.cli.app"]


@dataclass(frozen=True, kw_only=True)
class Ran:
    """How a command ended, and what it said."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def surroundings(**more: str) -> dict[str, str]:
    """This process's environment, with the package importable from anywhere."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120", **more}


def run(*words: str | Path, folder: Path, code: int | None = 0, **more: str) -> Ran:
    """Run a command in ``folder``; never a traceback, and the code that is expected (None: any)."""
    ran = subprocess.run(
        [*COMMAND, *map(str, words)],
        cwd=folder,
        env=surroundings(**more),
        capture_output=True,
        text=True,
        errors="surrogateescape",
        timeout=240,
    )
    assert "Traceback" not in ran.stderr + ran.stdout, ran.stderr
    if code is not None:
        assert ran.returncode == code, f"{words}: {ran.returncode}\n{ran.stdout}\n{ran.stderr}"
    return Ran(code=ran.returncode, out=ran.stdout, err=ran.stderr)


def started(words: Sequence[str | Path], folder: Path) -> subprocess.Popen[str]:
    """A command begun, in a process group of its own."""
    return subprocess.Popen(
        [*COMMAND, *map(str, words)],
        cwd=folder,
        env=surroundings(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
