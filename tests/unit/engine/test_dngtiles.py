"""Compressed pieces of a DNG: what gives doubt is not read."""

import numpy as np
import pytest
from support.dngs import dng
from support.tinydng import night_mosaic

from archive.engine.dng import Layout, layout_of
from archive.engine.dngtiles import decode_into


def whole(**changes: object) -> tuple[bytes, Layout]:
    data = dng(night_mosaic(32, 96, seed=2), bits=14, compressed=True, tile=(48, 16), **changes)
    layout = layout_of(data)
    assert layout is not None
    return data, layout


def decoded(data: bytes, layout: Layout) -> bool:
    return decode_into(data, layout, np.empty((layout.height, layout.width), np.uint16))


def replaced(old: bytes, new: bytes) -> bool:
    data, layout = whole()
    assert old in data
    return decoded(data.replace(old, new, 1), layout)


def test_whole_pieces_are_read() -> None:
    assert decoded(*whole())


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"\xff\xd8\xff\xc3", b"\xff\xd8\xff\xc0"),
        (b"\xff\xd8\xff\xc3", b"\xff\xd9\xff\xc3"),
        (b"\xff\xc3\x00\x0e", b"\xff\xc3\x00\x01"),
        (b"\xff\xc3\x00\x0e", b"\xff\xc3\xff\xff"),
        (b"\xff\xc3\x00\x0e\x0e", b"\xff\xc3\x00\x0e\x11"),
        (b"\xff\xc3\x00\x0e\x0e", b"\xff\xc3\x00\x0e\x0a"),
        (b"\x00\x11\x00\x01\x11\x00", b"\x00\x11\x00\x01\x21\x00"),
        (b"\x00\x11\x00\x01\x11\x00", b"\x00\x11\x00\x02\x11\x00"),
        (b"\xff\xc4\x00\x24\x00", b"\xff\xc4\x00\x24\x02"),
        (b"\xff\xc4\x00\x24", b"\xff\xdd\x00\x24"),
        (b"\xff\xc4\x00\x24\x00\x00\x00\x00\x00\x11", b"\xff\xc4\x00\x24\x00\x00\x00\x00\x00\x51"),
        (
            b"\xff\xda\x00\x0a\x02\x00\x00\x01\x00\x01\x00\x00",
            b"\xff\xda\x00\x0a\x02\x00\x00\x01\x00\x01\x00\x01",
        ),
        (b"\xff\xda\x00\x0a\x02\x00\x00\x01\x00\x01", b"\xff\xda\x00\x0a\x02\x00\x00\x01\x00\x08"),
        (b"\xff\xda\x00\x0a\x02", b"\xff\xda\x00\x0a\x01"),
    ],
)
def test_a_header_that_says_anything_else_is_not_read(old: bytes, new: bytes) -> None:
    assert not replaced(old, new)


def test_a_stream_of_another_size_than_its_tile_is_not_read() -> None:
    assert not replaced(b"\x0e\x00\x10\x00\x18\x02", b"\x0e\x00\x10\x00\x17\x02")


def test_values_beyond_the_precision_are_not_read() -> None:
    """A stream may add up to more than its bits hold; LibRaw complains of it, so it is for LibRaw to say."""
    mosaic = np.full((16, 96), 16383, np.uint16)
    data = dng(mosaic, bits=14, compressed=True, tile=(48, 16))
    layout = layout_of(data)
    assert layout is not None
    changed = bytearray(data)
    start = data.index(b"\xff\xda") + 12
    # The first code is that of a difference of 13 bits: five bits of code, then the difference itself.
    assert changed[start] >> 3 == 13
    changed[start] = (14 << 3) | 7
    assert not decoded(bytes(changed), layout)
