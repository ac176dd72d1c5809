"""Read camera raws by LibRaw: as a mosaic, or its own linear picture of unusual layouts; in the worker."""

from __future__ import annotations

import io
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import numpy.typing as npt
import rawpy

from archive.engine import colour, dng, dngheader, toldnoise
from archive.engine.picturefile import UndecodableError
from archive.formats import container

# LibRaw's rotation codes in terms of EXIF's.
_ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
# Where raws of other containers hold the directory of their EXIF: in their first preview, or a box or block.
_INNER_TIFF = re.compile(rb"(?:Exif\0\0|CMT1|\0TTW....)(?=II\*\0|MM\0\*)", re.DOTALL)
_NEAR = 1 << 17
_COMPLAINTS = (b"data corrupted at", b"Unexpected end of file")

# No light needs one channel raised so many times over another.
_MOST_APART = 1000.0
# No sensor's samples are ten times as high as wide.
_FLATTEST = 0.1

Array = npt.NDArray[Any]
Floats = npt.NDArray[np.float64]


def read(data: bytes, *, measured: bool) -> tuple[dict[str, Any], list[Array]]:
    """Facts and arrays of a raw file: a uint16 mosaic, or uint16 camera colour of (height, width, 3).

    Parameters
    ----------
    measured : whether the container's own directory proved that all picture data is there. Where it could
        not, the file is decoded twice and both must agree: missing data comes back as whatever lay in memory.

    A DNG's black levels by place, two by two, begin at the active area's corner, as DNG 1.7.1 has it. Those
    of other repeats are LibRaw's; of columns' and rows' (BlackLevelDeltaH, BlackLevelDeltaV) it is the mean.

    Raises
    ------
    UndecodableError : LibRaw refuses the file, complains about its data, or answers differently again; its
        white level is not above its black one.
    """
    facts, arrays = _once(data)
    if not measured:
        _, again = _once(data)
        if not all(np.array_equal(one, other) for one, other in zip(arrays, again, strict=True)):
            raise UndecodableError("decoding it twice gave two different pictures", damaged=True)
        if arrays[0].min() == arrays[0].max():
            raise UndecodableError("every sample of its picture is the same", damaged=True)
    return facts, arrays


def read_own(data: bytes, layout: dng.Layout) -> tuple[dict[str, Any], list[Array]] | None:
    """The same answer as ``read`` for a DNG of a kind read here; None where its data gives any doubt.

    LibRaw still says what the numbers mean; only the unpacking is ours.
    """
    whole = dng.samples(data, layout)
    if whole is None:
        return None
    try:
        with rawpy.RawPy() as raw, rawpy.RawPy() as small:
            raw.open_buffer(io.BytesIO(data))
            sizes = raw.sizes
            small.open_buffer(io.BytesIO(dngheader.header_copy(layout)))
            small.unpack()
            upright = (sizes.iheight, sizes.iwidth) == (sizes.height, sizes.width)
            if not _is_bayer(small) or not upright or whole.shape != (sizes.raw_height, sizes.raw_width):
                return None
            top, left = sizes.top_margin, sizes.left_margin
            pixels = whole[top : top + sizes.height, left : left + sizes.width]
            facts = {
                "layout": "mosaic",
                **_levels(small, _channels(layout, top, left), (layout.top - top, layout.left - left)),
                **_shared(small, data, sizes, pixels.shape),
                **_noise(raw, data, dng.iso_speed(data, layout)),
            }
    except rawpy.LibRawError:
        return None
    return facts, [np.ascontiguousarray(pixels)]


def _channels(layout: dng.Layout, top: int, left: int) -> list[int]:
    """LibRaw's channels from a corner on: the file's, where the green of blue's rows is number 3."""
    square = np.array(layout.pattern).reshape(2, 2)
    square = np.where((square == 1) & (square == 2).any(axis=1)[:, None], 3, square)
    # The pattern begins at the active area; LibRaw moves an odd corner to the next even one.
    rolled = np.roll(square, (layout.top - top, layout.left - left), axis=(0, 1))
    return [int(each) for each in rolled.ravel()]


