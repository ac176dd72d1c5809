"""DNGs of every layout the specification allows for a Bayer mosaic: packed, tiled, losslessly compressed.

Written plainly from TIFF 6.0, DNG 1.4 and ITU-T T.81 (process 14), sample by sample; independent of the
package's own writer and readers.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from support.tinydng import COLOUR_MATRIX, NEUTRAL

_FORMATS = {1: "B", 3: "H", 4: "I", 12: "d"}
# Huffman codes for differences of 0 to 16 bits: all of five bits; or one of each length, with long ones.
FLAT = (tuple([0] * 4 + [17] + [0] * 11), tuple(range(17)))
STEEP = (tuple([1] * 15 + [2]), (7, 6, 5, 8, 4, 3, 9, 2, 10, 1, 0, 11, 12, 13, 14, 15, 16))


@dataclass(frozen=True, kw_only=True)
class Form:
    """How a mosaic is to be stored.

    ``strip_rows`` or ``tile`` (width, height) cut it into pieces; ``components`` and ``predictor`` are those
    of the lossless JPEG, ``fold`` joins so many rows of a piece into one of its stream; ``margins`` are top,
    left, bottom, right; ``extra`` are further tags of the mosaic's directory (tag, type, values).
    """

    order: str = "<"
    bits: int = 16
    compressed: bool = False
    strip_rows: int | None = None
    tile: tuple[int, int] | None = None
    components: int = 2
    predictor: int = 1
    fold: int = 1
    code: tuple[tuple[int, ...], tuple[int, ...]] = FLAT
    pattern: tuple[int, int, int, int] = (0, 1, 1, 2)
    margins: tuple[int, int, int, int] = (0, 0, 0, 0)
    black: tuple[int, ...] = (512,)
    white: int = 15000
    version: tuple[int, int, int, int] = (1, 4, 0, 0)
    extra: tuple[tuple[int, int, Any], ...] = ()


def dng(mosaic: npt.NDArray[np.uint16], form: Form | None = None, **changes: Any) -> bytes:
    """A DNG of this mosaic, uint16, (height, width), values within the form's bits."""
    form = replace(form or Form(), **changes)
    height, width = mosaic.shape
    across, down = form.tile or (width, form.strip_rows or height)
    pieces = []
    for top in range(0, height, down):
        for left in range(0, width, across):
            part = mosaic[top : top + down, left : left + across]
            if form.tile:
                part = np.pad(part, ((0, down - part.shape[0]), (0, across - part.shape[1])), "edge")
            pieces.append(_compressed(part, form) if form.compressed else _packed(part, form))
    top, left, bottom, right = form.margins
    matrix = [round(value * 10000) for row in COLOUR_MATRIX for value in row]
    tags: list[tuple[int, int, Any]] = [
        (254, 4, [0]), (256, 4, [width]), (257, 4, [height]), (258, 3, [form.bits]),
        (259, 3, [7 if form.compressed else 1]), (262, 3, [32803]), (271, 2, b"Invented\0"),
        (272, 2, b"Many Ones\0"), (277, 3, [1]), (33421, 3, [2, 2]), (33422, 1, list(form.pattern)),
        (50706, 1, list(form.version)), (50708, 2, b"Invented Many Ones\0"),
        (50714, 3, list(form.black)), (50717, 4, [form.white]),
        (50721, 10, [(value, 10000) for value in matrix]),
        (50728, 5, [(round(value * 10000), 10000) for value in NEUTRAL]), (50778, 3, [21]),
        (50829, 4, [top, left, height - bottom, width - right]), *form.extra,
    ]  # fmt: skip
    if len(form.black) == 4:
        tags.append((50713, 3, [2, 2]))
    sizes = [len(piece) for piece in pieces]
    if form.tile:
        tags += [(322, 4, [across]), (323, 4, [down]), (325, 4, sizes)]
    else:
        tags += [(278, 4, [down]), (279, 4, sizes)]
    places = 324 if form.tile else 273
    first = 8 + len(_directory([*tags, (places, 4, [0] * len(sizes))], form.order))
    starts = [first + sum(sizes[:index]) for index in range(len(sizes))]
    head = (b"II" if form.order == "<" else b"MM") + struct.pack(form.order + "HI", 42, 8)
    return head + _directory([*tags, (places, 4, starts)], form.order) + b"".join(pieces)


