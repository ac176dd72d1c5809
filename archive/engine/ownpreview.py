"""The preview that a camera put into its raw file: found, judged and decoded; in the worker."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import rawpy

from archive.engine import dng, embedded, picturefile
from archive.engine.embedded import Preview
from archive.engine.picturefile import UndecodableError
from archive.formats.container import Kind, jpeg_ends, kind_of

_ASPECT = 0.02
"""Cameras trim their previews by some pixels; those of another shape show less, or have bars."""

Arrays = list[npt.NDArray[Any]]


def added(data: bytes, facts: dict[str, Any], arrays: Arrays, side: int) -> tuple[dict[str, Any], Arrays]:
    """A raw file's answer with its own preview behind it, where one suits; else as it came.

    ``facts`` then hold those of the ``preview``, and how many of the ``arrays`` are the frame's.

    Parameters
    ----------
    side : pixels that its longer side is to have at least; as many as the frame's are enough.
    """
    if kind_of(data) is not Kind.RAW:
        return facts, arrays
    rows, columns = arrays[0].shape[:2]
    # LibRaw's own pictures are stretched already.
    across = columns * (float(facts["aspect"]) if facts["layout"] == "mosaic" else 1.0)
    wanted = min(side, max(rows, across))
    for found in _found(data):
        if not _suits(found, across / rows, wanted):
            continue
        share = wanted / max(found.width, found.height)
        least = math.ceil(found.width * share), math.ceil(found.height * share)
        try:
            own, pictures = picturefile.read(found.data, Kind.JPEG, least)
        except UndecodableError:
            continue
        return {**facts, "arrays": len(arrays), "preview": own}, [*arrays, *pictures]
    return facts, arrays


def _suits(found: Preview, aspect: float, wanted: float) -> bool:
    """Whether a preview, as stored, shows a frame of this shape whole and large enough."""
    alike = abs(np.log(found.width / found.height / aspect)) < _ASPECT
    return bool(alike and max(found.width, found.height) >= wanted)


def _found(data: bytes) -> Iterator[Preview]:
    """What the file's directories name, the smallest first; then what LibRaw knows, which looks further."""
    yield from embedded.previews(data)
    # A DNG's previews lie in its directories, and to open the file once more costs time.
    if dng.is_dng(data):
        return
    try:
        with rawpy.RawPy() as raw:
            raw.open_buffer(io.BytesIO(data))
            thumb = raw.extract_thumb()
    except (rawpy.LibRawError, rawpy.NotSupportedError):
        return
    told = embedded.preview_in(thumb.data) if isinstance(thumb.data, bytes) else None
    if told is not None and jpeg_ends(told.data):
        yield told
