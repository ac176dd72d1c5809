"""Channels that were clipped, rebuilt from the others and from the colour around."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from support.plain.planes import Floats, grown, halved, smoothstep

BLOCK = 8


def lost(light: npt.NDArray[Any]) -> Floats:
    """How surely channels were clipped, which begins a tenth below."""
    return smoothstep(light, 0.9, 0.985)


def known(planes: npt.NDArray[Any], gains: npt.NDArray[Any]) -> tuple[Floats, Floats, Floats]:
    """Balanced colour of what was not clipped, its weight, and how much was lost, in means over blocks.

    A pixel weighs as much as its brightest channel squared, as far as that was not clipped. Of blocks that
    reach beyond the frame the rest counts as nothing.
    """
    light = np.maximum(planes.astype(np.float64), 0)
    loss = lost(planes.max(axis=0))
    weight = (1 - loss) * light.max(axis=0) ** 2
    return blocks(weight * light) * np.asarray(gains, np.float64)[:, None, None], blocks(weight), blocks(loss)


def blocks(plane: Floats) -> Floats:
    *more, height, width = plane.shape
    rows, columns = -(-height // BLOCK), -(-width // BLOCK)
    beyond = ((0, rows * BLOCK - height), (0, columns * BLOCK - width))
    whole = np.pad(plane, [(0, 0)] * len(more) + list(beyond))
    return np.asarray(whole.reshape(*more, rows, BLOCK, columns, BLOCK).mean(axis=(-3, -1)))


def colour_around(sums: Floats, weight: Floats) -> Floats:
    """Colour at every place, largest channel 1 and smallest a twelfth at least."""
    colour = mixed(sums, weight)
    return np.maximum(colour / colour.max(axis=0), 1 / 12)


def mixed(sums: Floats, weight: Floats) -> Floats:
    """Colour as far as it is known at a place, else that of twice the surroundings, at last grey."""
    wider = np.ones_like(sums)
    if max(weight.shape) > 1:
        small = mixed(np.stack([halved(plane) for plane in sums]), halved(weight))
        wider = np.stack([grown(plane, 1, weight.shape) for plane in small])
    own = sums / np.maximum(sums.max(axis=0), 1e-12)
    share = weight / (weight + 0.02)
    return np.asarray(own * share + wider * (1 - share))


def rebuilt(planes: npt.NDArray[Any], gains: npt.NDArray[Any], around: Floats) -> Floats:
    """Balanced light; clipped channels are as bright as the colour around says. around : halved thrice."""
    light = planes.astype(np.float64) * np.asarray(gains, np.float64)[:, None, None]
    loss = lost(planes)
    like = np.maximum(np.stack([grown(plane, 3, planes.shape[1:]) for plane in around]), 1e-6)
    # What is known sets how bright that colour is here. All channels are at least as bright as they were
    # counted: so much, a hundredth, tells the rest.
    bound = (light / like).max(axis=0)
    known_light, known_like = ((1 - loss) * light).sum(axis=0), ((1 - loss) * like).sum(axis=0)
    bright = (known_light + 0.01 * like.sum(axis=0) * bound) / (known_like + 0.01 * like.sum(axis=0))
    return np.asarray(light + loss * np.maximum(like * bright - light, 0))


def balanced_and_rebuilt(planes: npt.NDArray[Any], gains: npt.NDArray[Any]) -> Floats:
    """Camera light, 1 = each channel's own clipping, to balanced light with nothing clipped."""
    sums, weight, loss = known(planes, gains)
    if not loss.any():
        return np.asarray(planes * np.asarray(gains, np.float64)[:, None, None])
    return rebuilt(planes, gains, colour_around(sums, weight))
