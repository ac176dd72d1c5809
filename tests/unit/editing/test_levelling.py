"""Stating levelling, and taking it back."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.exports import SEQUENCE, studio

from archive.catalogue.levelling import levels_of
from archive.errors import UsageError


def test_levelling_is_stated_renewed_and_dropped(tmp_path: Path) -> None:
    place = studio(tmp_path)
    statements, catalogue = place.workspace.levelling, place.workspace.books.catalogue
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    ids = [frame.id for frame in frames]

    def told() -> list[float]:
        found = levels_of(catalogue, ids)
        return [found[frame].stops for frame in ids if frame in found]

    with pytest.raises(UsageError, match="None of these frames is levelled"):
        statements.drop(SEQUENCE)
    first = statements.state(frames, [0.1, 0.2, 0.3, 0.4, 0.5, 0.6], region=None, cells=(1, 2))
    assert first is not None
    assert told() == [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    assert statements.state(frames, [0.1, 0.2, 0.3, 0.4, 0.5, 0.6], region=None, cells=(1, 2)) is None
    assert statements.state(frames, [0.0] * 6, region=(0, 0.5, 1, 1), cells=(1,)) is not None
    assert told() == [0.0] * 6
    # The same stops, measured elsewhere: what they rest on is stated too.
    assert statements.state(frames, [0.0] * 6, region=(0, 0.6, 1, 1), cells=(1,)) is not None
    assert statements.state(frames, [0.0] * 6, region=(0, 0.6, 1, 1), cells=(1, 2)) is not None
    assert statements.state(frames, [0.0] * 6, region=(0, 0.6, 1, 1), cells=(1, 2)) is None
    statements.drop(SEQUENCE)
    assert told() == []
    assert place.entries("levelling") == 5
    place.workspace.close()
