"""Finished pixels → JPEG, TIFF or PNG bytes, the same bytes for the same pixels on every day."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import tifffile
from PIL import Image, ImageCms, PngImagePlugin

from archive.errors import ArchiveError, UsageError, shown

_SUBSAMPLING = {"4:4:4": 0, "4:2:2": 1, "4:2:0": 2}
_XMP_TAG, _ICC_TAG, _BYTE, _UNDEFINED = 700, 34675, 1, 7
_XMP_KEYWORD = "XML:com.adobe.xmp"
# A profile holds the time it was made (ICC.1:2022, 7.2.8) and is named by its bytes; this one is always made
# at the same time.
_PROFILE_TIME = b"\x07\xea\x00\x01\x00\x01\x00\x00\x00\x00\x00\x00"


def srgb_icc() -> bytes:
    """An ICC profile of sRGB, the same bytes every time."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = _PROFILE_TIME
    profile[84:100] = bytes(16)
    return bytes(profile)


def encode_jpeg(
    pixels: npt.NDArray[np.uint8],
    *,
    quality: int = 92,
    subsampling: str = "4:4:4",
    xmp: bytes | None = None,
    icc: bool = True,
    exif: bytes | None = None,
) -> bytes:
    """A baseline JPEG of uint8 pixels, (height, width, 3).

    Raises
    ------
    ArchiveError : a quality outside 1 to 100, an unknown subsampling, an XMP packet too large for one
    segment,
        or a side above 65535 pixels.
    """
    _require(pixels, np.uint8)
    if not 1 <= quality <= 100 or subsampling not in _SUBSAMPLING:
        raise ArchiveError(
            f"A JPEG of quality {quality} and subsampling {subsampling} cannot be made.",
            hint="Nothing was written; quality is 1 to 100, subsampling 4:4:4, 4:2:2 or 4:2:0.",
        )
    if xmp is not None and len(xmp) > 65502:
        raise ArchiveError(
            f"The description is too long for a JPEG ({len(xmp)} bytes).",
            hint="Nothing was written; shorten its text.",
        )
    if max(pixels.shape[:2]) > 65535:
        raise ArchiveError(
            "A JPEG's sides end at 65535 pixels.", hint="Nothing was written; choose TIFF or PNG."
        )
    options: dict[str, Any] = {"quality": quality, "subsampling": _SUBSAMPLING[subsampling]}
    if icc:
        options["icc_profile"] = srgb_icc()
    if xmp is not None:
        options["xmp"] = xmp
    if exif is not None:
        options["exif"] = exif
    return _saved(pixels, "JPEG", options)


def encode_png(pixels: npt.NDArray[np.uint8], *, xmp: bytes | None = None, icc: bool = True) -> bytes:
    """A PNG of uint8 pixels, (height, width, 3)."""
    _require(pixels, np.uint8)
    options: dict[str, Any] = {"compress_level": 6}
    if icc:
        options["icc_profile"] = srgb_icc()
    if xmp is not None:
        text = PngImagePlugin.PngInfo()
        text.add_itxt(_XMP_KEYWORD, xmp.decode("utf-8"))
        options["pnginfo"] = text
    return _saved(pixels, "PNG", options)


def encoder_for(name: str) -> Callable[[npt.NDArray[np.uint8]], bytes]:
    """What makes a file of this name of a picture for the eye: a JPEG of quality 92, or a PNG.

    Raises
    ------
    UsageError : the name ends otherwise.
    """
    if name.lower().endswith(".png"):
        return encode_png
    if name.lower().endswith((".jpg", ".jpeg")):
        return partial(encode_jpeg, quality=92)
    raise UsageError(f"{shown(name)} is no picture file.", hint="Nothing was made. Name it .jpg or .png.")


def encode_tiff(
    pixels: npt.NDArray[np.uint8] | npt.NDArray[np.uint16],
    *,
    xmp: bytes | None = None,
    icc: bool = True,
    compress: bool = True,
) -> bytes:
    """A TIFF of uint8 or uint16 pixels, (height, width, 3); XMP in tag 700, the profile in tag 34675."""
    _require(pixels, np.uint8, np.uint16)
    tags: list[tuple[int, int, int, bytes, bool]] = []
    if xmp is not None:
        tags.append((_XMP_TAG, _BYTE, len(xmp), xmp, True))
    if icc:
        profile = srgb_icc()
        tags.append((_ICC_TAG, _UNDEFINED, len(profile), profile, True))
    out = io.BytesIO()
    with tifffile.TiffWriter(out, byteorder="<") as writer:
        writer.write(
            pixels, photometric="rgb", compression="zlib" if compress else None, predictor=compress,
            rowsperstrip=64, metadata=None, software="Noctuary", extratags=tags,
        )  # fmt: skip
    return out.getvalue()


def _saved(pixels: npt.NDArray[np.uint8], form: str, options: dict[str, Any]) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(out, form, **options)
    return out.getvalue()


def _require(pixels: npt.NDArray[Any], *kinds: Any) -> None:
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype not in [np.dtype(kind) for kind in kinds]:
        raise ArchiveError(
            f"Pixels of {pixels.dtype} and shape {pixels.shape} do not fit this kind of file.",
            hint="Nothing was written; JPEG and PNG take 8 bits, TIFF 8 or 16.",
        )
