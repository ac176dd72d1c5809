"""The light that makes a picked patch of a frame neutral."""

from __future__ import annotations

import numpy as np

from archive.engine import colour, framing
from archive.engine.decode import Decoded
from archive.errors import UsageError

_CLIPPED = 0.98
_DARKEST = 1e-4
_KELVIN, _DUV = (2000.0, 15000.0), 0.03

Box = tuple[float, float, float, float]


def picked_neutral(decoded: Decoded, box: Box) -> tuple[float, float]:
    """Kelvin and Duv of the light under which a patch is grey: values for ``balance.source=illuminant``.

    Parameters
    ----------
    box : left, top, right, bottom of the patch, as shares 0 to 1 of the upright, uncropped frame.

    Raises
    ------
    UsageError : the box is no part of the frame, or the patch is clipped, too dark, or of a colour that no
        light between 2000 and 15000 K and ±0.03 Duv makes grey.
    """
    left, top, right, bottom = box
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise UsageError(
            "The patch is no part of the frame.",
            hint="Nothing was changed; sides are shares from 0 to 1.",
        )
    light = _mean_light(decoded, framing.on_sensor(left, top, right, bottom, decoded.orientation))
    if light.max() >= _CLIPPED or light.min() < _DARKEST:
        bad = "clipped" if light.max() >= _CLIPPED else "too dark"
        raise UsageError(f"The patch is {bad}.", hint="Nothing was changed; pick a grey one that is neither.")
    if decoded.camera is None:
        xyz = colour.SRGB_TO_XYZ @ light
    else:
        # What a camera sees of a light, balanced for the daylight of its matrix, is that light's colour.
        xyz = colour.SRGB_TO_XYZ @ decoded.camera.to_srgb @ (light * decoded.camera.daylight)
    if xyz.min() <= 0:
        raise UsageError("The patch has no light's colour.", hint="Nothing was changed; pick another.")
    kelvin, duv = colour.temperature_of((float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())))
    if not _KELVIN[0] <= kelvin <= _KELVIN[1] or abs(duv) > _DUV:
        raise UsageError(
            f"The patch is grey under {kelvin:.0f} K, Duv {duv:+.3f}, which balance does not reach.",
            hint="Nothing was changed; pick something that is grey, such as snow, cloud or a card.",
        )
    return round(kelvin, 1), round(duv, 5)


def _mean_light(decoded: Decoded, box: Box) -> colour.Floats:
    """Mean of each channel over a part of the sensor, 1.0 = clipping."""
    height, width = decoded.pixels.shape[:2]
    # A mosaic's part begins with a whole pattern and holds at least one.
    top, left = int(box[1] * height) // 2 * 2, int(box[0] * width) // 2 * 2
    rows = slice(top, max(top + 2, round(box[3] * height)))
    columns = slice(left, max(left + 2, round(box[2] * width)))
    part = decoded.pixels[rows, columns].astype(np.float64)
    if decoded.pattern is None:
        return np.asarray(part.mean(axis=(0, 1)))
    sums, counts = np.zeros(3), np.zeros(3)
    for place, channel in enumerate(decoded.pattern):
        samples = part[place >> 1 :: 2, place & 1 :: 2]
        sums[channel] += ((samples - decoded.black[place]) / (decoded.white - decoded.black[place])).sum()
        counts[channel] += samples.size
    return np.asarray(sums / np.maximum(counts, 1))
