"""Read pictures (JPEG, HEIF, TIFF, PNG) as stored numbers and what turns them into light; in the worker."""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import tifffile
from PIL import Image, ImageFile, UnidentifiedImageError

from archive.engine import framing, icc
from archive.formats.container import Kind

_EXIF_ORIENTATION, _EXIF_POINTER, _INTEROP_POINTER = 0x0112, 0x8769, 0xA005
_COLOUR_SPACE, _INTEROP_INDEX, _UNCALIBRATED = 0xA001, 0x0001, 0xFFFF
_MODES = {"L", "RGB", "CMYK", "YCbCr", "P", "RGBA", "LA", "1"}
_MAX_PIXELS = 400_000_000


class UndecodableError(Exception):
    """The file cannot be decoded; ``damaged`` tells a broken file from one of an unsupported kind."""

    def __init__(self, reason: str, *, damaged: bool) -> None:
        super().__init__(reason)
        self.reason = reason
        self.damaged = damaged


def read(
    data: bytes, kind: Kind, least: tuple[int, int] | None = None
) -> tuple[dict[str, Any], list[npt.NDArray[Any]]]:
    """Facts (``orientation``, ``sensor``) and three arrays: stored values, transfer curves, matrix to sRGB.

    Stored values are uint8 or uint16, (height, width, 3). A JPEG of which ``least`` is enough, width and
    height, may come at a half, a quarter or an eighth of its size, which is quicker.

    Raises
    ------
    UndecodableError : the picture is damaged or of a kind that is not supported.
    """
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    # What is too many is said below, and to the pixel.
    Image.MAX_IMAGE_PIXELS = None
    try:
        if kind is Kind.TIFF:
            return _tiff(data)
        if kind is Kind.HEIF:
            return _heif(data)
        return _pillow(data, least)
    except UndecodableError:
        raise
    except MemoryError:
        raise
    except UnidentifiedImageError as error:
        raise UndecodableError("its contents are no picture that can be read", damaged=True) from error
    except Exception as error:
        raise UndecodableError(_worded(error), damaged=True) from error


def declared(data: bytes, kind: Kind) -> int:
    """Pixels that a picture's own header declares; 0 where it cannot be read, which ``read`` tells."""
    try:
        if kind is Kind.TIFF:
            with tifffile.TiffFile(io.BytesIO(data)) as file:
                page = file.pages[0].aspage()
                return int(page.imagewidth) * int(page.imagelength)
        if kind is Kind.HEIF:
            import pillow_heif

            width, height = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False).size
            return int(width) * int(height)
        # What is too many is for the caller to say.
        Image.MAX_IMAGE_PIXELS = None
        with Image.open(io.BytesIO(data)) as picture:
            return picture.width * picture.height
    except Exception:
        return 0


def _worded(error: Exception) -> str:
    """What a library says, without the addresses of its objects."""
    return re.sub(r"<[^<>]* at 0x[0-9a-fA-F]+>", "the file", str(error)) or type(error).__name__


def _pillow(
    data: bytes, least: tuple[int, int] | None = None
) -> tuple[dict[str, Any], list[npt.NDArray[Any]]]:
    with Image.open(io.BytesIO(data)) as picture:
        if least is not None:
            picture.draft(None, least)
        if picture.width * picture.height > _MAX_PIXELS:
            raise UndecodableError("it declares more pixels than any camera makes", damaged=True)
        picture.load()
        exif = picture.getexif()
        orientation = _turned(exif.get(_EXIF_ORIENTATION))
        if picture.mode.startswith("I;16"):
            grey = np.asarray(picture).astype(np.uint16)
            pixels = np.stack([grey] * 3, axis=-1)
        elif picture.mode in _MODES:
            pixels = np.asarray(picture.convert("RGB"))
        else:
            raise UndecodableError(f"pictures of mode {picture.mode} are not supported", damaged=False)
        profile = picture.info.get("icc_profile") if picture.mode not in ("CMYK",) else None
        wide = _is_dcf_optional(exif)
    return _facts(pixels, orientation), [pixels, *_transfer(pixels, profile, wide)]


def _heif(data: bytes) -> tuple[dict[str, Any], list[npt.NDArray[Any]]]:
    import pillow_heif

    file = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
    stored = np.asarray(file)
    if stored.ndim != 3 or stored.shape[2] < 3:
        raise UndecodableError(f"a HEIF picture of shape {stored.shape} is not supported", damaged=False)
    # The decoder leaves 10 and 12 bits at the top of 16.
    bits = int(file.info.get("bit_depth", 8))
    if stored.dtype == np.uint16:
        stored = _full_range(stored >> (16 - bits), bits)
    # It also obeys the container's own rotation, which EXIF says again. Turned back, the pixels lie as
    # they do in every other file, where a corrected orientation replaces the file's.
    orientation = _exif_orientation(file.info.get("exif"))
    back = {6: 8, 8: 6}.get(orientation, orientation)
    planes = framing.upright(np.moveaxis(stored[:, :, :3], -1, 0), back)
    pixels = np.ascontiguousarray(np.moveaxis(planes, 0, -1))
    transfer = _heif_transfer(file.info, 256 if pixels.dtype == np.uint8 else 65536)
    return _facts(pixels, orientation, bits), [pixels, transfer.curves, transfer.matrix]


