"""The lossless JPEG encoder, checked by LibRaw's decoder in test_rawfile and by T.81's own rules here."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import lossless


def markers(data: bytes) -> dict[int, bytes]:
    found, at = {}, 2
    while True:
        assert data[at] == 0xFF
        kind, size = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        found[kind] = data[at + 4 : at + 2 + size]
        at += 2 + size
        if kind == 0xDA:
            found[0] = data[at:-2]
            return found


def decoded(data: bytes) -> np.ndarray:
    """A plain reader of what T.81 annexes C, F.2.2 and H say, bit by bit."""
    found = markers(data)
    precision, height, width, components = (
        found[0xC3][0],
        *np.frombuffer(found[0xC3][1:5], ">u2"),
        found[0xC3][5],
    )
    table, codes, code, at = found[0xC4], {}, 0, 17
    for length in range(1, 17):
        for _ in range(table[length]):
            codes[format(code, f"0{length}b")] = table[at]
            at += 1
            code += 1
        code <<= 1
    assert all("0" in word for word in codes), "no code may consist of 1-bits only"
    body = found[0].replace(b"\xff\x00", b"\xff")
    bits = "".join(format(byte, "08b") for byte in body)
    place = 0
    out = np.zeros((int(height), int(width), components), np.int64)
    for y in range(int(height)):
        for x in range(int(width)):
            for c in range(components):
                word = ""
                while word not in codes:
                    word += bits[place]
                    place += 1
                size = codes[word]
                value = int(bits[place : place + size], 2) if size else 0
                place += size
                if size and value < 1 << (size - 1):
                    value -= (1 << size) - 1
                left = out[y, x - 1, c] if x else (out[y - 1, 0, c] if y else 1 << (precision - 1))
                out[y, x, c] = left + value
    assert set(bits[place:]) <= {"1"} and len(bits) - place < 8
    return out.reshape(int(height), int(width) * components)


@pytest.mark.parametrize("shape", [(2, 2), (6, 10), (17, 24)])
@pytest.mark.parametrize("kind", ["noise", "flat", "extremes", "ramp"])
def test_a_plain_reader_of_the_standard_gets_every_sample_back(shape: tuple[int, int], kind: str) -> None:
    random = np.random.default_rng(5)
    tile = {
        "noise": random.integers(0, 1 << 14, shape),
        "flat": np.full(shape, 1024),
        "extremes": random.choice([0, (1 << 14) - 1], shape),
        "ramp": np.arange(shape[0] * shape[1]).reshape(shape) * 3 % (1 << 14),
    }[kind].astype(np.uint16)
    np.testing.assert_array_equal(decoded(lossless.encode(tile)), tile)


def test_the_stream_begins_and_ends_with_its_markers_and_names_process_14() -> None:
    data = lossless.encode(np.zeros((4, 8), np.uint16))
    assert data[:4] == b"\xff\xd8\xff\xc3"
    assert data[-2:] == b"\xff\xd9"
    scan = markers(data)[0xDA]
    assert scan[-3:] == bytes([1, 0, 0])  # predictor 1, no point transform


def test_very_uneven_statistics_still_give_codes_of_at_most_16_bits() -> None:
    counts = np.zeros(17, np.int64)
    counts[:15] = [3**power for power in range(15)]
    lengths = lossless.code_lengths(counts)
    assert max(lengths.values()) <= 16
    assert sum(2.0**-length for length in lengths.values()) <= 1  # Kraft's inequality


def test_smooth_tiles_become_smaller_and_noise_does_not_grow_much() -> None:
    smooth = np.full((64, 64), 900, np.uint16)
    noisy = np.random.default_rng(1).integers(0, 1 << 14, (64, 64)).astype(np.uint16)
    assert len(lossless.encode(smooth)) < smooth.nbytes / 10
    assert len(lossless.encode(noisy)) < noisy.nbytes * 1.25


def test_an_odd_width_or_a_sample_of_15_bits_is_refused() -> None:
    with pytest.raises(ValueError, match="even"):
        lossless.encode(np.zeros((4, 5), np.uint16))
    with pytest.raises(ValueError, match="14 bits"):
        lossless.encode(np.full((4, 4), 1 << 14, np.uint16))
