"""How people name things: ``2026-03-18/north/2#137``, a camera file name, or the start of an id."""

from __future__ import annotations

import re
from dataclasses import dataclass

from archive.errors import UsageError, shown

_PLACE = re.compile(
    r"(?P<night>\d{4}-\d\d-\d\d)(?:/(?P<camera>[^/#]+)(?:/(?P<number>\d+))?)?"
    r"(?:#(?P<first>\d+)(?:\.\.(?P<last>\d+))?)?",
    re.ASCII,
)
_MOST_DIGITS = 9
"""Of a sequence's or a frame's number; there is no longer one."""
_ID = re.compile(r"(?:xxh128:)?(?P<hex>[0-9a-f]{8,32})")


@dataclass(frozen=True, kw_only=True)
class Address:
    """A parsed name.

    ``night``, ``camera`` and ``number`` name a sequence or a part of it, ``first`` and ``last`` its frames
    counted from 1; else ``name`` is a camera file name, and ``digits`` are set where it may start an id.
    """

    text: str
    night: str | None = None
    camera: str | None = None
    number: int | None = None
    first: int | None = None
    last: int | None = None
    name: str | None = None
    digits: str | None = None


def parse_address(text: str) -> Address:
    """What a person typed, taken apart.

    Raises
    ------
    UsageError : for an empty name, a number that is too long for one, or a range that runs backwards or has
        no sequence to count in.
    """
    text = text.strip()
    if not text:
        raise UsageError("A frame needs a name.", hint="For instance 2026-03-18/north/2#137 or a file name.")
    match = _PLACE.fullmatch(text)
    if match is None:
        found = _ID.fullmatch(text)
        return Address(text=text, name=text, digits=found["hex"] if found else None)
    if any(len(match[part] or "") > _MOST_DIGITS for part in ("number", "first", "last")):
        raise UsageError(
            f"{shown(text[:60])} counts further than any sequence does.",
            hint="For instance 2026-03-18/north/2#40..410.",
        )
    number = int(match["number"]) if match["number"] else None
    first = int(match["first"]) if match["first"] else None
    last = int(match["last"]) if match["last"] else first
    if first is not None and number is None:
        raise UsageError(
            f"{shown(text)} counts frames, but names no sequence to count them in.",
            hint="Write NIGHT/CAMERA/NUMBER#FRAME, for instance 2026-03-18/north/2#137.",
        )
    if first is not None and last is not None and not 1 <= first <= last:
        raise UsageError(
            f"{shown(text)} is no range: frames count from 1, the first before the last.",
            hint="For instance 2026-03-18/north/2#40..410.",
        )
    return Address(
        text=text, night=match["night"], camera=match["camera"], number=number, first=first, last=last
    )
