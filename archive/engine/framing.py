"""Which part of a frame is shown, how large, and where it lies on the sensor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from archive.engine.lensmodel import NO_LENS, LensModel
from archive.engine.operators.framing import Crop, Straighten
from archive.errors import ArchiveError
from archive.model.product import PixelSpec

Sample = TypeVar("Sample", bound=np.generic)
TRANSPOSED = (5, 6, 7, 8)


@dataclass(frozen=True, kw_only=True)
class View:
    """The part of the upright frame that is shown, and the size it is shown at.

    Lengths are source pixels of the upright frame, made square. The rectangle lies in the straightened
    picture, whose centre is the frame's; ``left`` and ``top`` are measured from that centre.
    """

    frame_width: float
    frame_height: float
    angle: float
    left: float
    top: float
    width: float
    height: float
    columns: int
    rows: int

    @property
    def scale(self) -> float:
        """Output pixels per source pixel."""
        return self.columns / self.width

    @property
    def frame_diagonal(self) -> float:
        """Diagonal of the whole frame in output pixels, the measure of every radius."""
        return math.hypot(self.frame_width, self.frame_height) * self.scale


def view_of(
    stored_width: int,
    stored_height: int,
    *,
    aspect: float,
    orientation: int,
    straighten: Straighten | None,
    crop: Crop | None,
    pixels: PixelSpec,
    lens: LensModel = NO_LENS,
) -> View:
    """The view of a frame of this stored size (samples) under these operators and this size limit.

    Raises
    ------
    ArchiveError : nothing is left of the picture, or the box is empty.
    """
    wide, high = _square(stored_width, stored_height, aspect)
    if orientation in TRANSPOSED:
        wide, high = high, wide
    angle = math.radians(straighten.angle) if straighten else 0.0
    cosine, sine = math.cos(angle), abs(math.sin(angle))
    kept = min(wide / (wide * cosine + high * sine), high / (wide * sine + high * cosine))
    kept *= lens.filled(wide, high)
    width, height = wide * kept, high * kept
    left, top = -width / 2, -height / 2
    if crop:
        fault = crop.fault(vars(crop))
        if fault is not None:
            raise ArchiveError(
                f"The crop leaves nothing of the picture: {fault}.", hint="Nothing was rendered; crop less."
            )
        left, top = left + crop.left * width, top + crop.top * height
        width, height = width * (1 - crop.left - crop.right), height * (1 - crop.top - crop.bottom)
        left, top, width, height = _trimmed(left, top, width, height, crop.aspect)
    scale = 1.0
    if pixels.fit is not None:
        if min(pixels.fit) < 1:
            raise ArchiveError(
                f"A picture cannot be made to fit {pixels.fit[0]} × {pixels.fit[1]} pixels.",
                hint="Nothing was rendered; give the specification a box of at least 1 × 1.",
            )
        scale = min(1.0, pixels.fit[0] / width, pixels.fit[1] / height)
    columns, rows = max(1, round(width * scale)), max(1, round(height * scale))
    if scale == 1.0:
        # Whole source pixels need no resampling.
        width, height = float(columns), float(rows)
        if angle == 0:
            left, top = _on_grid(left, wide, columns), _on_grid(top, high, rows)
    if pixels.even:
        if min(columns, rows) < 2:
            raise ArchiveError(
                "A movie's pictures need at least 2 × 2 pixels.", hint="Nothing was rendered; crop less."
            )
        width, height = width * (columns - columns % 2) / columns, height * (rows - rows % 2) / rows
        columns, rows = columns - columns % 2, rows - rows % 2
    return View(
        frame_width=wide, frame_height=high, angle=angle,
        left=left, top=top, width=width, height=height, columns=columns, rows=rows,
    )  # fmt: skip


def _square(width: int, height: int, aspect: float) -> tuple[float, float]:
    return (width * aspect, float(height)) if aspect >= 1 else (float(width), height / aspect)


def _on_grid(edge: float, side: float, count: int) -> float:
    """The nearest edge between pixels from which so many still lie inside the frame."""
    return max(0, min(round(edge + side / 2), round(side) - count)) - side / 2


def _trimmed(
    left: float, top: float, width: float, height: float, aspect: float
) -> tuple[float, float, float, float]:
    if aspect <= 0:
        return left, top, width, height
    if width > height * aspect:
        return left + (width - height * aspect) / 2, top, height * aspect, height
    return left, top + (height - width / aspect) / 2, width, width / aspect


def upright(planes: npt.NDArray[Sample], orientation: int) -> npt.NDArray[Sample]:
    """Planes (channels, height, width) turned as an EXIF orientation (1 to 8) says."""
    turned = planes.transpose(0, 2, 1) if orientation in TRANSPOSED else planes
    if orientation in (3, 4, 7, 8):
        turned = turned[:, ::-1]
    if orientation in (2, 3, 6, 7):
        turned = turned[:, :, ::-1]
    return np.ascontiguousarray(turned)


def on_sensor(
    left: float, top: float, right: float, bottom: float, orientation: int
) -> tuple[float, float, float, float]:
    """A rectangle of the upright frame (shares of its sides) as a rectangle of the stored one."""
    if orientation in (2, 3, 6, 7):
        left, right = 1 - right, 1 - left
    if orientation in (3, 4, 7, 8):
        top, bottom = 1 - bottom, 1 - top
    if orientation in TRANSPOSED:
        return top, left, bottom, right
    return left, top, right, bottom
