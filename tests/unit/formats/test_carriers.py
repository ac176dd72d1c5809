from __future__ import annotations

import io
import struct
import zlib

import pytest
from PIL import Image, PngImagePlugin, TiffImagePlugin
from support.exif_bytes import box

from archive.formats.carriers import JPEG_HEADER, MAX_PACKET, MP4_UUID, packet_in

PACKET = b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/"/>'


def picture(kind: str, **given: object) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (4, 3), (10, 20, 30)).save(out, kind, **given)
    return out.getvalue()


def found(data: bytes) -> bytes | None:
    return packet_in(io.BytesIO(data))


def test_a_packet_written_by_an_independent_writer_is_found_in_jpeg() -> None:
    assert found(picture("JPEG", xmp=PACKET)) == PACKET


@pytest.mark.parametrize("compressed", [False, True])
def test_a_packet_written_by_an_independent_writer_is_found_in_png(compressed: bool) -> None:
    text = PngImagePlugin.PngInfo()
    text.add_itxt("Comment", "before")
    text.add_itxt("XML:com.adobe.xmp", PACKET.decode(), zip=compressed)
    assert found(picture("PNG", pnginfo=text)) == PACKET


def test_a_packet_written_by_an_independent_writer_is_found_in_tiff() -> None:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[700] = PACKET
    tags.tagtype[700] = 1
    assert found(picture("TIFF", tiffinfo=tags)) == PACKET
    assert found(picture("TIFF", tiffinfo=tags, big_tiff=True)) == PACKET


def test_a_packet_is_found_in_a_big_endian_tiff() -> None:
    directory = struct.pack(">HHHII", 1, 700, 7, len(PACKET), 26) + bytes(4)
    assert found(b"MM\0*" + struct.pack(">I", 8) + directory + PACKET) == PACKET


def test_a_packet_is_found_in_mp4_and_mov() -> None:
    movie = box(b"ftyp", b"isom") + box(b"mdat", bytes(100))
    assert found(movie + box(b"uuid", bytes(16)) + box(b"uuid", MP4_UUID + PACKET)) == PACKET
    assert found(movie + box(b"moov", box(b"udta", box(b"XMP_", PACKET)))) == PACKET


def test_a_bare_packet_is_itself() -> None:
    assert found(PACKET) == PACKET
    assert found(b"\xef\xbb\xbf" + PACKET) == b"\xef\xbb\xbf" + PACKET


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_picture_without_a_packet_has_none(kind: str) -> None:
    assert found(picture(kind)) is None


LOOP = b"II*\0" + struct.pack("<I", 8) + struct.pack("<HHHIII", 1, 256, 3, 1, 1, 8)
HUGE = struct.pack("<HHHIII", 1, 700, 7, MAX_PACKET + 1, 26, 0)
BOMB = zlib.compress(bytes(MAX_PACKET * 4))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xd8",
        b"\xff\xd8\xff\xe1\0\0" + JPEG_HEADER,
        b"\xff\xd8" + b"\xff" * 10000,
        b"\xff\xd8" + b"\xff\xd0" * 10000,
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 0xFFFFFFFF) + b"iTXt",
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 22 + len(BOMB)) + b"iTXt"
        b"XML:com.adobe.xmp\0\1\0\0\0" + BOMB + bytes(4),
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 24) + b"iTXtXML:com.adobe.xmp\0\1\0\0\0xx" + bytes(4),
        LOOP,
        b"II*\0" + struct.pack("<I", 8) + HUGE + bytes(MAX_PACKET + 1),
        b"II*\0" + struct.pack("<I", 8) + struct.pack("<HHHIII", 1, 700, 7, 500, 26, 0) + b"short",
        b"II*\0" + struct.pack("<I", 0xFFFFFFF0),
        box(b"ftyp") + struct.pack(">I4s", 5, b"uuid"),
        b"not a picture",
    ],
)
def test_hostile_and_broken_files_have_no_packet(data: bytes) -> None:
    assert found(data) is None


def test_a_jpeg_is_not_read_beyond_its_headers() -> None:
    body = b"\xff\xda\0\x04\0\0" + b"\xff\xe1" + struct.pack(">H", 2 + len(JPEG_HEADER)) + JPEG_HEADER
    assert found(b"\xff\xd8" + body) is None
