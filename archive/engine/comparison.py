"""Two pictures compared: how far apart their colours are (CIEDE2000), as numbers, as a map, as one sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from archive.engine import colour
from archive.engine.preview import fitted
from archive.errors import ArchiveError

Picture = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont

SEEN = 1.0
"""ΔE2000 from which a difference is about what can be seen side by side (common practice)."""
_PAPER, _INK, _QUIET = (250, 250, 250), (36, 38, 44), (120, 124, 132)
_STOPS = np.array([0.0, 1.0, 3.0, 6.0, 10.0, 20.0])
_COLOURS = np.array(
    [(250, 250, 250), (216, 228, 240), (150, 188, 220), (84, 136, 188), (38, 84, 148), (52, 8, 56)], float
)
"""The map's scale: paper where nothing differs, ever darker to ΔE2000 20 and beyond; it reads in grey too."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """How far apart two pictures are.

    ``each`` is ΔE2000 of every pixel, float32, (height, width); ``changed`` the share of pixels that differ
    by ``SEEN`` or more, ``any_changed`` the share that differ at all.
    """

    each: npt.NDArray[np.float32]
    mean: float
    largest: float
    changed: float
    any_changed: float


def difference(first: Picture, second: Picture) -> Difference:
    """The CIEDE2000 difference of two sRGB pictures, pixel by pixel.

    Parameters
    ----------
    first, second : uint8, (height, width, 3), sRGB, of one size; a second of another size is fitted in.

    Raises
    ------
    ArchiveError : one of them is no such picture.
    """
    for picture in (first, second):
        if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8:
            raise ArchiveError(
                f"Pixels of {picture.dtype} and shape {picture.shape} cannot be compared.",
                hint="Nothing was written; compare pictures of 8 bits.",
            )
    height, width = first.shape[:2]
    second = fitted(second, width, height)
    each = np.zeros((height, width), np.float32)
    for top in range(0, height, 64):
        rows = slice(top, top + 64)
        here = np.any(first[rows] != second[rows], axis=2)
        if here.any():
            block = np.zeros(here.shape, np.float32)
            block[here] = ciede2000(_lab(first[rows][here]), _lab(second[rows][here]))
            each[rows] = block
    return Difference(
        each=each,
        mean=float(each.mean(dtype=np.float64)),
        largest=float(each.max()),
        changed=float((each >= SEEN).mean()),
        any_changed=float((each > 0).mean()),
    )


def ciede2000(first: Floats, second: Floats) -> Floats:
    """ΔE2000 of CIE L*a*b* colours, float64, (n, 3) each (CIE 142-2001; Sharma, Wu and Dalal 2005)."""
    l1, a1, b1 = np.moveaxis(np.asarray(first, np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(second, np.float64), -1, 0)
    mean_c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(mean_c7 / (mean_c7 + 25.0**7)))
    a1, a2 = a1 * (1 + g), a2 * (1 + g)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    dh = (h2 - h1 + 180) % 360 - 180
    # A difference of exactly half a turn is counted upwards, as the published test data do.
    dh = np.where(dh == -180, np.where(h2 <= h1, dh, 180.0), dh)
    dh = np.where(grey, 0.0, dh)
    dl, dc = l2 - l1, c2 - c1
    dh_metric = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2)
    lightness, c = (l1 + l2) / 2, (c1 + c2) / 2
    far = np.abs(h1 - h2) > 180
    h = np.where(grey, h1 + h2, (h1 + h2 + np.where(far, np.where(h1 + h2 < 360, 360.0, -360.0), 0.0)) / 2)
    t = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c, 1 + 0.015 * c * t
    c7 = c**7
    turn = 2 * np.sqrt(c7 / (c7 + 25.0**7)) * np.sin(np.radians(60 * np.exp(-(((h - 275) / 25) ** 2))))
    dl, dc, dh_metric = dl / s_l, dc / s_c, dh_metric / s_h
    result: Floats = np.sqrt(np.maximum(dl**2 + dc**2 + dh_metric**2 - turn * dc * dh_metric, 0))
    return result


def difference_map(found: Difference) -> Picture:
    """The difference as a picture: uint8, (height, width, 3); white where none, dark where it is great."""
    planes: list[Floats] = [np.interp(found.each, _STOPS, _COLOURS[:, channel]) for channel in range(3)]
    drawn: Picture = np.rint(np.stack(planes, axis=-1)).astype(np.uint8)
    return drawn


def comparison_sheet(first: Picture, second: Picture, found: Difference, names: tuple[str, str]) -> Picture:
    """Both pictures and the map of their difference on one sheet, each named, with scale and figures."""
    height, width = first.shape[:2]
    second = fitted(second, width, height)
    size = max(11, round(min(width, height) / 26))
    font, small = ImageFont.load_default(size), ImageFont.load_default(max(9, round(size * 0.8)))
    gap, band = round(size * 0.9), round(size * 2.1)
    stacked = width > 1.7 * height
    across = 1 if stacked else 3
    sheet_width = gap + across * (width + gap)
    sheet_height = (3 if stacked else 1) * (height + band) + round(3.6 * size) + gap
    sheet = Image.new("RGB", (sheet_width, sheet_height), _PAPER)
    draw = ImageDraw.Draw(sheet)
    panels = ((first, names[0]), (second, names[1]), (difference_map(found), "difference, CIEDE2000"))
    left = top = 0
    for index, (picture, name) in enumerate(panels):
        left = gap + (0 if stacked else index * (width + gap))
        top = index * (height + band) if stacked else 0
        draw.text((left, top + band / 2), _cut(draw, name, font, width), font=font, fill=_INK, anchor="lm")
        sheet.paste(Image.fromarray(picture), (left, top + band))
        edge = (left - 1, top + band - 1, left + width, top + band + height)
        draw.rectangle(edge, outline=(208, 210, 214))
    foot = top + band + height + round(0.8 * size)
    _scale(draw, (left, foot, left + width, foot + round(0.7 * size)), small)
    text = (
        f"CIEDE2000: mean {found.mean:.2f}    largest {found.largest:.1f}    "
        f"{100 * found.changed:.1f} % of the pixels differ by {SEEN:g} or more"
    )
    if stacked:
        draw.text(
            (gap, foot + 2.1 * size), _cut(draw, text, small, width), font=small, fill=_INK, anchor="lt"
        )
    else:
        draw.text((gap, foot), _cut(draw, text, font, 2 * width), font=font, fill=_INK, anchor="lt")
    return np.asarray(sheet)


def _scale(draw: ImageDraw.ImageDraw, box: tuple[int, int, int, int], font: Font) -> None:
    """The map's colours from 0 to 20, with their figures below."""
    left, top, right, bottom = box
    for x in range(left, right):
        at = (x - left) / max(1, right - 1 - left) * _STOPS[-1]
        fill = tuple(int(np.interp(at, _STOPS, _COLOURS[:, channel])) for channel in range(3))
        draw.line((x, top, x, bottom), fill=fill)
    draw.rectangle((left, top, right - 1, bottom), outline=(168, 172, 178))
    for value in (0, 1, 3, 6, 10, 20):
        x = left + round(value / _STOPS[-1] * (right - 1 - left))
        anchor = "lt" if value == 0 else "rt" if value == 20 else "mt"
        draw.line((x, bottom, x, bottom + 3), fill=_QUIET)
        draw.text(
            (x, bottom + 5), f"{value}" + ("+" if value == 20 else ""), font=font, fill=_QUIET, anchor=anchor
        )


def _cut(draw: ImageDraw.ImageDraw, text: str, font: Font, room: float) -> str:
    """The text as far as it fits."""
    if draw.textlength(text, font=font) <= room:
        return text
    while text and draw.textlength(f"{text}…", font=font) > room:
        text = text[:-1]
    return f"{text}…"


def _lab(picture: Picture) -> Floats:
    """sRGB, uint8, (n, 3), as CIE L*a*b* under D65, float64, (n, 3)."""
    signal = picture.astype(np.float64) / 255
    light = np.where(signal <= 0.04045, signal / 12.92, ((signal + 0.055) / 1.055) ** 2.4)
    xyz = light @ colour.SRGB_TO_XYZ.T / (colour.SRGB_TO_XYZ @ np.ones(3))
    root = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)
