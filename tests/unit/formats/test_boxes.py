from __future__ import annotations

import io
import struct

from support.exif_bytes import box

from archive.formats.boxes import MAX_BOXES, boxes, descend, size_of


def walked(data: bytes) -> list[tuple[bytes, int, int]]:
    return [(item.kind, item.start, item.end) for item in boxes(io.BytesIO(data), 0, len(data))]


def test_boxes_are_found_in_order() -> None:
    assert walked(box(b"ftyp", b"abcd") + box(b"free")) == [(b"ftyp", 8, 12), (b"free", 20, 20)]


def test_a_long_size_is_understood() -> None:
    data = struct.pack(">I4sQ", 1, b"mdat", 20) + b"abcd" + box(b"free")
    assert walked(data) == [(b"mdat", 16, 20), (b"free", 28, 28)]


def test_size_zero_reaches_to_the_end() -> None:
    assert walked(struct.pack(">I4s", 0, b"mdat") + b"abc") == [(b"mdat", 8, 11)]


def test_a_box_that_claims_too_much_ends_with_the_file() -> None:
    assert walked(struct.pack(">I4s", 1000, b"mdat") + b"abc") == [(b"mdat", 8, 11)]


def test_a_box_smaller_than_its_own_head_stops_the_walk() -> None:
    assert walked(struct.pack(">I4s", 4, b"mdat") + box(b"free")) == []


def test_the_number_of_boxes_is_bounded() -> None:
    assert len(walked(box(b"free") * (MAX_BOXES + 10))) == MAX_BOXES


def test_a_uuid_box_knows_its_uuid_and_its_content() -> None:
    data = box(b"uuid", bytes(range(16)) + b"text")
    (found,) = boxes(io.BytesIO(data), 0, len(data))
    assert found.uuid == bytes(range(16))
    assert found.read(io.BytesIO(data), 100) == b"text"
    assert found.read(io.BytesIO(data), 2) == b"te"


def test_descending_finds_boxes_inside_boxes() -> None:
    stream = io.BytesIO(box(b"moov", box(b"trak") + box(b"mvhd", b"x")) + box(b"mvhd"))
    (found,) = descend(stream, (b"moov", b"mvhd"), 0, size_of(stream))
    assert found.read(stream, 10) == b"x"