def _once(data: bytes) -> tuple[dict[str, Any], list[Array]]:
    try:
        with _complaints() as complaints:
            # Not closed: a mosaic is LibRaw's own memory, which goes when the array does.
            raw = rawpy.RawPy()
            raw.open_buffer(io.BytesIO(data))
            raw.unpack()
            if _is_bayer(raw):
                facts, pixels = _mosaic(raw, data)
            elif _is_linear(raw) and dng.is_dng(data):
                facts, pixels = _stacked(raw, data)
            elif set(_square(raw)) == {0, 1, 2}:
                facts, pixels = _interpolated(raw, data)
            else:
                facts, pixels = _linear(raw, data)
            facts |= _noise(raw, data)
    except rawpy.LibRawFileUnsupportedError as error:
        raise UndecodableError("LibRaw does not support this kind of raw", damaged=False) from error
    except rawpy.LibRawError as error:
        raise UndecodableError(_reason(error), damaged=True) from error
    if complaints:
        raise UndecodableError(complaints[0], damaged=True)
    return facts, [pixels]


def _reason(error: Exception) -> str:
    first = error.args[0] if error.args else ""
    return first.decode("ascii", "replace") if isinstance(first, bytes) else str(first)


@contextmanager
def _complaints() -> Iterator[list[str]]:
    """What LibRaw prints about broken data while it goes on decoding; it has no other way to say so here."""
    found: list[str] = []
    kept = os.dup(2)
    with tempfile.TemporaryFile() as spool:
        os.dup2(spool.fileno(), 2)
        try:
            yield found
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            spool.seek(0)
            text = spool.read(4096)
            found += [mark.decode() for mark in _COMPLAINTS if mark in text]


def _square(raw: Any) -> list[int]:
    """Colours two by two at the corner, greens alike; none of any other raw."""
    sizes = raw.sizes
    if raw.raw_type != rawpy.RawType.Flat or raw.raw_pattern is None or raw.num_colors != 3:
        return []
    upright = (sizes.iheight, sizes.iwidth) == (sizes.height, sizes.width)
    if raw.raw_pattern.shape != (2, 2) or not upright or raw.raw_image_visible.dtype != np.uint16:
        return []
    return [1 if channel == 3 else int(channel) for channel in raw.raw_pattern.ravel()]


def _is_bayer(raw: Any) -> bool:
    """Whether its colours lie two by two with both greens on a diagonal."""
    square = _square(raw)
    return sorted(square) == [0, 1, 1, 2] and (square[0] == square[3] or square[1] == square[2])


def _mosaic(raw: Any, data: bytes) -> tuple[dict[str, Any], Array]:
    pixels = raw.raw_image_visible
    channels = [int(value) for value in raw.raw_pattern.ravel()]
    return {
        "layout": "mosaic",
        **_levels(raw, channels, _moved(raw.sizes, data)),
        **_shared(raw, data, raw.sizes, pixels.shape),
    }, pixels


def _moved(sizes: Any, data: bytes) -> tuple[int, int]:
    """Rows and columns from LibRaw's corner of a DNG to that of the active area which the file states."""
    stated = {raw.numbers(dng.ACTIVE_AREA) for raw in dng.raws(data)}
    if len(stated) != 1 or len(corner := stated.pop()) != 4:
        return 0, 0
    return corner[0] - sizes.top_margin, corner[1] - sizes.left_margin


def _levels(raw: Any, channels: list[int], moved: tuple[int, int]) -> dict[str, Any]:
    """Pattern, black by place and white; LibRaw's ``channels`` at its corner.

    LibRaw moves an odd corner to the next even one, and the colours with it, but no levels by place.
    """
    blacks = raw.black_level_per_channel
    _check_span(raw.white_level - max(blacks))
    black = np.roll(np.reshape([blacks[channel] for channel in channels], (2, 2)), moved, axis=(0, 1))
    return {
        "pattern": [1 if channel == 3 else channel for channel in channels],
        "black": [float(each) for each in black.ravel()],
        "white": float(raw.white_level),
    }


def _noise(raw: Any, data: bytes, stated: float | None = None) -> dict[str, Any]:
    """What the file says that tells how noisy it is; an ISO speed of 0 where it says none.

    LibRaw unpacks the picture before it tells a speed, so one that is ``stated`` already is not asked for.
    """
    iso = float(raw.other.iso_speed) if stated is None else stated
    return {"noise": toldnoise.told(data), "iso": iso if 0 < iso < 1e9 else 0.0}


def _is_linear(raw: Any) -> bool:
    shape = raw.raw_image_visible.shape
    return raw.raw_type == rawpy.RawType.Stack and raw.num_colors == 3 and len(shape) == 3 and shape[2] >= 3


def _stacked(raw: Any, data: bytes) -> tuple[dict[str, Any], Array]:
    """Samples of all three colours at every place, scaled so that 65535 is clipping.

    LibRaw's own rendering of such a DNG forgets to take the black level from the white one.
    """
    pixels = raw.raw_image_visible[:, :, :3]
    return _scaled(raw, data, pixels, np.array(raw.black_level_per_channel[:3], np.float32))


