"""Levels as plain values."""

from __future__ import annotations

from archive.model.levels import ChannelLevels


def test_a_channel_knows_how_many_samples_it_counted() -> None:
    assert ChannelLevels(name="red", counts=(3, 0, 4), clipped=4, black=0).samples == 7
