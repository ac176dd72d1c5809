"""The raw writer: a Bayer mosaic and its capture facts as a little-endian DNG 1.4 file."""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from archive.demo import lossless

PATTERNS = {
    "RGGB": (0, 1, 1, 2),
    "BGGR": (2, 1, 1, 0),
    "GRBG": (1, 0, 2, 1),
    "GBRG": (1, 2, 0, 1),
}
"""The four Bayer orders, as DNG colour-plane numbers of the top-left 2 × 2 pixels, row by row."""
BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL, DOUBLE = 1, 2, 3, 4, 5, 7, 10, 12
_CODES = {SHORT: "H", LONG: "I", DOUBLE: "d"}
_D65 = 21

Value = str | bytes | Sequence[int] | Sequence[float] | Sequence[Fraction]
Tags = dict[int, tuple[int, Value]]


@dataclass(frozen=True, kw_only=True)
class Body:
    """What every file of one camera body says.

    ``matrix`` is XYZ to camera for D65, row by row; ``neutral`` the as-shot neutral in camera space;
    ``lens_range`` shortest and longest focal length in mm and the f-numbers at both.
    """

    make: str
    model: str
    serial: str
    lens: str
    lens_range: tuple[Fraction, Fraction, Fraction, Fraction]
    focal_mm: float
    pattern: str
    black: int
    white: int
    matrix: tuple[float, ...]
    neutral: tuple[float, float, float]
    compressed: bool
    orientation: int = 1


@dataclass(frozen=True, kw_only=True)
class Shot:
    """What one file says of its capture.

    ``taken`` is the camera's clock (``YYYY:MM:DD HH:MM:SS``), ``subsec`` its fraction digits; ``noise`` the
    pair of NoiseProfile: variance per signal and variance at zero, for signals where the white level is 1.
    """

    taken: str
    subsec: str
    offset: str
    exposure_s: Fraction
    f_number: Fraction
    iso: int
    noise: tuple[float, float]


def _packed(kind: int, value: Value) -> tuple[int, bytes]:
    if kind == ASCII:
        text = str(value).encode("ascii") + b"\0"
        return len(text), text
    if kind in (BYTE, UNDEFINED):
        data = bytes(value)  # type: ignore[arg-type]
        return len(data), data
    if kind in (RATIONAL, SRATIONAL):
        parts = [Fraction(part).limit_denominator(10000) for part in value]
        flat = [number for part in parts for number in (part.numerator, part.denominator)]
        return len(parts), struct.pack(f"<{len(flat)}{'I' if kind == RATIONAL else 'i'}", *flat)
    return len(value), struct.pack(f"<{len(value)}{_CODES[kind]}", *value)


def _directory(tags: Mapping[int, tuple[int, Value]], offset: int) -> bytes:
    """An image file directory with its out-of-line values, for a file position ``offset``."""
    head = 2 + 12 * len(tags) + 4
    entries, values = [struct.pack("<H", len(tags))], b""
    for tag in sorted(tags):
        kind, value = tags[tag]
        count, data = _packed(kind, value)
        if len(data) <= 4:
            entries.append(struct.pack("<HHI", tag, kind, count) + data.ljust(4, b"\0"))
        else:
            entries.append(struct.pack("<HHII", tag, kind, count, offset + head + len(values)))
            values += data + b"\0" * (len(data) & 1)
    return b"".join(entries) + struct.pack("<I", 0) + values


