"""What the first bytes of a file say it is, whatever its name."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal


class Content(StrEnum):
    """What bytes look like; ``TIFF`` may be a picture or one of many raw formats."""

    RAW = "raw"
    TIFF = "TIFF"
    PICTURE = "picture"
    CLIP = "clip"
    SOUND = "sound"
    APPLE_DOUBLE = "macOS resource data"


_STARTS: tuple[tuple[bytes, Content], ...] = (
    (b"\xff\xd8\xff", Content.PICTURE),
    (b"\x89PNG\r\n\x1a\n", Content.PICTURE),
    (b"\0\0\0\x0cJXL \r\n\x87\n", Content.PICTURE),
    (b"\0\0\0\x0cjP  \r\n\x87\n", Content.PICTURE),
    (b"FUJIFILMCCD-RAW", Content.RAW),
    (b"II\x1a\0\0\0HEAPCCDR", Content.RAW),
    (b"\0MRM", Content.RAW),
    (b"FOVb", Content.RAW),
    (b"IIRO", Content.RAW),
    (b"IIRS", Content.RAW),
    (b"MMOR", Content.RAW),
    (b"IIU\0", Content.RAW),
    (b"II*\0", Content.TIFF),
    (b"MM\0*", Content.TIFF),
    (b"II+\0", Content.TIFF),
    (b"MM\0+", Content.TIFF),
    (b"\0\x05\x16\x07", Content.APPLE_DOUBLE),
    (b"ID3", Content.SOUND),
    (b"fLaC", Content.SOUND),
    (b"OggS", Content.SOUND),
    (b"\x06\x0e\x2b\x34\x02\x05\x01\x01", Content.CLIP),
    (b"\x1a\x45\xdf\xa3", Content.CLIP),
    (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", Content.CLIP),
    (b"\0\0\x01\xba", Content.CLIP),
)
_RIFF = {b"AVI ": Content.CLIP, b"WAVE": Content.SOUND, b"WEBP": Content.PICTURE}
_STILL_BRANDS = frozenset(
    (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis")
)
_RAW_BRAND = b"crx "
_SOUND_BRANDS = frozenset((b"M4A ", b"M4B "))
_MOVIE_BOXES = frozenset((b"moov", b"mdat", b"wide", b"skip", b"pnot"))

_NEW_SUBFILE_TYPE, _PHOTOMETRIC, _SUB_IFDS, _DNG_VERSION = 254, 262, 330, 50706
_COLOUR_FILTER_ARRAY = 32803


def content_of(head: bytes) -> Content | None:
    """What a file's first bytes look like; None when nothing is recognised."""
    for start, content in _STARTS:
        if head.startswith(start):
            if content is Content.TIFF and tiff_is_raw(head):
                return Content.RAW
            return content
    kind, brand = head[4:8], head[8:12]
    if head[:4] == b"RIFF":
        return _RIFF.get(brand)
    if kind == b"ftyp":
        if brand == _RAW_BRAND:
            return Content.RAW
        if brand in _STILL_BRANDS:
            return Content.PICTURE
        return Content.SOUND if brand in _SOUND_BRANDS else Content.CLIP
    if kind in _MOVIE_BOXES:
        return Content.CLIP
    for packet, first in ((188, 0), (192, 4)):
        marks = head[first : first + packet * 4 : packet]
        if len(marks) == 4 and set(marks) == {0x47}:
            return Content.CLIP
    return None


def tiff_is_raw(head: bytes) -> bool:
    """Whether a TIFF's first directory says that the sensor's data is inside.

    It does when it names a DNG version, a colour filter array, or is itself only a reduced preview
    that points at other directories.
    """
    order: Literal["little", "big"] = "little" if head[:1] == b"I" else "big"

    def number(at: int, length: int) -> int:
        return int.from_bytes(head[at : at + length], order)

    if head[8:10] == b"CR":
        return True
    directory = number(4, 4)
    if directory + 2 > len(head):
        return False
    found: dict[int, int] = {}
    for entry in range(min(number(directory, 2), 512)):
        at = directory + 2 + 12 * entry
        if at + 12 > len(head):
            break
        short = number(at + 2, 2) == 3
        found[number(at, 2)] = number(at + 8, 2 if short else 4)
    if _DNG_VERSION in found or found.get(_PHOTOMETRIC) == _COLOUR_FILTER_ARRAY:
        return True
    return _SUB_IFDS in found and found.get(_NEW_SUBFILE_TYPE, 0) & 1 == 1
