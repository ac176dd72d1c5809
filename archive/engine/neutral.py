"""The light that makes a picked patch of a frame neutral."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine import colour, framing
from archive.engine.decode import Decoded
from archive.errors import UsageError

# Sensors bend a little below where they clip.
_CLIPPED = 0.98
# Glowing samples and a few stars do no harm where they are left out; of more, what is left is no longer even.
_MOST_CLIPPED = 0.05
_DARKEST = 1e-4
_KELVIN, _DUV = (2000.0, 15000.0), 0.03

Box = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class PickedLight:
    """The light under which a patch is grey: values for ``balance.source=illuminant``.

    ``clipped`` is the share of the patch, 0 to 1, that was left out because it is clipped.
    """

    kelvin: float
    duv: float
    clipped: float


def picked_neutral(decoded: Decoded, box: Box) -> PickedLight:
    """The light under which a patch of a frame is grey, found from what of it is not clipped.

    Parameters
    ----------
    box : left, top, right, bottom of the patch, as shares 0 to 1 of the upright, uncropped frame.

    Raises
    ------
    UsageError : the box is no part of the frame, or more than a twentieth of the patch is clipped, it is too
        dark, or of a colour that no light between 2000 and 15000 K and ±0.03 Duv makes grey.
    """
    left, top, right, bottom = box
    if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
        raise UsageError(
            "The patch is no part of the frame.",
            hint="Nothing was changed; sides are shares from 0 to 1.",
        )
    cells = _cells(decoded, framing.on_sensor(left, top, right, bottom, decoded.orientation))
    whole = (cells < _CLIPPED).all(axis=1)
    clipped = 1 - float(whole.mean())
    if clipped > _MOST_CLIPPED:
        share = "" if clipped == 1 else f": {100 * clipped:.0f} % of it"
        raise UsageError(
            f"The patch is clipped{share}.",
            hint="Nothing was changed; clipped light has lost its colour, pick something grey and darker.",
        )
    light = _mean_light(decoded, cells[whole])
    if light.min() < _DARKEST:
        raise UsageError(
            "The patch is too dark.", hint="Nothing was changed; pick something grey and brighter."
        )
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
    return PickedLight(kelvin=round(kelvin, 1), duv=round(duv, 5), clipped=clipped)


def _cells(decoded: Decoded, box: Box) -> npt.NDArray[np.float64]:
    """What lies in a part of the sensor, cell by cell: (cells, samples), 1.0 = clipping.

    A cell is a pixel, or a whole pattern of a mosaic, of which there is at least one.
    """
    height, width = decoded.pixels.shape[:2]
    side = 1 if decoded.pattern is None else 2
    top, left = int(box[1] * height) // side * side, int(box[0] * width) // side * side
    down = max(1, round(box[3] * height) // side - top // side)
    across = max(1, round(box[2] * width) // side - left // side)
    part = decoded.pixels[top : top + down * side, left : left + across * side].astype(np.float64)
    if decoded.pattern is None:
        return part.reshape(-1, 3)
    places = [part[place >> 1 :: 2, place & 1 :: 2].ravel() for place in range(4)]
    black = np.array(decoded.black)
    return np.asarray((np.stack(places, axis=-1) - black) / (decoded.white - black))


def _mean_light(decoded: Decoded, cells: npt.NDArray[np.float64]) -> colour.Floats:
    """Mean of red, green and blue."""
    means = cells.mean(axis=0)
    if decoded.pattern is None:
        return np.asarray(means)
    pattern = np.array(decoded.pattern)
    return np.array(
        [means[pattern == channel].sum() / max(1, sum(pattern == channel)) for channel in range(3)]
    )
