"""Where files of other formats carry an XMP packet (ISO 16684-1 and the XMP specification, part 3).

Every walker reads a bounded part of the file and believes no length that it is told.
"""

from __future__ import annotations

import zlib
from typing import BinaryIO, Literal

from archive.formats.boxes import boxes, descend, size_of

MAX_PACKET = 4 * 1024 * 1024
JPEG_HEADER = b"http://ns.adobe.com/xap/1.0/\0"
PNG_KEYWORD = b"XML:com.adobe.xmp"
MP4_UUID = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")
TIFF_TAG = 700

_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_MAX_STEPS = 4096
_MAX_DIRECTORIES = 64
_TYPE_BYTES = {1: 1, 2: 1, 7: 1}


def packet_in(stream: BinaryIO) -> bytes | None:
    """The XMP packet of a JPEG, PNG, TIFF, MP4, MOV or bare XMP file; None when there is none."""
    stream.seek(0)
    head = stream.read(16)
    if head.startswith(b"\xff\xd8"):
        return _in_jpeg(stream)
    if head.startswith(_PNG_SIGNATURE):
        return _in_png(stream)
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return _in_tiff(stream, head)
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
        return _in_movie(stream)
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if text.startswith((b"<?xpacket", b"<x:xmpmeta", b"<?xml")):
        return _exactly(stream, 0, size_of(stream))
    return None


def _in_jpeg(stream: BinaryIO) -> bytes | None:
    at = 2
    for _ in range(_MAX_STEPS):
        stream.seek(at)
        head = stream.read(4)
        if len(head) < 4 or head[0] != 0xFF:
            return None
        marker, length = head[1], int.from_bytes(head[2:4], "big")
        if marker == 0xFF:
            at += 1
            continue
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 2
            continue
        if marker in (0xDA, 0xD9) or length < 2:
            return None
        if marker == 0xE1:
            content = stream.read(length - 2)
            if content.startswith(JPEG_HEADER):
                return content[len(JPEG_HEADER) :]
        at += 2 + length
    return None


def _in_png(stream: BinaryIO) -> bytes | None:
    at, end = len(_PNG_SIGNATURE), size_of(stream)
    for _ in range(_MAX_STEPS):
        stream.seek(at)
        head = stream.read(8)
        length, kind = int.from_bytes(head[:4], "big"), head[4:]
        if len(head) < 8 or kind == b"IEND" or at + 12 + length > end:
            return None
        if kind == b"iTXt" and length <= MAX_PACKET:
            keyword, _, rest = stream.read(length).partition(b"\0")
            if keyword == PNG_KEYWORD and len(rest) > 2:
                text = rest[2:].split(b"\0", 2)
                return _inflated(text[-1]) if rest[0] else text[-1]
        at += 12 + length
    return None


def _inflated(data: bytes) -> bytes | None:
    try:
        unpacking = zlib.decompressobj()
        text = unpacking.decompress(data, MAX_PACKET)
    except zlib.error:
        return None
    return text if unpacking.eof else None


def _in_tiff(stream: BinaryIO, head: bytes) -> bytes | None:
    order: Literal["little", "big"] = "little" if head[:1] == b"I" else "big"
    big = head[2:4] in (b"+\0", b"\0+")
    word, count_bytes, entry_bytes = (8, 8, 20) if big else (4, 2, 12)

    def number(data: bytes) -> int:
        return int.from_bytes(data, order)

    at = number(head[8:16]) if big else number(head[4:8])
    seen: set[int] = set()
    while at and at not in seen and len(seen) < _MAX_DIRECTORIES:
        seen.add(at)
        stream.seek(at)
        count = min(number(stream.read(count_bytes)), _MAX_STEPS)
        entries = stream.read(count * entry_bytes)
        for start in range(0, len(entries) - entry_bytes + 1, entry_bytes):
            entry = entries[start : start + entry_bytes]
            if number(entry[:2]) != TIFF_TAG:
                continue
            length = number(entry[4 : 4 + word]) * _TYPE_BYTES.get(number(entry[2:4]), 0)
            if 0 < length <= word:
                return entry[4 + word : 4 + word + length]
            return _exactly(stream, number(entry[4 + word :]), length)
        stream.seek(at + count_bytes + count * entry_bytes)
        at = number(stream.read(word))
    return None


def _in_movie(stream: BinaryIO) -> bytes | None:
    end = size_of(stream)
    for box in boxes(stream, 0, end):
        if box.uuid == MP4_UUID:
            return _exactly(stream, box.start, box.end - box.start)
    for box in descend(stream, (b"moov", b"udta", b"XMP_"), 0, end):
        return _exactly(stream, box.start, box.end - box.start)
    return None


def _exactly(stream: BinaryIO, start: int, length: int) -> bytes | None:
    """So many bytes from a place; None when that is no honest size for a packet, or they are not there."""
    if not 0 < length <= MAX_PACKET:
        return None
    stream.seek(start)
    data = stream.read(length)
    return data if len(data) == length else None
