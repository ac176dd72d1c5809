from __future__ import annotations

import io

from support.exif_bytes import tiff

from archive.ingest.headers import MAX_READ, BoundedReader, read_tags


def test_tags_are_given_by_directory_and_number() -> None:
    tags, fault = read_tags(io.BytesIO(tiff({0x010F: "N"}, {0x8827: 800}, {0x1D: "2026:03:18"})))
    assert fault is None
    assert tags["Image"][0x010F] == "N"
    assert tags["EXIF"][0x8827] == [800]
    assert tags["GPS"][0x1D] == "2026:03:18"


def test_a_file_of_an_unknown_kind_has_no_tags_and_no_fault() -> None:
    assert read_tags(io.BytesIO(b"plain text")) == ({}, None)


def test_a_bounded_reader_is_a_window_that_ends() -> None:
    reader = BoundedReader(io.BytesIO(b"0123456789"), 2, 8)
    assert reader.read() == b"234567"
    assert reader.seek(-2, io.SEEK_END) == 4
    assert (reader.read(1), reader.tell(), reader.read(5), reader.read(5)) == (b"6", 5, b"7", b"")
    tired = BoundedReader(io.BytesIO(bytes(1024)))
    total = 0
    while got := tired.read(1024):
        total += len(got)
        tired.seek(0)
    assert total == MAX_READ
    assert tired.exhausted


def test_an_overlay_shows_in_every_read_that_touches_it() -> None:
    reader = BoundedReader(io.BytesIO(b"....ftypheix...."), overlay=b"heic")
    assert reader.read(16) == b"....ftypheic...."
    reader.seek(10)
    assert reader.read(4) == b"ic.."
    reader.seek(0)
    assert reader.read(10) == b"....ftyphe"
