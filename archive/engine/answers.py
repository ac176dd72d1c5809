"""What a decoding process answers with: checked before it is believed, and stored numbers made light."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine import colour
from archive.engine.kernels import light as kernels

_LARGEST = 1e9
_FLATTEST = 16.0
_PICTURES = {"uint8": 256, "uint16": 65536}
# Rows made light at a time.
_BAND = 64

Light = npt.NDArray[np.float32]


def check(facts: Mapping[str, Any], arrays: Sequence[Any]) -> None:
    """Hold an answer against what decoders promise, so that whatever is made of it can be made.

    A file may have taken its decoding process over: nothing in the answer is known to be true.

    Raises
    ------
    ValueError : the answer is none, in words.
    """
    layout = facts.get("layout")
    if not isinstance(layout, str) or layout not in _LAYOUTS:
        raise ValueError("it tells no layout")
    _number(facts, "orientation", 1, 8)
    if not isinstance(facts.get("sensor"), dict):
        raise ValueError("it tells nothing of the sensor")
    frame = len(arrays)
    if facts.get("preview") is not None:
        frame = int(_number(facts, "arrays", 1, len(arrays) - 1))
        _check_preview(facts["preview"], arrays[frame:])
    _LAYOUTS[layout](facts, arrays[:frame])


def _check_preview(facts: Any, arrays: Sequence[Any]) -> None:
    if not isinstance(facts, dict) or facts.get("layout") != "picture" or "preview" in facts:
        raise ValueError("its preview is none")
    check(facts, arrays)


def _mosaic(facts: Mapping[str, Any], arrays: Sequence[Any]) -> None:
    _arrays(arrays, [("uint16", 2)])
    for channel in _numbers(facts, "pattern", 4, 0, 2):
        if channel != int(channel):
            raise ValueError("its pattern is of no colours")
    _number(facts, "white", max(_numbers(facts, "black", 4, -_LARGEST, _LARGEST)) + 1, _LARGEST)
    _number(facts, "aspect", 1 / _FLATTEST, _FLATTEST)
    _raw(facts)


def _linear(facts: Mapping[str, Any], arrays: Sequence[Any]) -> None:
    _arrays(arrays, [("uint16", 3)])
    _number(facts, "white", _number(facts, "black", -_LARGEST, _LARGEST) + 1e-3, _LARGEST)
    _raw(facts)


def _raw(facts: Mapping[str, Any]) -> None:
    _number(facts, "iso", 0, _LARGEST)
    if facts.get("noise") is not None:
        _numbers(facts, "noise", 2, 0, 1)
    camera = facts.get("camera")
    if camera is None:
        return
    if not isinstance(camera, dict):
        raise ValueError("its camera is none")
    rows = camera.get("to_srgb")
    if not isinstance(rows, list) or len(rows) != 3:
        raise ValueError("its matrix is none")
    if not colour.is_sound([_numbers({"row": row}, "row", 3, -_LARGEST, _LARGEST) for row in rows]):
        raise ValueError("its matrix cannot be inverted")
    for name in ("as_shot", "daylight"):
        _numbers(camera, name, 3, 1, _LARGEST)


def _picture(_facts: Mapping[str, Any], arrays: Sequence[Any]) -> None:
    stored = str(getattr(arrays[0], "dtype", "")) if arrays else ""
    _arrays(arrays, [(stored, 3), ("float32", 2), ("float64", 2)])
    if stored not in _PICTURES or arrays[1].shape != (3, _PICTURES[stored]) or arrays[2].shape != (3, 3):
        raise ValueError("its transfer does not fit its numbers")
    if not np.isfinite(arrays[1]).all() or not np.isfinite(arrays[2]).all():
        raise ValueError("its transfer is not finite")


_LAYOUTS = {"mosaic": _mosaic, "linear": _linear, "picture": _picture}


def _arrays(arrays: Sequence[Any], kinds: Sequence[tuple[str, int]]) -> None:
    """Arrays of these types and dimensions, and no others; the first, of three, holds three colours."""
    found = [(str(each.dtype), each.ndim) if isinstance(each, np.ndarray) else None for each in arrays]
    if found != list(kinds) or (kinds[0][1] == 3 and arrays[0].shape[2] != 3):
        raise ValueError("its picture is of no known form")


def _number(facts: Mapping[str, Any], name: str, least: float, most: float) -> float:
    value = facts.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        raise ValueError(f"its {name} is out of range")
    return float(value)


def _numbers(facts: Mapping[str, Any], name: str, count: int, least: float, most: float) -> list[float]:
    values = facts.get(name)
    if not isinstance(values, list) or len(values) != count:
        raise ValueError(f"its {name} is not {count} numbers")
    return [_number({name: value}, name, least, most) for value in values]


def linear_light(stored: npt.NDArray[np.uint16], black: float, white: float) -> Light:
    """16-bit light, (height, width, 3), as light 0 at black and 1 at white."""
    light = stored.astype(np.float32)
    light -= np.float32(black)
    light *= np.float32(1 / (white - black))
    return light


def picture_light(stored: npt.NDArray[Any], curves: Light, matrix: npt.NDArray[np.float64]) -> Light:
    """Stored values, (height, width, 3), as linear sRGB light: the same bits on every processor."""
    # A library's product of matrices rounds as the processor's own instructions do, and so did the making of
    # this one: what is left of zeros differs.
    mixed = None if np.array_equal(matrix, np.eye(3)) else np.round(matrix, 12).astype(np.float32)
    light = np.empty(stored.shape, np.float32)
    # In bands: of a large picture there is room for its light once, not three times.
    for top in range(0, len(stored), _BAND):
        band = stored[top : top + _BAND]
        planes = np.stack([curves[channel][band[:, :, channel]] for channel in range(3)])
        if mixed is not None:
            kernels.apply_matrix(planes, mixed, 0, len(band))
        light[top : top + _BAND] = np.moveaxis(planes, 0, -1)
    return light
