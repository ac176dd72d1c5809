"""A rush: a quick movie from previews, to see how a sequence moves before anything is developed."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any

from archive.errors import UsageError
from archive.exports.movie import MovieWriter
from archive.store.targets import check_target, new_target

_ENCODER = {"crf": "24", "preset": "veryfast"}


def write_rush(target: Path, pictures: Iterable[Any], rate: Fraction) -> int:
    """Write pictures, uint8 (height, width, 3), as an MP4 at a path that is free; answers how many.

    Sides are cropped to even numbers. Pictures of another size than the first are left out, and do not count.

    Raises
    ------
    UsageError : when something lies at the path.
    ArchiveError : when there is no picture, or the movie cannot be written there.
    """
    check_target(target)
    waiting = iter(pictures)
    first = next(waiting, None)
    if first is None:
        raise UsageError(
            "A rush needs at least one preview.",
            hint="Nothing was made. `noctuary survey SEQUENCE` makes them.",
        )
    height, width = first.shape[0] // 2 * 2, first.shape[1] // 2 * 2
    count = 0
    with (
        new_target(target) as path,
        MovieWriter(path, width=width, height=height, rate=rate, encoder=_ENCODER) as movie,
    ):
        for picture in chain([first], waiting):
            if picture.shape == first.shape:
                movie.add(picture[:height, :width])
                count += 1
    return count
