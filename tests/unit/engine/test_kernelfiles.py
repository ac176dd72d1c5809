"""Compiled kernels in files, and what becomes of files that a full disk or a crash damaged."""

from __future__ import annotations

import logging
import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import pytest
import xxhash

from archive.engine import kernelfiles
from archive.engine.kernelfiles import KernelFiles

ROOT = Path(__file__).parents[3]
SCALED = """
import sys
import numpy as np
from archive.engine.kernels.light import scale
light = np.ones((3, 3, 4), np.float32)
scale(light, np.float32(2.5), 0, 3)
assert (light == 2.5).all(), light
print(sum(scale.stats.cache_hits.values()))
"""


def thrice(value: int) -> int:
    return value * 3


def compiled(folder: Path) -> Any:
    """The kernel as a new process would have it, called once."""
    made = numba.njit(thrice)
    made._cache = KernelFiles(folder, thrice)
    assert made(14) == 42
    return made


def hits(made: Any) -> int:
    return sum(made.stats.cache_hits.values())


def resealed(change: Callable[[bytes], bytes]) -> Callable[[Path], None]:
    def damage(path: Path) -> None:
        data = change(path.read_bytes()[16:])
        path.write_bytes(xxhash.xxh3_128_digest(data) + data)

    return damage


def test_a_kernel_is_compiled_once_and_then_read(tmp_path: Path) -> None:
    assert hits(compiled(tmp_path)) == 0
    assert hits(compiled(tmp_path)) == 1
    assert compiled(tmp_path).stats.cache_path == str(tmp_path)
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize(
    "damage",
    [
        lambda path: os.truncate(path, 0),
        lambda path: os.truncate(path, 9),
        lambda path: os.truncate(path, path.stat().st_size - 1),
        lambda path: path.write_bytes(bytes(path.stat().st_size)),
        lambda path: path.write_bytes(path.read_bytes()[:-200] + bytes(200)),
        resealed(lambda data: data[:-1]),
        resealed(lambda _: pickle.dumps("of another numba")),
    ],
    ids=["empty", "shorter than its digest", "truncated", "zeros", "zeros at the end", "no pickle", "other"],
)
def test_a_damaged_file_is_dropped_and_the_kernel_compiled_anew(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    compiled(tmp_path)
    (path,) = tmp_path.iterdir()
    damage(path)
    assert hits(compiled(tmp_path)) == 0
    assert hits(compiled(tmp_path)) == 1
    assert [path] == list(tmp_path.iterdir())


def test_a_full_disk_costs_the_file_and_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def full(path: Path, data: bytes) -> int:
        path.touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    monkeypatch.setattr(kernelfiles, "_told", set())
    with caplog.at_level(logging.WARNING):
        compiled(tmp_path)
        compiled(tmp_path)
    assert [each.getMessage() for each in caplog.records] == [
        f"Compiled kernels cannot be kept in {tmp_path}: No space left on device. "
        "Pictures are made all the same, slower."
    ]
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_gone_costs_the_file_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernelfiles, "_told", set())
    compiled(tmp_path / "gone")
    assert not (tmp_path / "gone").exists()


def test_what_is_flushed_or_disabled_is_not_read(tmp_path: Path) -> None:
    compiled(tmp_path).recompile()
    files = KernelFiles(tmp_path, thrice)
    files.disable()
    made = numba.njit(thrice)
    made._cache = files
    assert made(1) == 3
    assert hits(made) == 0
    files.enable()
    assert hits(compiled(tmp_path)) == 1
    files.flush()
    assert list(tmp_path.iterdir()) == []


def started(cache: Path, before: str = "") -> tuple[int, str]:
    """A new process that calls one of the engine's kernels: how many it read, and what it said."""
    done = subprocess.run(
        [sys.executable, "-c", before + SCALED], cwd=ROOT, capture_output=True, text=True, check=True,
        env={"XDG_CACHE_HOME": str(cache), "HOME": str(cache), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    return int(done.stdout), done.stderr


def test_an_engine_with_damaged_files_starts_and_mends_them(tmp_path: Path) -> None:
    assert started(tmp_path) == (0, "")
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert files
    for path in files:
        os.truncate(path, path.stat().st_size // 2)
    assert started(tmp_path) == (0, "")
    assert started(tmp_path) == (1, "")


@pytest.mark.skipif(sys.platform == "win32", reason="limits of this kind exist on POSIX only")
def test_an_engine_that_can_write_nothing_says_so_once_and_works(tmp_path: Path) -> None:
    limited = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (64, 64))\n"
    read, said = started(tmp_path, limited)
    assert read == 0
    assert said.startswith(f"Compiled kernels cannot be kept in {tmp_path}")
    assert said.count("\n") == 1
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
