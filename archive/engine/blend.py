"""Many frames in one picture: the keogram, a night told by one column of each frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from archive.engine.output import encode_png

Picture = npt.NDArray[np.uint8]

_INK, _FAINT, _PAPER, _GAP = (226, 230, 236), (150, 158, 170), (13, 15, 20), (30, 33, 41)
_HATCH = (46, 51, 62)
_MOST_COLUMNS = 4000


@dataclass(frozen=True, kw_only=True)
class Axis:
    """How a keogram's time runs: ``first`` column's instant (UTC), seconds a column, minutes east of UTC."""

    first: datetime
    step_s: float
    offset_min: int
    zone: str


def keogram(
    columns: Sequence[Picture | None], seconds: Sequence[float], step_s: float
) -> tuple[Picture, npt.NDArray[np.bool_]]:
    """Columns placed by their times, uint8 (height, steps, 3), and which steps are filled.

    Every column stands where its time puts it, bit for bit as it is; steps without a frame stay empty.
    Two frames in one step: the later stands. Columns of another height than the first are left out.

    Parameters
    ----------
    columns : uint8, (height, 3), one for each frame; None where there is none.
    seconds : after the first frame, not falling. step_s : seconds a step.
    """
    known = [column for column in columns if column is not None]
    height = known[0].shape[0] if known else 1
    steps = 1 + max((round(second / step_s) for second in seconds), default=0)
    picture = np.zeros((height, steps, 3), np.uint8)
    filled = np.zeros(steps, np.bool_)
    for column, second in zip(columns, seconds, strict=True):
        at = round(second / step_s)
        if column is not None and column.shape[0] == height:
            picture[:, at] = column
            filled[at] = True
    return picture, filled


def keogram_page(
    picture: Picture, filled: npt.NDArray[np.bool_], axis: Axis, *, title: str, label: str
) -> bytes:
    """A PNG of a keogram with its time axis, its title, and a label that says what it is.

    Each step is drawn whole pixels wide; a long night is averaged down to a few thousand columns.
    """
    drawn, step_px, per_pixel = _widened(picture, filled)
    height, width = drawn.shape[:2]
    unit = max(11, round(height / 34))
    font, small = ImageFont.load_default(unit * 1.35), ImageFont.load_default(unit)
    left, right, top, bottom = unit * 3, unit * 3, round(unit * 3.4), unit * 5
    page = Image.new("RGB", (max(width, unit * 30) + left + right, height + top + bottom), _PAPER)
    draw = ImageDraw.Draw(page)
    page.paste(Image.fromarray(drawn), (left, top))
    draw.rectangle((left - 1, top - 1, left + width, top + height), outline=(58, 64, 76))
    draw.text((left, unit), title, font=font, fill=_INK)
    column_s = axis.step_s * per_pixel / step_px
    _time_axis(draw, axis, column_s, (left, top + height, width), unit, small)
    draw.text((left, top + height + unit * 3.4), label, font=small, fill=_FAINT)
    return encode_png(np.asarray(page))


def _widened(picture: Picture, filled: npt.NDArray[np.bool_]) -> tuple[Picture, int, int]:
    """The picture at a size to look at, gaps hatched; pixels a step, and steps averaged to a pixel."""
    height, steps = picture.shape[:2]
    if steps > _MOST_COLUMNS:
        together = -(-steps // _MOST_COLUMNS)
        groups = [slice(at, min(at + together, steps)) for at in range(0, steps, together)]
        shown = np.zeros((height, len(groups), 3), np.uint8)
        there = np.array([filled[group].any() for group in groups])
        for at, group in enumerate(groups):
            if there[at]:
                shown[:, at] = picture[:, group][:, filled[group]].mean(axis=1).round().astype(np.uint8)
        return _hatched(shown, there), 1, together
    wide = max(1, min(8, 1200 // max(1, steps)))
    shown, there = np.repeat(picture, wide, axis=1), np.repeat(filled, wide)
    return _hatched(shown, there), wide, 1


def _hatched(picture: Picture, filled: npt.NDArray[np.bool_]) -> Picture:
    out = picture.copy()
    y, x = np.mgrid[0 : out.shape[0], 0 : out.shape[1]]
    hatch = np.where(((x + y) % 12 < 2)[:, :, None], np.array(_HATCH), np.array(_GAP)).astype(np.uint8)
    out[:, ~filled] = hatch[:, ~filled]
    return out


def _time_axis(
    draw: ImageDraw.ImageDraw,
    axis: Axis,
    column_s: float,
    place: tuple[int, int, int],
    unit: int,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
) -> None:
    """Ticks at round local times, told on the site's clock."""
    left, base, width = place
    span = width * column_s
    wanted = max(2, width // (unit * 7))
    step = next((s for s in (60, 120, 300, 600, 900, 1800, 3600, 7200) if span / s <= wanted), 14400)
    first = axis.first + timedelta(minutes=axis.offset_min)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    passed = (first - midnight).total_seconds()
    tick = -(-passed // step) * step
    while tick <= passed + span:
        x = left + (tick - passed) / column_s
        draw.line((x, base + 1, x, base + unit * 0.6), fill=_FAINT)
        text = f"{midnight + timedelta(seconds=tick):%H:%M}"
        draw.text((x, base + unit * 0.8), text, font=font, fill=_INK, anchor="ma")
        tick += step
    draw.text((left + width, base + unit * 2.1), axis.zone, font=font, fill=_FAINT, anchor="ra")
