"""The smallest Bayer DNG (1.4) that a raw decoder takes: one directory, one uncompressed strip."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
import numpy.typing as npt

BLACK, WHITE = 512, 15000
# XYZ → camera, an invented sensor; greens lean towards red as many do.
COLOUR_MATRIX = ((0.78, -0.22, -0.08), (-0.42, 1.24, 0.2), (-0.06, 0.16, 0.62))
NEUTRAL = (0.5, 1.0, 0.625)
_BYTE, _ASCII, _SHORT, _LONG, _RATIONAL, _SIGNED = 1, 2, 3, 4, 5, 10


def tiny_dng(
    mosaic: npt.NDArray[np.uint16],
    *,
    pattern: tuple[int, int, int, int] = (0, 1, 1, 2),
    orientation: int = 1,
    black: int = BLACK,
    white: int = WHITE,
    neutral: tuple[float, float, float] = NEUTRAL,
) -> bytes:
    """A DNG of this mosaic, uint16, (height, width)."""
    height, width = mosaic.shape
    data = mosaic.astype("<u2").tobytes()
    matrix = [(round(value * 10000), 10000) for row in COLOUR_MATRIX for value in row]
    tags: list[tuple[int, int, Any]] = [
        (254, _LONG, [0]), (256, _LONG, [width]), (257, _LONG, [height]), (258, _SHORT, [16]),
        (259, _SHORT, [1]),
        (262, _SHORT, [32803]), (271, _ASCII, b"Invented\0"), (272, _ASCII, b"Tiny One\0"), (273, _LONG, [0]),
        (274, _SHORT, [orientation]), (277, _SHORT, [1]), (278, _LONG, [height]), (279, _LONG, [len(data)]),
        (33421, _SHORT, [2, 2]), (33422, _BYTE, list(pattern)), (50706, _BYTE, [1, 4, 0, 0]),
        (50708, _ASCII, b"Invented Tiny One\0"), (50714, _SHORT, [black]), (50717, _LONG, [white]),
        (50721, _SIGNED, matrix), (50728, _RATIONAL, [(round(each * 10000), 10000) for each in neutral]),
        (50778, _SHORT, [21]),
    ]  # fmt: skip
    first = _directory(tags, 8)
    tags[8] = (273, _LONG, [8 + len(first)])
    return struct.pack("<2sHI", b"II", 42, 8) + _directory(tags, 8) + data


def _directory(tags: list[tuple[int, int, Any]], start: int) -> bytes:
    formats = {_BYTE: "B", _SHORT: "H", _LONG: "I"}
    entries, extra = b"", b""
    after = start + 2 + 12 * len(tags) + 4
    for tag, kind, values in tags:
        if kind == _ASCII:
            value, count = values, len(values)
        elif kind in (_RATIONAL, _SIGNED):
            code = "<II" if kind == _RATIONAL else "<ii"
            value, count = b"".join(struct.pack(code, *pair) for pair in values), len(values)
        else:
            value, count = struct.pack(f"<{len(values)}{formats[kind]}", *values), len(values)
        if len(value) > 4:
            entries += struct.pack("<HHII", tag, kind, count, after + len(extra))
            extra += value + b"\0" * (len(value) % 2)
        else:
            entries += struct.pack("<HHI", tag, kind, count) + value.ljust(4, b"\0")
    return struct.pack("<H", len(tags)) + entries + struct.pack("<I", 0) + extra


def night_mosaic(height: int = 240, width: int = 360, *, seed: int = 3) -> npt.NDArray[np.uint16]:
    """A noisy RGGB night: sky brighter towards a dark ridge, a few stars. uint16, (height, width)."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    ridge = 0.75 * height + 0.05 * height * np.sin(x / width * 9)
    light = np.where(y < ridge, 0.02 + 0.05 * (y / height) ** 2, 0.002)
    for _ in range(40):
        cy, cx = random.uniform(4, 0.7 * height), random.uniform(4, width - 4)
        light = light + random.uniform(0.02, 0.6) * np.exp(-((y - cy) ** 2 + (x - cx) ** 2) / 2.5)
    balance = np.array(NEUTRAL)[np.array([[0, 1], [1, 2]])][y % 2, x % 2]
    electrons = light * balance * 20000
    counts = random.normal(electrons, np.sqrt(electrons + 9)) * (WHITE - BLACK) / 20000 + BLACK
    return np.clip(np.round(counts), 0, WHITE).astype(np.uint16)