def _heif_transfer(info: Mapping[str, Any], levels: int) -> icc.Transfer:
    profile = info.get("icc_profile")
    found = icc.profile_transfer(profile, levels) if profile else None
    if found is not None:
        return found
    coded = info.get("nclx_profile")
    if not coded:
        return icc.srgb_transfer(levels)
    primaries = int(coded["color_primaries"])
    found = icc.coded_transfer(primaries, int(coded["transfer_characteristics"]), levels)
    if found is None:
        raise UndecodableError(
            f"a HEIF picture of colour primaries {primaries} is not supported", damaged=False
        )
    return found


def _exif_orientation(data: bytes | None) -> int:
    exif = Image.Exif()
    try:
        exif.load(data or b"")
        return _turned(exif.get(_EXIF_ORIENTATION))
    except (ValueError, TypeError, SyntaxError, OSError, struct.error):
        return 1


def _turned(stated: Any) -> int:
    """An orientation as stated; 1 for whatever EXIF does not have."""
    return int(stated) if isinstance(stated, int) and 1 <= stated <= 8 else 1


def _tiff(data: bytes) -> tuple[dict[str, Any], list[npt.NDArray[Any]]]:
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page = file.pages[0].aspage()
        if page.imagewidth * page.imagelength > _MAX_PIXELS:
            raise UndecodableError("it declares more pixels than any camera makes", damaged=True)
        if page.dtype is not None and (page.dtype.kind in "fic" or page.dtype.itemsize > 2):
            # Nothing in it says what its 1 means, nor whether it is light or its root.
            raise UndecodableError(f"a TIFF of {page.dtype.name} samples is not supported", damaged=False)
        if page.photometric not in (0, 1, 2) or page.dtype not in (np.uint8, np.uint16):
            return _pillow(data)
        bits = page.bitspersample
        stored = _tiff_samples(page, bits)
        if page.planarconfig == 2 and stored.ndim == 3:
            stored = np.moveaxis(stored, 0, -1)
        if page.photometric == 0:
            stored = np.iinfo(stored.dtype).max - stored
        tag = page.tags.get(274)
        orientation = _turned(tag.value if tag is not None else None)
        profile = page.iccprofile
    if stored.ndim == 2:
        stored = np.stack([stored] * 3, axis=-1)
    if stored.ndim != 3 or stored.shape[2] < 3:
        raise UndecodableError(f"a TIFF of shape {stored.shape} is not supported", damaged=False)
    pixels = np.ascontiguousarray(stored[:, :, :3])
    return _facts(pixels, orientation, bits), [pixels, *_transfer(pixels, profile, False)]


def _tiff_samples(page: tifffile.TiffPage, bits: int) -> npt.NDArray[Any]:
    """A page's samples over the full range of their type, of however few bits they were."""
    if bits in (8, 16):
        return np.asarray(page.asarray())
    if bits not in range(9, 16):
        raise UndecodableError(f"a TIFF of {bits} bits a sample is not supported", damaged=False)
    try:
        return _full_range(np.asarray(page.asarray()), bits)
    except (ValueError, NotImplementedError) as error:
        raise UndecodableError(f"a TIFF of {bits} packed bits is not supported", damaged=False) from error


def _full_range(samples: npt.NDArray[Any], bits: int) -> npt.NDArray[np.uint16]:
    """Samples of fewer bits as 16."""
    most = (1 << bits) - 1
    return ((samples.astype(np.uint32) * 65535 + most // 2) // most).astype(np.uint16)


def _facts(pixels: npt.NDArray[Any], orientation: int, bits: int | None = None) -> dict[str, Any]:
    height, width = pixels.shape[:2]
    return {
        "layout": "picture",
        "orientation": orientation,
        "sensor": {
            "source": "developed picture",
            "width": width,
            "height": height,
            "bits": bits or pixels.itemsize * 8,
        },
    }


def _transfer(pixels: npt.NDArray[Any], profile: bytes | None, wide: bool) -> list[npt.NDArray[Any]]:
    levels = 256 if pixels.dtype == np.uint8 else 65536
    transfer = icc.profile_transfer(profile, levels) if profile else None
    if transfer is None:
        transfer = icc.dcf_optional_transfer(levels) if wide and not profile else icc.srgb_transfer(levels)
    return [transfer.curves, transfer.matrix]


def _is_dcf_optional(exif: Image.Exif) -> bool:
    capture = exif.get_ifd(_EXIF_POINTER)
    interop = exif.get_ifd(_INTEROP_POINTER)
    index = interop.get(_INTEROP_INDEX, "") if interop else ""
    text = index.decode("ascii", "replace") if isinstance(index, bytes) else str(index)
    return capture.get(_COLOUR_SPACE) == _UNCALIBRATED and text.startswith("R03")
