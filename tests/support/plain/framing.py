"""Which part of a frame is shown, and where each of its pixels lies on the sensor; frames lying upright."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from support.plain.planes import Floats

from archive.engine.operators.framing import Crop, Straighten
from archive.engine.operators.lens import Distortion, FallOff, LateralColour, Vignetting


@dataclass(frozen=True, kw_only=True)
class Lens:
    """How light that belongs at a distance from the centre was drawn at another, in half diagonals."""

    distortion: Distortion | None
    lateral: LateralColour | None

    def ratio(self, distance: Floats, channel: int) -> Floats:
        """How many times as far out a channel's light was drawn."""
        bent = np.ones_like(distance)
        if lens := self.distortion:
            r = distance / lens.unit
            bent = {
                "poly3": 1 - lens.k1 + lens.k1 * r**2,
                "poly4": lens.k1 * r**3 + lens.k2 * r**2 + lens.k3 * r + 1 - lens.k1 - lens.k2 - lens.k3,
                "poly5": 1 + lens.k1 * r**2 + lens.k2 * r**4,
            }[lens.model]
        if (lens := self.lateral) and channel != 1:
            r = np.abs(distance * bent) / lens.unit
            v, c, b = (
                (lens.red, lens.red_c, lens.red_b) if channel == 0 else (lens.blue, lens.blue_c, lens.blue_b)
            )
            bent = bent * (v + c * r + b * r**2)
        return bent

    def filled(self, width: float, height: float) -> float:
        """The largest share, at most 1, of a frame that holds only what was drawn in it, nothing twice."""
        half = math.hypot(width, height) / 2
        along = np.linspace(-1, 1, 101)
        x = np.append(along * width, np.full(101, width)) / 2
        y = np.append(np.full(101, height), along * height) / 2
        distance = np.hypot(x, y) / half

        def whole(share: float) -> bool:
            for channel in range(3):
                drawn = self.ratio(share * distance, channel) * share
                if (np.abs(drawn * x) > width / 2 * (1 + 1e-9)).any():
                    return False
                if (np.abs(drawn * y) > height / 2 * (1 + 1e-9)).any():
                    return False
                outwards = np.append(np.linspace(0, 1, 400), 1.00001)[1:] * share
                at = np.abs(outwards * self.ratio(outwards, channel))
                if (np.diff(at) <= 0).any():
                    return False
            return True

        if whole(1.0):
            return 1.0
        low, high = 0.1, 1.0
        while high - low > 1e-9:
            middle = (low + high) / 2
            low, high = (middle, high) if whole(middle) else (low, middle)
        return low


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A rectangle of the straightened picture, in samples from the frame's centre, and its pixels."""

    left: float
    top: float
    width: float
    height: float
    angle: float
    columns: int
    rows: int
    frame: tuple[int, int]

    @property
    def diagonal(self) -> float:
        """Of the frame, in pixels of the picture."""
        return math.hypot(*self.frame) * self.columns / self.width


def shown(
    width: int,
    height: int,
    fit: tuple[int, int] | None,
    straighten: Straighten | None,
    crop: Crop | None,
    lens: Lens,
) -> Shown:
    angle = math.radians(straighten.angle) if straighten else 0.0
    cosine, sine = math.cos(angle), abs(math.sin(angle))
    kept = min(width / (width * cosine + height * sine), height / (width * sine + height * cosine))
    kept *= lens.filled(width, height)
    left, right, top, bottom = (side * kept / 2 for side in (-width, width, -height, height))
    if crop:
        wide, high = right - left, bottom - top
        left, right = left + crop.left * wide, right - crop.right * wide
        top, bottom = top + crop.top * high, bottom - crop.bottom * high
        if crop.aspect > 0:
            wide, high = right - left, bottom - top
            spare_x, spare_y = max(wide - high * crop.aspect, 0), max(high - wide / crop.aspect, 0)
            left, right = left + spare_x / 2, right - spare_x / 2
            top, bottom = top + spare_y / 2, bottom - spare_y / 2
    wide, high = right - left, bottom - top
    scale = min(1.0, fit[0] / wide, fit[1] / high) if fit else 1.0
    columns, rows = max(1, round(wide * scale)), max(1, round(high * scale))
    if scale == 1:
        # Whole samples, and if nothing turns them, those that there are.
        wide, high = columns, rows
        if angle == 0:
            left = max(0, min(round(left + width / 2), width - columns)) - width / 2
            top = max(0, min(round(top + height / 2), height - rows)) - height / 2
    return Shown(
        left=left, top=top, width=wide, height=high, angle=angle, columns=columns, rows=rows,
        frame=(width, height),
    )  # fmt: skip


def ideal(view: Shown, columns: Floats, rows: Floats) -> tuple[Floats, Floats]:
    """Places of pixels in the frame of an ideal lens, in samples from its centre."""
    x, y = np.meshgrid(
        view.left + (columns + 0.5) / view.columns * view.width,
        view.top + (rows + 0.5) / view.rows * view.height,
    )
    cosine, sine = math.cos(view.angle), math.sin(view.angle)
    return x * cosine + y * sine, y * cosine - x * sine


def knots(view: Shown, lens: Lens, channel: int) -> tuple[Floats, Floats]:
    """Where the pixels at multiples of 16 lie on the sensor, in samples from its outer edges."""
    columns, rows = (np.arange(-(-count // 16) + 1) * 16.0 for count in (view.columns, view.rows))
    x, y = ideal(view, columns, rows)
    width, height = view.frame
    ratio = lens.ratio(np.hypot(x, y) / (math.hypot(width, height) / 2), channel)
    return x * ratio + width / 2, y * ratio + height / 2


def evened(view: Shown, lens: Lens, vignetting: Vignetting | None, fall_off: FallOff | None) -> Floats:
    """What each pixel is multiplied by so that light falls off no more: (rows, columns).

    Known at 1024 even steps of the squared distance from the centre on the sensor, and straight between.
    """
    x, y = (
        between(each, view) * 2 / math.hypot(*view.frame)
        for each in (knot - side / 2 for knot, side in zip(knots(view, lens, 1), view.frame, strict=True))
    )
    squared = np.linspace(0, 1, 1025)
    return np.interp(x**2 + y**2, squared, gains(np.sqrt(squared), vignetting, fall_off))


def between(knot: Floats, view: Shown) -> Floats:
    """Values of every pixel, straight between those at multiples of 16."""
    at_rows, at_columns = (np.arange(count) * 16 for count in knot.shape)
    rows = np.stack([np.interp(np.arange(view.rows), at_rows, each) for each in knot.T], axis=1)
    return np.stack([np.interp(np.arange(view.columns), at_columns, each) for each in rows])


def gains(distance: Floats, vignetting: Vignetting | None, fall_off: FallOff | None) -> Floats:
    """What evens light out at a distance from the centre, 1 in the corner; no lens leaves less than 1/16."""
    made = np.ones_like(distance)
    if vignetting:
        made *= 2 ** (vignetting.corner * distance**vignetting.shape)
    if fall_off:
        left = 1 + fall_off.k1 * distance**2 + fall_off.k2 * distance**4 + fall_off.k3 * distance**6
        made /= np.maximum(left, 1 / 16)
    return made
