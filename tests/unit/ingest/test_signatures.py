from __future__ import annotations

import pytest
from support.exif_bytes import box, tiff

from archive.ingest.signatures import Content, content_of, tiff_is_raw


@pytest.mark.parametrize(
    ("head", "content"),
    [
        (b"\xff\xd8\xff\xe0", Content.PICTURE),
        (b"\xff\xd8", None),
        (tiff({0x100: 1}), Content.TIFF),
        (tiff({0xC612: b"\1\4\0\0"}), Content.RAW),
        (b"IIRO\x08\0\0\0", Content.RAW),
        (box(b"ftyp", b"crx \0\0\0\1"), Content.RAW),
        (box(b"ftyp", b"avif\0\0\0\0"), Content.PICTURE),
        (box(b"ftyp", b"qt  \0\0\0\0"), Content.CLIP),
        (box(b"ftyp", b"M4A \0\0\0\0"), Content.SOUND),
        (b"RIFF\0\0\0\0WEBP", Content.PICTURE),
        (b"RIFF\0\0\0\0????", None),
        (b"\0\x05\x16\x07", Content.APPLE_DOUBLE),
        (b"\x47" + bytes(187), None),
        (b"", None),
    ],
)
def test_first_bytes_say_what_a_file_is(head: bytes, content: Content | None) -> None:
    assert content_of(head) is content


def test_a_preview_that_points_at_other_directories_stands_before_sensor_data() -> None:
    assert tiff_is_raw(tiff({0xFE: 1, 0x14A: 70000}))
    assert not tiff_is_raw(tiff({0xFE: 0, 0x14A: 70000}))
    assert not tiff_is_raw(b"II*\0\x08\0\0\0\xff\xff")
