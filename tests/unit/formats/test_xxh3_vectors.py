"""The installed XXH3-128 against the vectors of its reference repository.

Values: Cyan4973/xxHash, cli/xsum_sanity_check.c; the buffer is the one that program builds.
"""

from __future__ import annotations

import pytest
import xxhash

PRIME = 2654435761

VECTORS = [
    (0, 0, "99aa06d3014798d86001c324468d497f"),
    (0, PRIME, "92220ae55e14ab505444f7869c671ab0"),
    (1, 0, "a6cd5e9392000f6ac44bdff4074eecdb"),
    (6, 0, "082afe0b8162d12a3e7039bdda43cfc6"),
    (12, 0, "6e3efd8fc7802b18061a192713f69ad9"),
    (24, 0, "0ce966e4678d37611e7044d28b1b901d"),
    (48, 0, "a002ac4e5478227ef942219aed80f67b"),
    (81, 0, "4952f58181ab00425e8bafb9f95fb803"),
    (222, 0, "337e09641b948717f1aebd597cec6b3a"),
    (222, PRIME, "91820016621e97f1ae995bb8af917a8d"),
    (403, 0, "1b6de21e332dd73dcdeb804d65c6dea4"),
    (512, 0, "18d2d110dcc9bca1617e49599013cb6b"),
    (2048, 0, "f736557fd47073a5dd59e2c3a5f038e0"),
    (2240, 0, "ccb134fbfa7ce49d6e73a90539cf2948"),
    (2367, 0, "e89c0f6ff369b427cb37aeb9e5d361ed"),
    (2367, PRIME, "d23aae4b76c31ecb6f5360ae69c2f406"),
]


def sanity_buffer(length: int) -> bytes:
    out = bytearray()
    generator = PRIME
    for _ in range(length):
        out.append(generator >> 56 & 0xFF)
        generator = generator * 11400714785074694797 % 2**64
    return bytes(out)


@pytest.mark.parametrize(("length", "seed", "digest"), VECTORS)
def test_xxh3_128_gives_the_published_digest(length: int, seed: int, digest: str) -> None:
    assert xxhash.xxh3_128_hexdigest(sanity_buffer(length), seed=seed) == digest


@pytest.mark.parametrize(("length", "seed", "digest"), VECTORS)
def test_xxh3_128_in_pieces_gives_the_same_digest(length: int, seed: int, digest: str) -> None:
    stream = xxhash.xxh3_128(seed=seed)
    data = sanity_buffer(length)
    for start in range(0, length, 97):
        stream.update(data[start : start + 97])
    assert stream.hexdigest() == digest
