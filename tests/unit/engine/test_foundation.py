"""Foundations that are shipped, and those that are not."""

from dataclasses import replace

import pytest

from archive.engine.foundation import GENERATION, current_foundation, require
from archive.errors import ArchiveError


def test_the_present_foundation_is_rendered() -> None:
    require(current_foundation())
    assert current_foundation().generation == GENERATION


def test_a_newer_generation_is_refused_by_number() -> None:
    newer = replace(current_foundation(), generation=GENERATION + 1)
    with pytest.raises(ArchiveError, match=f"generation {GENERATION + 1}") as caught:
        require(newer)
    assert "a newer release is needed" in caught.value.hint


def test_another_part_of_the_same_generation_is_refused_by_name() -> None:
    with pytest.raises(ArchiveError, match="demosaic 'other'"):
        require(replace(current_foundation(), demosaic="other"))
