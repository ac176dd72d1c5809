"""Pixels that a recipe of this release makes may never change unnoticed, on any processor.

A change that is meant raises the operator's version, or the engine's generation, and adds lines to the
table (``python tests/support/steady.py`` prints it); those of versions that are released stay.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from support import steady

from archive.engine.foundation import GENERATION

TABLE = json.loads(Path(__file__).with_name("digests.json").read_text())


def test_the_table_is_of_this_generation_and_has_every_operator() -> None:
    assert TABLE["generation"] == GENERATION
    named = {line.split(" ")[0] for line in TABLE["digests"]}
    assert named >= set(steady.every_name())


@pytest.mark.parametrize("name", steady.every_name())
def test_pixels_are_those_of_the_table(name: str) -> None:
    for line, digest in steady.digests([name]).items():
        assert digest == TABLE["digests"][line], f"{line} makes other pixels than it did"


def test_every_operator_makes_pixels_of_its_own() -> None:
    plain = {line.split(" ")[1]: digest for line, digest in TABLE["digests"].items() if "nothing" in line}
    for line, digest in TABLE["digests"].items():
        if not line.startswith(steady.NOTHING):
            assert digest != plain[line.split(" ")[1]], line


@pytest.mark.slow
def test_a_processor_without_wide_vectors_makes_the_same_pixels(tmp_path: Path) -> None:
    from numpy._core._multiarray_umath import __cpu_dispatch__ as levels

    root = Path(__file__).parents[3]
    environment = {
        **os.environ, "NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": "",
        "NPY_DISABLE_CPU_FEATURES": " ".join(levels), "OPENBLAS_CORETYPE": "Prescott",
        "XDG_CACHE_HOME": str(tmp_path), "PYTHONPATH": os.pathsep.join([str(root), str(root / "tests")]),
    }  # fmt: skip
    told = subprocess.run(
        [
            sys.executable, "-W", "ignore", str(root / "tests" / "support" / "steady.py"), "everything",
            steady.WIDE,
        ],
        env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    made = json.loads(told.stdout)
    assert len(made) == 2 * len(steady.SIZES)
    assert made == {line: TABLE["digests"][line] for line in made}
