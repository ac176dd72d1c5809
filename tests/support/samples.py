"""Real camera files, where a checkout has them beside it; tests that need them are skipped elsewhere."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_NAMED = Path(os.environ.get("NOCTUARY_SAMPLES") or Path(__file__).parents[2] / ".." / "shared" / "samples")

SAMPLES: Path | None = _NAMED.resolve() if _NAMED.is_dir() else None

needs_samples = pytest.mark.skipif(
    SAMPLES is None, reason="the real camera files are not beside this checkout"
)


def sample_files() -> list[Path]:
    """Every sample, in order; empty where there are none."""
    if SAMPLES is None:
        return []
    return sorted(path for path in SAMPLES.rglob("*") if path.is_file() and path.suffix != ".md")


def sample(name: str) -> Path:
    """One sample's path, as ``raw/colorchart.dng``; skips the test where it is absent."""
    path = SAMPLES / name if SAMPLES is not None else None
    if path is None or not path.is_file():
        pytest.skip(f"no sample {name}: the real camera files are not beside this checkout")
    return path