def _packed(part: npt.NDArray[np.uint16], form: Form) -> bytes:
    if form.bits == 16:
        return part.astype(form.order + "u2").tobytes()
    rows = []
    for row in part:
        bits = "".join(f"{value:0{form.bits}b}" for value in row)
        bits += "0" * (-len(bits) % 8)
        rows.append(int(bits, 2).to_bytes(len(bits) // 8, "big"))
    return b"".join(rows)


def _compressed(part: npt.NDArray[np.uint16], form: Form) -> bytes:
    height, width = part.shape
    rows = part.reshape(height // form.fold, width * form.fold).astype(int)
    differences = lossless_differences(rows, form.components, form.predictor, form.bits)
    body = entropy_coded(differences, form.code)
    count = form.components
    frame = struct.pack(">BHHB", form.bits, rows.shape[0], rows.shape[1] // count, count)
    frame += b"".join(bytes((index, 0x11, 0)) for index in range(count))
    table = bytes((0, *form.code[0], *form.code[1]))
    scan = bytes((count,)) + b"".join(bytes((index, 0)) for index in range(count))
    scan += bytes((form.predictor, 0, 0))
    segments = b"".join(
        bytes((0xFF, marker)) + struct.pack(">H", len(text) + 2) + text
        for marker, text in ((0xC3, frame), (0xC4, table), (0xDA, scan))
    )
    return b"\xff\xd8" + segments + body + b"\xff\xd9"


def lossless_differences(
    rows: npt.NDArray[np.int_], components: int, predictor: int, bits: int
) -> npt.NDArray[np.int_]:
    """What is left of samples after prediction (T.81, H.1.2.1 and table H.1), modulo 65536."""
    predicted = np.empty_like(rows)
    predicted[:, components:] = rows[:, :-components]
    predicted[1:, :components] = rows[:-1, :components]
    predicted[0, :components] = 1 << (bits - 1)
    if predictor > 1:
        left, up, corner = rows[1:, :-components], rows[:-1, components:], rows[:-1, :-components]
        by_number = {
            2: up, 3: corner, 4: left + up - corner, 5: left + ((up - corner) >> 1),
            6: up + ((left - corner) >> 1), 7: (left + up) >> 1,
        }  # fmt: skip
        predicted[1:, components:] = by_number[predictor]
    return (rows - predicted + 32767) % 65536 - 32767


def entropy_coded(differences: npt.NDArray[np.int_], code: tuple[tuple[int, ...], tuple[int, ...]]) -> bytes:
    """Differences as Huffman codes and their bits, with zeros stuffed behind 0xFF."""
    words: dict[int, str] = {}
    value, place = 0, 0
    for length, count in enumerate(code[0], 1):
        for symbol in code[1][place : place + count]:
            words[symbol] = f"{value:0{length}b}"
            value += 1
        place += count
        value <<= 1
    text = []
    for difference in differences.ravel().tolist():
        size = abs(difference).bit_length()
        text.append(words[size])
        if 0 < size < 16:
            text.append(f"{difference if difference > 0 else difference + (1 << size) - 1:0{size}b}")
    bits = "".join(text)
    bits += "1" * (-len(bits) % 8)
    return int(bits, 2).to_bytes(len(bits) // 8, "big").replace(b"\xff", b"\xff\0")


def _directory(tags: list[tuple[int, int, Any]], order: str) -> bytes:
    after = 8 + 2 + 12 * len(tags) + 4
    entries, extra = b"", b""
    for tag, kind, values in sorted(tags, key=lambda each: each[0]):
        if kind == 2:
            data, count = bytes(values), len(values)
        elif kind in (5, 10):
            code = order + ("II" if kind == 5 else "ii")
            data, count = b"".join(struct.pack(code, *pair) for pair in values), len(values)
        else:
            data, count = struct.pack(f"{order}{len(values)}{_FORMATS[kind]}", *values), len(values)
        entry = struct.pack(order + "HHI", tag, kind, count)
        if len(data) <= 4:
            entries += entry + data.ljust(4, b"\0")
        else:
            entries += entry + struct.pack(order + "I", after + len(extra))
            extra += data + b"\0" * (len(data) & 1)
    return struct.pack(order + "H", len(tags)) + entries + struct.pack(order + "I", 0) + extra


# Six rows of six colours, in which every row and column holds all three (red 0, green 1, blue 2).
SIX_BY_SIX = (
    1, 2, 1, 1, 0, 1,
    0, 1, 0, 2, 1, 2,
    1, 2, 1, 1, 0, 1,
    1, 0, 1, 1, 2, 1,
    2, 1, 2, 0, 1, 0,
    1, 0, 1, 1, 2, 1,
)  # fmt: skip


def unusual_dng(
    pixels: npt.NDArray[np.uint16],
    pattern: tuple[int, ...] = (),
    *,
    orientation: int = 1,
    noise: tuple[float, float] | None = None,
) -> bytes:
    """A DNG that is no Bayer mosaic: six by six colours, else linear samples of one or three colours.

    ``noise`` is what it tells of it (NoiseProfile): variance per light, and at none.
    """
    height, width = pixels.shape[:2]
    colours = 1 if pixels.ndim == 2 else pixels.shape[2]
    data = pixels.astype("<u2").tobytes()
    tags: list[tuple[int, int, Any]] = [
        (254, 4, [0]), (256, 4, [width]), (257, 4, [height]), (258, 3, [16] * colours), (259, 3, [1]),
        (262, 3, [32803 if pattern else 34892]), (271, 2, b"Invented\0"), (272, 2, b"Odd One\0"),
        (274, 3, [orientation]), (277, 3, [colours]), (278, 4, [height]), (279, 4, [len(data)]),
        (50706, 1, [1, 4, 0, 0]), (50708, 2, b"Invented Odd One\0"), (50714, 3, [512] * colours),
        (50717, 4, [15000] * colours),
    ]  # fmt: skip
    if noise:
        tags += [(51041, 12, list(noise))]
    if pattern:
        tags += [(33421, 3, [6, 6]), (33422, 1, list(pattern))]
    if pattern or colours == 3:
        matrix = [(round(value * 10000), 10000) for row in COLOUR_MATRIX for value in row]
        neutral = [(round(value * 10000), 10000) for value in NEUTRAL]
        tags += [(50721, 10, matrix), (50728, 5, neutral), (50778, 3, [21])]
    start = 8 + len(_directory([*tags, (273, 4, [0])], "<"))
    return struct.pack("<2sHI", b"II", 42, 8) + _directory([*tags, (273, 4, [start])], "<") + data


def restated(data: bytes, tag: int, content: bytes) -> bytes:
    """A little-endian DNG whose first directory states other values, of as many bytes, under a tag."""
    out = bytearray(data)
    (place,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, place)
    for at in range(place + 2, place + 2 + 12 * count, 12):
        if struct.unpack_from("<H", data, at) == (tag,):
            where = at + 8 if len(content) <= 4 else struct.unpack_from("<I", data, at + 8)[0]
            out[where : where + len(content)] = content
            return bytes(out)
    raise KeyError(tag)
