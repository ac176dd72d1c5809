"""Rushes."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from archive.errors import UsageError
from archive.exports.rush import write_rush


def pictures(*shapes: tuple[int, int]) -> list[object]:
    return [np.full((*shape, 3), 40 + 20 * n, np.uint8) for n, shape in enumerate(shapes)]


def test_a_rush_has_a_frame_for_each_preview_of_the_first_ones_size(tmp_path: Path) -> None:
    target = tmp_path / "rush.mp4"
    assert write_rush(target, pictures((33, 65), (33, 65), (65, 33), (33, 65)), Fraction(25)) == 3
    with av.open(str(target)) as movie:
        found = [frame.to_ndarray(format="gray") for frame in movie.decode(video=0)]
        assert (len(found), found[0].shape) == (3, (32, 64))
        assert movie.streams.video[0].average_rate == 25
    assert found[0].mean() < found[1].mean() < found[2].mean()


def test_nothing_is_overwritten_and_nothing_half_written_stays(tmp_path: Path) -> None:
    target = tmp_path / "rush.mp4"
    with pytest.raises(UsageError, match="at least one preview"):
        write_rush(target, [], Fraction(25))

    def failing() -> object:
        yield from pictures((32, 64))
        raise OSError("the drive was pulled out")

    with pytest.raises(OSError, match="pulled out"):
        write_rush(target, failing(), Fraction(25))  # type: ignore[arg-type]
    assert not target.exists()
    target.write_bytes(b"mine")
    with pytest.raises(UsageError, match="is there already"):
        write_rush(target, pictures((32, 64)), Fraction(25))
    assert target.read_bytes() == b"mine"
