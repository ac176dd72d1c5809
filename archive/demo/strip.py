"""A contact strip: frames of the simulated night, developed and laid side by side."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.demo import cards, looks
from archive.demo.aurora import resized
from archive.engine.decode import DecoderPool
from archive.engine.foundation import current_foundation
from archive.engine.output import encode_jpeg
from archive.engine.pipeline import render
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

ROWS = (
    (("north", 11), ("north", 30), ("north", 43), ("river", 37)),
    (("river", 8), ("north", 48), ("north", 54), ("north", 80)),
)
"""Camera and place on its card, of a night of 90 frames; both rows are equally long."""
_NIGHT = 90
_GAP, _PAPER = 8, 18


def contact_strip(*, height: int = 300, quality: int = 84) -> bytes:
    """A JPEG of all frames: rows ``height`` pixels high on dark paper.

    Frames are raw files at least twice as large, with all their noise, developed with the first look.
    """
    with DecoderPool(1) as pool:
        made = {
            (camera, index): picture
            for camera in ("north", "river")
            for index, picture in _developed(pool, camera, height)
        }
    strips = [_row([made[frame] for frame in row]) for row in ROWS]
    edge = np.full((_GAP, strips[0].shape[1], 3), _PAPER, np.uint8)
    return encode_jpeg(
        np.concatenate([edge, strips[0], edge, strips[1], edge]), quality=quality, subsampling="4:2:0"
    )


def _row(pictures: list[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    gap = np.full((pictures[0].shape[0], _GAP, 3), _PAPER, np.uint8)
    parts = [gap]
    for picture in pictures:
        parts += [picture, gap]
    return np.concatenate(parts, axis=1)


def _developed(pool: DecoderPool, camera: str, height: int) -> Iterator[tuple[int, NDArray[np.uint8]]]:
    indices = [index for row in ROWS for name, index in row if name == camera]
    size = (height * 3, height * 2)
    recipe = EffectiveRecipe(foundation=current_foundation(), base=looks.first_look())
    for index, data in zip(indices, cards.raw_files(camera, indices, size=size, frames=_NIGHT), strict=True):
        decoded = pool.decode(data, f"{camera} {index}")
        picture: Any = render(decoded, recipe, PixelSpec(fit=(height * 3, height * 2)), threads=2)
        width = round(picture.shape[1] * height / picture.shape[0])
        small = resized(picture.astype(np.float32), width, height, box=True)
        yield index, np.clip(np.round(small), 0, 255).astype(np.uint8)