def _interpolated(raw: Any, data: bytes) -> tuple[dict[str, Any], Array]:
    """All three colours at every place of a square pattern that is no Bayer one, each from its next samples.

    LibRaw takes some of these for Bayer patterns, and makes wrong colours of them.
    """
    counts = raw.raw_image_visible
    height, width = counts.shape
    channels = np.array(_square(raw)).reshape(2, 2)
    stated = [int(each) for each in raw.raw_pattern.ravel()]
    black = np.array(_levels(raw, stated, _moved(raw.sizes, data))["black"], np.float32)
    whole = height // 2 + 1, width // 2 + 1
    above = counts - np.tile(black.reshape(2, 2), whole)[:height, :width]
    pixels = np.empty((height, width, 3), np.float32)
    for channel in range(3):
        here = np.tile(channels == channel, whole)[:height, :width]
        known = here.astype(np.float32)
        pixels[:, :, channel] = _spread(above * known) / _spread(known)
        np.copyto(pixels[:, :, channel], above, where=here)
    return _scaled(raw, data, pixels, np.zeros(3, np.float32))


def _spread(samples: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Samples and their eight neighbours, weighted by 4, 2 and 1."""
    down = 2 * samples
    down[1:] += samples[:-1]
    down[:-1] += samples[1:]
    across = 2 * down
    across[:, 1:] += down[:, :-1]
    across[:, :-1] += down[:, 1:]
    return across


def _scaled(
    raw: Any, data: bytes, counts: Array, black: npt.NDArray[np.float32]
) -> tuple[dict[str, Any], Array]:
    """Counts of all three colours as 16 bits, 65535 at clipping, with room for noise below black."""
    blacks = np.array(raw.black_level_per_channel[:3], np.float32)
    raised = float(blacks.max())
    _check_span(raw.white_level - raised)
    share = raised / raw.white_level
    light = (counts - black) * ((1 - share) / (raw.white_level - blacks)) + np.float32(share)
    pixels = np.round(np.clip(light, 0, 1) * 65535).astype(np.uint16)
    return {
        **_linear_levels(raised, raw.white_level - raised),
        **_shared(raw, data, raw.sizes, pixels.shape),
    }, pixels


def _check_span(span: float) -> None:
    if not span >= 1:
        raise UndecodableError("it says that white is no brighter than black", damaged=True)


def _linear_levels(raised: float, span: float) -> dict[str, Any]:
    """Levels of 16-bit light in which black lies so many counts above nothing, and white a span above that.

    Below black is the lower half of the noise in the dark: without it, dark parts would be too bright.
    """
    return {"layout": "linear", "black": 65535 * raised / (raised + span), "white": 65535.0}


def _linear(raw: Any, data: bytes) -> tuple[dict[str, Any], Array]:
    single = raw.num_colors == 1
    unusual = raw.num_colors > 3
    shape = raw.raw_image_visible.shape if raw.raw_type == rawpy.RawType.Flat else (0, 0)
    shared = _shared(raw, data, raw.sizes, shape)
    if single or unusual:
        shared["camera"] = None
    span = raw.white_level - max(raw.black_level_per_channel)
    _check_span(span)
    raised = 0 if unusual else _raise(raw)
    space = rawpy.ColorSpace.sRGB if unusual else rawpy.ColorSpace.raw
    pixels = raw.postprocess(
        gamma=(1, 1), no_auto_bright=True, output_bps=16, user_flip=0, output_color=space,
        use_camera_wb=unusual, user_wb=None if unusual else [1.0, 1.0, 1.0, 1.0], adjust_maximum_thr=0.0,
        # Above black, unlike a file's own white level.
        user_sat=int(span) + raised if raised else None,
    )  # fmt: skip
    if pixels.ndim == 2 or pixels.shape[2] == 1:
        pixels = np.stack([pixels.reshape(pixels.shape[:2])] * 3, axis=-1)
    return {**_linear_levels(raised, span), **shared}, np.ascontiguousarray(pixels)


def _raise(raw: Any) -> int:
    """Add to every sample what its black level is, so that LibRaw cuts off none of the noise below black."""
    if raw.raw_type != rawpy.RawType.Flat or raw.raw_image.dtype != np.uint16:
        return 0
    counts = raw.raw_image
    raised = min(max(raw.black_level_per_channel), 65535 - int(counts.max()), 65535 - raw.white_level)
    counts += np.uint16(raised)
    return int(raised)


def _shared(raw: Any, data: bytes, sizes: Any, shape: tuple[int, ...]) -> dict[str, Any]:
    height, width = shape[:2]
    aspect = float(sizes.pixel_aspect)
    return {
        "orientation": _orientation(data, int(sizes.flip)),
        "aspect": aspect if _FLATTEST < aspect < 1 / _FLATTEST else 1.0,
        "camera": _camera(raw),
        "sensor": {
            "source": "LibRaw " + ".".join(str(part) for part in rawpy.libraw_version),
            "width": int(width),
            "height": int(height),
            "colours": raw.color_desc.decode("ascii", "replace"),
        },
    }


def _orientation(data: bytes, flip: int) -> int:
    """EXIF's number; 1 where the file states another, of which LibRaw looks at the last bits only."""
    inner = _INNER_TIFF.search(data, 0, _NEAR)
    found = container.tiff_directories(data) or []
    if not found and inner is not None:
        found = container.tiff_directories(data[inner.end() : inner.end() + _NEAR]) or []
    stated = [each.first(container.ORIENTATION) for each in found if container.ORIENTATION in each.tags]
    if all(1 <= number <= 8 for number in stated):
        return _ORIENTATION.get(flip, 1)
    return next((number for number in stated if 2 <= number <= 8), 1)


def _camera(raw: Any) -> dict[str, Any]:
    """Balanced camera colour → linear sRGB, and the multipliers that balance it as shot and for daylight.

    A DNG's matrix comes back ready made (``color_matrix``) while ``rgb_xyz_matrix`` is zero; for others it
    is the other way round. Matrices that LibRaw only knows inside itself are found by asking it for both
    pictures. Where none has a meaning, camera colour is taken for linear sRGB.
    """
    ready = np.array(raw.color_matrix, np.float64)[:3, :3]
    from_srgb = np.array(raw.rgb_xyz_matrix, np.float64)[:3, :3] @ colour.SRGB_TO_XYZ
    daylight = np.array(raw.daylight_whitebalance, np.float64)[:3]
    if np.any(from_srgb):
        seen = from_srgb.sum(axis=1)
        to_srgb = np.zeros((3, 3))
        if colour.is_sound(from_srgb) and seen.min() > 0:
            daylight = 1 / seen
            to_srgb = np.linalg.inv(from_srgb * daylight[:, None])
    elif np.any(ready):
        to_srgb = ready
    else:
        to_srgb = _inner_matrix(raw)
    if not colour.is_sound(to_srgb):
        to_srgb = np.eye(3)
    daylight = _multipliers(daylight, np.ones(3))
    shot = _multipliers(np.array(raw.camera_whitebalance, np.float64)[:3], daylight)
    return {"to_srgb": to_srgb.tolist(), "as_shot": shot.tolist(), "daylight": daylight.tolist()}


def _multipliers(stated: Floats, instead: Floats) -> Floats:
    """Multipliers, smallest 1, from what is stated; others instead where that has no meaning."""
    known = np.all(np.isfinite(stated)) and stated.min() > 0
    return stated / stated.min() if known and stated.max() < _MOST_APART * stated.min() else instead


def _inner_matrix(raw: Any) -> Floats:
    """Camera colour → linear sRGB as LibRaw itself does it, fitted to its own pictures at half size."""
    shared = {
        "gamma": (1, 1), "no_auto_bright": True, "output_bps": 16, "half_size": True, "user_flip": 0,
        "user_wb": [1.0, 1.0, 1.0, 1.0], "adjust_maximum_thr": 0.0,
    }  # fmt: skip
    camera = raw.postprocess(output_color=rawpy.ColorSpace.raw, **shared)
    srgb = raw.postprocess(output_color=rawpy.ColorSpace.sRGB, **shared)
    if camera.shape != srgb.shape or camera.ndim != 3 or camera.shape[2] != 3:
        return np.eye(3)
    source, target = camera.reshape(-1, 3).astype(np.float64), srgb.reshape(-1, 3).astype(np.float64)
    inside = (target > 200) & (target < 60000) & (source < 60000)
    usable = inside.all(axis=1)
    if usable.sum() < 1000:
        return np.eye(3)
    step = max(1, int(usable.sum()) // 20000)
    matrix = np.linalg.lstsq(source[usable][::step], target[usable][::step], rcond=None)[0].T
    return np.asarray(np.round(matrix / matrix.sum(axis=1, keepdims=True), 4))
