"""Lossless JPEG (ITU-T T.81, process 14): the encoder that the raw writer's tiles go through."""

from __future__ import annotations

import heapq
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.engine.kernels.compiled import kernel

PRECISION = 14
"""Bits per sample of every stream written here."""
_COMPONENTS = 2
_RESERVED = 99


@kernel
def _differences(tile: Any, out: Any, counts: Any) -> None:
    # Predictor 1: the sample to the left of the same component; the first column looks up (T.81 H.1.2.1).
    height, width = tile.shape
    for y in range(height):
        for x in range(width):
            if x >= 2:
                predicted = np.int32(tile[y, x - 2])
            elif y > 0:
                predicted = np.int32(tile[y - 1, x])
            else:
                predicted = np.int32(1 << 13)
            difference = np.int32(tile[y, x]) - predicted
            out[y, x] = difference
            size = 0
            rest = abs(difference)
            while rest:
                size += 1
                rest >>= 1
            counts[size] += 1


@kernel
def _emit(differences: Any, codes: Any, lengths: Any, out: Any) -> int:
    height, width = differences.shape
    bits = np.uint64(0)
    held = 0
    end = 0
    for y in range(height):
        for x in range(width):
            difference = differences[y, x]
            size = 0
            rest = abs(difference)
            while rest:
                size += 1
                rest >>= 1
            value = difference if difference >= 0 else difference + (1 << size) - 1
            bits = (bits << np.uint64(lengths[size])) | np.uint64(codes[size])
            bits = (bits << np.uint64(size)) | np.uint64(value)
            held += lengths[size] + size
            while held >= 8:
                held -= 8
                byte = np.uint8((bits >> np.uint64(held)) & np.uint64(255))
                out[end] = byte
                end += 1
                if byte == 255:
                    out[end] = 0
                    end += 1
    if held:
        spare = np.uint64(8 - held)
        byte = np.uint8(((bits << spare) | ((np.uint64(1) << spare) - np.uint64(1))) & np.uint64(255))
        out[end] = byte
        end += 1
        if byte == 255:
            out[end] = 0
            end += 1
    return end


def code_lengths(counts: NDArray[np.int64]) -> dict[int, int]:
    """Huffman code length for each size category that occurs, 1 to 16 bits.

    A reserved symbol takes the longest code, so that no real one consists of 1-bits only (T.81 K.2).
    """
    # Every weight is raised to a share of the total, which bounds the depth of the tree below 16.
    floor = int(counts.sum()) // 4096 + 1
    symbols = [size for size in range(PRECISION + 1) if counts[size]]
    heap: list[tuple[int, int, tuple[int, ...]]] = [
        (max(int(counts[size]), floor), size, (size,)) for size in symbols
    ]
    heap.append((0, _RESERVED, (_RESERVED,)))
    lengths = dict.fromkeys([*symbols, _RESERVED], 0)
    heapq.heapify(heap)
    while len(heap) > 1:
        first, second = heapq.heappop(heap), heapq.heappop(heap)
        for symbol in first[2] + second[2]:
            lengths[symbol] += 1
        heapq.heappush(heap, (first[0] + second[0], min(first[1], second[1]), first[2] + second[2]))
    return lengths


def encode(tile: NDArray[np.uint16]) -> bytes:
    """One tile as a complete lossless JPEG stream of two interleaved components.

    Parameters
    ----------
    tile : uint16, (height, width), values below 2**14, even width. Neighbouring columns become the two
        components, so that each is predicted from its own colour of the mosaic.
    """
    height, width = tile.shape
    if width % _COMPONENTS:
        raise ValueError("a tile must be an even number of pixels wide")
    if tile.size and int(tile.max()) >> PRECISION:
        raise ValueError(f"a sample needs more than {PRECISION} bits")
    counts = np.zeros(17, np.int64)
    differences = np.empty((height, width), np.int32)
    _differences(tile, differences, counts)
    lengths = code_lengths(counts)
    order = sorted(lengths, key=lambda symbol: (lengths[symbol], symbol))
    per_length = [0] * 17
    code_of, length_of = np.zeros(17, np.uint32), np.zeros(17, np.int64)
    code = previous = 0
    for symbol in order:
        code <<= lengths[symbol] - previous
        previous = lengths[symbol]
        if symbol != _RESERVED:
            code_of[symbol], length_of[symbol] = code, previous
            per_length[previous] += 1
        code += 1
    # The reserved symbol sorts last of the longest, so dropping it leaves the other codes as they are.
    values = bytes(symbol for symbol in order if symbol != _RESERVED)
    out = np.empty(tile.size * 8 + 64, np.uint8)
    end = _emit(differences, code_of, length_of, out)
    frame = struct.pack(">HBHHB", 8 + 3 * _COMPONENTS, PRECISION, height, width // _COMPONENTS, _COMPONENTS)
    table = struct.pack(">HB", 19 + len(values), 0) + bytes(per_length[1:]) + values
    scan = struct.pack(">HB", 6 + 2 * _COMPONENTS, _COMPONENTS) + bytes([0, 0, 1, 0, 1, 0, 0])
    return b"".join(
        (
            b"\xff\xd8\xff\xc3",
            frame,
            b"".join(bytes([component, 0x11, 0]) for component in range(_COMPONENTS)),
            b"\xff\xc4",
            table,
            b"\xff\xda",
            scan,
            out[:end].tobytes(),
            b"\xff\xd9",
        )
    )