def tile_side(width: int) -> int:
    """Side of the square tiles for a compressed mosaic, a multiple of 16 (TIFF 6.0, section 15)."""
    # LibRaw 0.22 misreads a single padded tile and rows of exactly two tiles: there are always three or more.
    return 256 if width > 512 else max(16, width // 3 // 16 * 16)


def _strips(mosaic: NDArray[np.uint16], compressed: bool) -> list[bytes]:
    if not compressed:
        return [mosaic.astype("<u2", copy=False).tobytes()]
    height, width = mosaic.shape
    side = tile_side(width)
    padded = np.pad(mosaic, ((0, -height % side), (0, -width % side)), "edge")
    blobs = []
    for y in range(0, height, side):
        for x in range(0, width, side):
            data = lossless.encode(np.ascontiguousarray(padded[y : y + side, x : x + side]))
            blobs.append(data + b"\0" * (len(data) & 1))
    return blobs


def _raw_tags(mosaic: NDArray[np.uint16], body: Body, shot: Shot, blobs: list[bytes], at: list[int]) -> Tags:
    height, width = mosaic.shape
    sizes = [len(blob) for blob in blobs]
    tags: Tags = {
        254: (LONG, [0]),
        256: (LONG, [width]),
        257: (LONG, [height]),
        258: (SHORT, [lossless.PRECISION if body.compressed else 16]),
        259: (SHORT, [7 if body.compressed else 1]),
        262: (SHORT, [32803]),
        277: (SHORT, [1]),
        284: (SHORT, [1]),
        33421: (SHORT, [2, 2]),
        33422: (BYTE, bytes(PATTERNS[body.pattern])),
        50710: (BYTE, bytes([0, 1, 2])),
        50711: (SHORT, [1]),
        50713: (SHORT, [2, 2]),
        50714: (SHORT, [body.black] * 4),
        50717: (LONG, [body.white]),
        50718: (RATIONAL, [Fraction(1), Fraction(1)]),
        50719: (LONG, [0, 0]),
        50720: (LONG, [width, height]),
        50829: (LONG, [0, 0, height, width]),
        51041: (DOUBLE, list(shot.noise)),
    }
    if body.compressed:
        side = tile_side(width)
        tags |= {322: (LONG, [side]), 323: (LONG, [side]), 324: (LONG, at), 325: (LONG, sizes)}
    else:
        tags |= {273: (LONG, at), 278: (LONG, [height]), 279: (LONG, sizes)}
    return tags


def _exif_tags(body: Body, shot: Shot) -> Tags:
    return {
        33434: (RATIONAL, [shot.exposure_s]),
        33437: (RATIONAL, [shot.f_number]),
        34850: (SHORT, [1]),
        34855: (SHORT, [shot.iso]),
        34864: (SHORT, [2]),
        36864: (UNDEFINED, b"0232"),
        36867: (ASCII, shot.taken),
        36868: (ASCII, shot.taken),
        36880: (ASCII, shot.offset),
        36881: (ASCII, shot.offset),
        36882: (ASCII, shot.offset),
        37386: (RATIONAL, [Fraction(body.focal_mm).limit_denominator(100)]),
        37520: (ASCII, shot.subsec),
        37521: (ASCII, shot.subsec),
        37522: (ASCII, shot.subsec),
        42033: (ASCII, body.serial),
        42034: (RATIONAL, list(body.lens_range)),
        42035: (ASCII, body.make),
        42036: (ASCII, body.lens),
    }


def dng(
    mosaic: NDArray[np.uint16], body: Body, shot: Shot, preview: bytes, preview_size: tuple[int, int]
) -> bytes:
    """The bytes of one raw file.

    The first directory holds the preview and what is said about the whole file; the mosaic lies in a
    sub-directory, as the DNG specification 1.4 recommends.

    Parameters
    ----------
    mosaic : uint16, (height, width), camera numbers in the body's Bayer order; even sides, at least 34
        wide if compressed.
    preview : a baseline JPEG of ``preview_size`` (width, height).
    """
    height, width = mosaic.shape
    if height % 2 or width % 2 or not height or not width:
        raise ValueError(f"a Bayer mosaic has even sides, not {width} x {height}")
    if body.compressed and width < 34:
        raise ValueError(f"a compressed mosaic is at least 34 pixels wide, not {width}")
    blobs = _strips(mosaic, body.compressed)
    sizes = [len(blob) for blob in blobs]

    def first(sub: int, exif: int, at: int) -> Tags:
        return {
            254: (LONG, [1]),
            256: (LONG, [preview_size[0]]),
            257: (LONG, [preview_size[1]]),
            258: (SHORT, [8, 8, 8]),
            259: (SHORT, [7]),
            262: (SHORT, [6]),
            271: (ASCII, body.make),
            272: (ASCII, body.model),
            273: (LONG, [at]),
            274: (SHORT, [body.orientation]),
            277: (SHORT, [3]),
            278: (LONG, [preview_size[1]]),
            279: (LONG, [len(preview)]),
            284: (SHORT, [1]),
            305: (ASCII, f"{body.model} firmware 1.0"),
            306: (ASCII, shot.taken),
            330: (LONG, [sub]),
            530: (SHORT, [2, 2]),
            532: (RATIONAL, [Fraction(n) for n in (0, 255, 128, 255, 128, 255)]),
            34665: (LONG, [exif]),
            50706: (BYTE, bytes([1, 4, 0, 0])),
            50707: (BYTE, bytes([1, 1, 0, 0])),
            50708: (ASCII, body.model),
            50721: (SRATIONAL, [Fraction(value) for value in body.matrix]),
            50728: (RATIONAL, [Fraction(value) for value in body.neutral]),
            50730: (SRATIONAL, [Fraction(0)]),
            50735: (ASCII, body.serial),
            50778: (SHORT, [_D65]),
        }

    # Directory sizes do not depend on the positions in them, so zeros measure the layout.
    exif = _directory(_exif_tags(body, shot), 0)
    sub_at = 8 + len(_directory(first(0, 0, 0), 0))
    exif_at = sub_at + len(_directory(_raw_tags(mosaic, body, shot, blobs, [0] * len(blobs)), 0))
    preview_at = exif_at + len(exif)
    raw_at = (preview_at + len(preview) + 15) // 16 * 16
    at = [raw_at + sum(sizes[:index]) for index in range(len(sizes))]
    return b"".join(
        (
            struct.pack("<2sHI", b"II", 42, 8),
            _directory(first(sub_at, exif_at, preview_at), 8),
            _directory(_raw_tags(mosaic, body, shot, blobs, at), sub_at),
            _directory(_exif_tags(body, shot), exif_at),
            preview.ljust(raw_at - preview_at, b"\0"),
            *blobs,
        )
    )
