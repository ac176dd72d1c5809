"""One frame looked at for the survey: its preview, the preview's middle column, its measures."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image

from archive.engine.decode import Decoded
from archive.engine.foundation import current_foundation
from archive.engine.measure import measure
from archive.engine.output import encode_jpeg, encode_png
from archive.engine.pipeline import render
from archive.errors import DamagedFileError
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe
from archive.model.survey import Measures

SIDE = 1024
"""Longest side of a preview in pixels."""
_QUALITY, _SUBSAMPLING = 82, "4:2:0"

Picture = npt.NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """What one frame gives: ``preview`` a JPEG, ``column`` uint8 (height, 3), ``size`` width, height.

    ``origin`` is ``embedded`` where the camera's own preview was used, else ``rendered``.
    """

    origin: str
    preview: bytes
    column: Picture
    size: tuple[int, int]
    measures: Measures


def look(decoded: Decoded) -> Look:
    """Preview and measures of a decoded frame, without any recipe.

    The preview is made of the camera's own, where that was decoded with it; light is always measured in the
    frame itself.
    """
    plain = EffectiveRecipe(foundation=current_foundation(), base=(), finish=())
    shows = decoded.preview or decoded
    picture = render(shows, plain, PixelSpec(fit=(SIDE, SIDE), bits=8)).astype(np.uint8, copy=False)
    return Look(
        origin="embedded" if decoded.preview else "rendered",
        preview=encode_jpeg(picture, quality=_QUALITY, subsampling=_SUBSAMPLING),
        column=middle_column(picture),
        size=(picture.shape[1], picture.shape[0]),
        measures=measure(decoded, picture),
    )


def middle_column(picture: Picture) -> Picture:
    """The column ``width // 2`` of a picture: uint8, (height, 3)."""
    return np.ascontiguousarray(picture[:, picture.shape[1] // 2])


def slices_png(columns: Sequence[Picture]) -> bytes:
    """Columns of one height side by side, as a PNG."""
    return encode_png(np.ascontiguousarray(np.stack(columns, axis=1)), icc=False)


def read_picture(data: bytes, width: int | None, height: int, name: str) -> Picture:
    """A preview or slices file that this engine wrote: uint8, (height, width, 3).

    Raises
    ------
    DamagedFileError : when it is no picture of that size; a width of None may be any.
    """
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG")) as picture:
            if picture.height != height or picture.width != (width or picture.width):
                raise ValueError(f"it is {picture.width} × {picture.height} pixels")
            return np.asarray(picture.convert("RGB"))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise DamagedFileError(
            f"The survey's {name} is no picture that can be used: {error}.",
            hint="The master is untouched; delete the survey folder of its roll and run `noctuary survey`.",
        ) from error
