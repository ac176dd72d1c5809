"""Small parts of pictures, enlarged without smoothing, so that what is as fine as a pixel is seen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

ENLARGED = 3
"""How many pixels across one pixel is shown."""
WIDTH, HEIGHT = 96, 72
"""Of a part in pixels; four such, enlarged, stand side by side in a window 1280 pixels wide."""
# Parts darker or brighter than this show no grain, however plain they are.
_DARK, _BRIGHT, _UNSEEN = 16, 200, 1e6
# Within so many pixels light and dark meet at an edge or a star.
_EDGE = 4

Corner = tuple[int, int]
"""A part's topmost row and leftmost column."""


def cut(picture: Any, corner: Corner) -> Any:
    """The part of a picture, uint8 (H, W, 3), enlarged; smaller where the picture is."""
    top, left = corner
    part = picture[top : top + HEIGHT, left : left + WIDTH]
    return np.ascontiguousarray(part.repeat(ENLARGED, axis=0).repeat(ENLARGED, axis=1))


def around(picture: Any, x: float, y: float) -> Corner:
    """The corner of the part around a place, given in shares of width and height, wholly in the picture."""
    height, width = picture.shape[:2]
    return _within(height, int(y * height) - HEIGHT // 2, HEIGHT), _within(
        width, int(x * width) - WIDTH // 2, WIDTH
    )


def _within(length: int, start: int, part: int) -> int:
    return max(0, min(start, length - part))


def found(picture: Any) -> Mapping[str, Corner]:
    """Where detail and grain are seen best in a picture that nobody described."""
    green = picture[..., 1].astype(np.int16)
    detail = _parts(np.abs(np.diff(green, axis=1, append=green[:, -1:]))).mean(axis=(2, 3))
    light = _parts(green).mean(axis=(2, 3))
    finest = _corner(detail.argmax(), detail)
    plainest = _corner((detail + _UNSEEN * ((light < _DARK) | (light > _BRIGHT))).argmin(), detail)
    return {"the finest detail": finest} | ({"the plainest part": plainest} if plainest != finest else {})


def far_out(picture: Any) -> Mapping[str, Corner]:
    """Where colours part most, if they do: at the sharpest step of light far from the middle."""
    green = np.pad(picture[..., 1].astype(np.float32), ((1, 0), (1, 0)), mode="edge")
    # A point of light is wider than one pixel; grain is not.
    soft = (green[1:, 1:] + green[:-1, 1:] + green[1:, :-1] + green[:-1, :-1]) / 4
    beside = np.pad(soft, ((0, 0), (_EDGE, 0)), mode="edge")[:, :-_EDGE]
    steps = _parts(np.abs(soft - beside)).max(axis=(2, 3))
    rows, columns = (np.abs(np.arange(count) + 0.5 - count / 2) * 2 / count for count in steps.shape)
    away = np.hypot(rows[:, None], columns)
    steps[away < 0.75 * away.max()] = -1
    return {"an edge of light far from the middle": _corner(steps.argmax(), steps)}


def changed(before: Any, after: Iterable[Any], most: int = 3) -> Mapping[str, Corner]:
    """Where pictures differ most from the one before; empty where all are the same."""
    differs = np.zeros(before.shape[:2], np.int16)
    for each in after:
        np.maximum(differs, np.abs(each.astype(np.int16) - before).max(axis=2), out=differs)
    places: dict[str, Corner] = {}
    while len(places) < most and differs.any():
        row, column = (int(each) for each in np.unravel_index(int(differs.argmax()), differs.shape))
        top, left = (
            _within(before.shape[0], row - HEIGHT // 2, HEIGHT),
            _within(before.shape[1], column - WIDTH // 2, WIDTH),
        )
        places[f"around row {row}, column {column}"] = top, left
        differs[top : top + HEIGHT, left : left + WIDTH] = 0
    return places


def _parts(values: Any) -> Any:
    """A plane in parts side by side, (rows of parts, columns of parts, height, width)."""
    height, width = values.shape
    tall, wide = min(height, HEIGHT), min(width, WIDTH)
    rows, columns = height // tall, width // wide
    whole = values[: rows * tall, : columns * wide]
    return whole.reshape(rows, tall, columns, wide).swapaxes(1, 2)


def _corner(index: Any, parts: Any) -> Corner:
    row, column = divmod(int(index), parts.shape[1])
    return row * HEIGHT, column * WIDTH
