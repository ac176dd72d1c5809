"""Histograms: samples by level, per channel, in what the sensor counted and in a finished picture."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine.decode import Decoded
from archive.model.levels import ChannelLevels, Levels

DARKEST, PER_STOP = -14, 4
"""Raw levels are told from here to clipping, in so many bins a stop."""
PICTURE_BINS = 64
_NAMES = ("red", "green", "blue")


def raw_levels(decoded: Decoded) -> Levels:
    """The histogram of what the sensor counted, before any balance.

    A sample is clipped when it reached the white level, and black when it lies at or below the black level;
    noise takes half of all samples without light there.
    """
    channels: list[list[ChannelLevels]] = [[], [], []]
    if decoded.pattern is None:
        light = decoded.pixels.astype(np.float32, copy=False)
        for number in range(3):
            channels[number].append(_channel(number, light[..., number].ravel(), 1.0, None))
    else:
        for place, number in enumerate(decoded.pattern):
            counts = np.bincount(decoded.pixels[place >> 1 :: 2, place & 1 :: 2].ravel(), minlength=65536)
            level = np.arange(counts.size, dtype=np.float64)
            share = (level - decoded.black[place]) / (decoded.white - decoded.black[place])
            channels[number].append(_channel(number, share, 1.0, counts))
    return Levels(
        of="raw", unit="stops", low=float(DARKEST), high=0.0,
        channels=tuple(_joined(parts) for parts in channels if parts),
    )  # fmt: skip


def picture_levels(picture: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]) -> Levels:
    """The histogram of a finished picture, uint8 or uint16 (H, W, 3): clipped is white, black is zero."""
    top = int(np.iinfo(picture.dtype).max)
    channels = []
    for number, name in enumerate(_NAMES):
        counts = np.bincount(picture[..., number].ravel(), minlength=top + 1)
        bins = counts.reshape(PICTURE_BINS, -1).sum(axis=1)
        channels.append(
            ChannelLevels(
                name=name, counts=tuple(map(int, bins)), clipped=int(counts[top]), black=int(counts[0])
            )
        )
    return Levels(of="picture", unit="share", low=0.0, high=1.0, channels=tuple(channels))


def _channel(
    number: int, light: npt.NDArray[Any], white: float, counts: npt.NDArray[np.int64] | None
) -> ChannelLevels:
    """One channel of light values, each occurring once or as often as ``counts`` says."""
    bins = -DARKEST * PER_STOP
    stops = np.log2(np.maximum(light, 2.0 ** (DARKEST - 1)))
    place = np.clip(np.floor((stops - DARKEST) * PER_STOP), 0, bins - 1).astype(np.int64)
    found = np.bincount(place, weights=counts, minlength=bins)
    clipped, black = light >= white, light <= 0
    return ChannelLevels(
        name=_NAMES[number],
        counts=tuple(map(int, found)),
        clipped=int(clipped.sum() if counts is None else counts[clipped].sum()),
        black=int(black.sum() if counts is None else counts[black].sum()),
    )


def _joined(parts: list[ChannelLevels]) -> ChannelLevels:
    return ChannelLevels(
        name=parts[0].name,
        counts=tuple(sum(values) for values in zip(*(part.counts for part in parts), strict=True)),
        clipped=sum(part.clipped for part in parts),
        black=sum(part.black for part in parts),
    )
