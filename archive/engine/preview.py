"""A before-and-after picture: two states of a frame side by side."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from archive.errors import ArchiveError

Picture = npt.NDArray[np.uint8]

_DIVIDER = (236, 236, 236)
_PLATE, _INK = (12, 14, 20, 150), (240, 240, 240, 255)


def side_by_side(before: Picture, after: Picture) -> Picture:
    """Both pictures with a thin divider between them and a small label in each.

    Wide pictures are set one above the other. ``after`` is brought to the size of ``before`` when a crop
    made it another.

    Parameters
    ----------
    before, after : uint8, (height, width, 3), sRGB.

    Raises
    ------
    ArchiveError : one of them is no such picture.
    """
    for picture in (before, after):
        if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8:
            raise ArchiveError(
                f"Pixels of {picture.dtype} and shape {picture.shape} cannot be compared.",
                hint="Nothing was written; compare pictures of 8 bits.",
            )
    height, width = before.shape[:2]
    stacked = width > 2 * height
    first = _labelled(before, "before")
    second = _labelled(fitted(after, width, height), "after")
    thickness = max(1, round(min(width, height) / 300))
    line = np.full((thickness, width, 3) if stacked else (height, thickness, 3), _DIVIDER, np.uint8)
    return np.concatenate([first, line, second], axis=0 if stacked else 1)


def fitted(picture: Picture, width: int, height: int) -> Picture:
    """The picture brought into a size, its shape kept, on black."""
    if picture.shape[:2] == (height, width):
        return picture
    scale = min(width / picture.shape[1], height / picture.shape[0])
    size = max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale))
    resized = np.asarray(Image.fromarray(picture).resize(size, Image.Resampling.LANCZOS))
    out = np.zeros((height, width, 3), np.uint8)
    top, left = (height - size[1]) // 2, (width - size[0]) // 2
    out[top : top + size[1], left : left + size[0]] = resized
    return out


def _labelled(picture: Picture, text: str) -> Picture:
    height, width = picture.shape[:2]
    size = max(9, round(min(width, height) / 32))
    font = ImageFont.load_default(size)
    margin, pad = round(size * 0.8), round(size * 0.45)
    canvas = Image.fromarray(picture).convert("RGBA")
    plate = Image.new("RGBA", canvas.size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(plate)
    left, top, right, bottom = draw.textbbox((0, 0), text, font=font)
    wide, high = right - left + 2 * pad, bottom - top + 2 * pad
    box = (margin, height - margin - high, margin + wide, height - margin)
    draw.rounded_rectangle(box, radius=pad, fill=_PLATE)
    draw.text((box[0] + pad - left, box[1] + pad - top), text, font=font, fill=_INK)
    return np.asarray(Image.alpha_composite(canvas, plate).convert("RGB"))
