"""Capture facts: what a file's own header says about how and when it was taken.

EXIF (CIPA DC-008) for pictures and raw files, the movie header (ISO/IEC 14496-12) for clips. A value
that cannot be is left out; one that is only hard to believe is kept and told as a fault.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, BinaryIO

from archive.errors import shown
from archive.formats.boxes import descend, size_of
from archive.ingest.headers import read_tags
from archive.model.capture import CaptureFacts

EARLIEST, LATEST = 1990, 2037
CLOCK_UNKNOWN = (
    "a movie's clock may be UTC or the camera's local time: its header does not tell which, "
    "many cameras write local time"
)

_DATE = re.compile(r"(\d{4})[:\-/.](\d\d)[:\-/.](\d\d)[ T](\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")
_LONGEST = 200
_MAX_ISO = 0xFFFF
_FIX_AGE = 15 * 60
"""Seconds: a satellite fix may be some minutes old; zones differ by a quarter of an hour at the least."""
_MOVIE_EPOCH = datetime(1904, 1, 1)

# (name, date tag, fraction tag, offset tag) in order of trust.
_DATES = (
    ("original", 0x9003, 0x9291, 0x9011),
    ("digitized", 0x9004, 0x9292, 0x9012),
    ("changed", 0x0132, 0x9290, 0x9010),
)


def read_facts(stream: BinaryIO, name: str) -> CaptureFacts:
    """What is known from the header; a file without one, or of an unknown kind, gives empty facts.

    Parameters
    ----------
    stream : seekable; at most some tens of MB of it are read.
    name : the file's name, for the words of a fault.
    """
    faults: list[str] = []
    try:
        tags, damage = read_tags(stream)
        if damage:
            faults.append(damage)
        facts = _facts(tags, faults)
        if "taken" not in facts:
            facts |= _movie_time(stream, faults)
    except (ValueError, ArithmeticError, IndexError, RecursionError, MemoryError) as error:
        faults.append(f"{shown(name)} has a header that could not be read ({type(error).__name__})")
        facts = {}
    return CaptureFacts(**facts, faults=tuple(dict.fromkeys(faults)))


def _facts(tags: Mapping[str, Mapping[int, Any]], faults: list[str]) -> dict[str, Any]:
    image, exif, gps = (tags.get(group, {}) for group in ("Image", "EXIF", "GPS"))

    def value(tag: int) -> Any:
        return exif.get(tag, image.get(tag))

    found: dict[str, Any] = _taken(image, exif, faults)
    found["gps_utc"] = _gps_utc(gps)
    astray = _astray(found)
    if astray:
        faults.append(astray)
    found["exposure_s"] = _number(value(0x829A), 1e-7, 1e6, "exposure time", faults)
    found["f_number"] = _number(value(0x829D), 0.5, 1024, "f-number", faults)
    found["focal_mm"] = _number(value(0x920A), 0.1, 1e5, "focal length", faults)
    found["iso"] = _iso(value)
    found["make"], found["model"] = _text(image.get(0x010F)), _text(image.get(0x0110))
    found["serial"] = _text(value(0xA431)) or _text(image.get(0xC62F))
    found["lens"] = _text(value(0xA434))
    found["orientation"] = _orientation(image.get(0x0112), faults)
    found["width"], found["height"] = _size(image, exif)
    return {key: item for key, item in found.items() if item is not None}


def _taken(image: Mapping[int, Any], exif: Mapping[int, Any], faults: list[str]) -> dict[str, Any]:
    """The first date of the three that can be one; older cameras keep all in the first directory."""

    def text(tag: int) -> str:
        return _text(exif.get(tag)) or _text(image.get(tag)) or ""

    blank = False
    for name, tag, fraction_tag, offset_tag in _DATES:
        if tag not in exif and tag not in image:
            continue
        written = text(tag)
        if not written.replace(":", "").replace("0", "").strip():
            blank = True
            continue
        reading = _date(written)
        if reading is None:
            faults.append(f"impossible date {shown(written[:40])!r} ({name})")
            continue
        if not EARLIEST <= reading.year <= LATEST:
            faults.append(f"implausible date {reading:%Y-%m-%d}: the camera's clock was hardly set")
        found = {"taken": reading.isoformat() + _fraction(text(fraction_tag)), "taken_from": name}
        offset = text(offset_tag)
        if not offset and text(0x0132) == written:
            offset = text(0x9010)
        if offset:
            known = _offset(offset)
            if known is None:
                faults.append(f"impossible difference from UTC {shown(offset[:20])!r}")
            else:
                found["offset"] = known
        return found
    if blank:
        faults.append("the date is blank: the camera's clock was not set")
    return {}


def _date(text: str) -> datetime | None:
    match = _DATE.match(text)
    if not match:
        return None
    try:
        return datetime(*(int(part) for part in match.groups()))  # type: ignore[arg-type]
    except ValueError:
        return None


def _fraction(text: str) -> str:
    """``.`` and the digits as written: ``04`` is four hundredths, ``4`` four tenths of a second."""
    digits = re.match(r"\d{1,9}", text)
    return f".{digits[0]}" if digits else ""


def _offset(text: str) -> str | None:
    if text.upper() == "Z":
        return "+00:00"
    match = _OFFSET.fullmatch(text)
    if not match or int(match[2]) > 14 or int(match[3]) > 59:
        return None
    return f"{match[1]}{match[2]}:{match[3]}"


def _gps_utc(gps: Mapping[int, Any]) -> str | None:
    date = re.match(r"(\d{4})[:\-](\d\d)[:\-](\d\d)", _text(gps.get(0x001D)) or "")
    parts = [_ratio(part) for part in _list(gps.get(0x0007))[:3]]
    if not date or len(parts) != 3 or None in parts:
        return None
    hours, minutes, seconds = (part or 0.0 for part in parts)
    try:
        day = datetime(int(date[1]), int(date[2]), int(date[3]))
        if not (0 <= hours < 24 and 0 <= minutes < 60 and 0 <= seconds < 61):
            return None
        moment = day + timedelta(hours=hours, minutes=minutes, seconds=round(seconds, 3))
    except (ValueError, OverflowError):
        return None
    return moment.isoformat() + "Z"


def _astray(found: Mapping[str, Any]) -> str | None:
    """What there is to say when a recorded offset and the satellites' time cannot both be right."""
    if not (found.get("taken") and found.get("offset") and found["gps_utc"]):
        return None
    own = datetime.fromisoformat(found["taken"] + found["offset"])
    apart = abs((own - datetime.fromisoformat(found["gps_utc"].replace("Z", "+00:00"))).total_seconds())
    if apart < _FIX_AGE:
        return None
    hours, minutes = divmod(round(apart / 60), 60)
    told = f"{hours} h {minutes:02d} min" if hours < 100 else f"{hours // 24} days"
    return (
        f"the camera's time and offset and the satellites' time are {told} apart: "
        "the offset or the clock is wrong, or the fix was old"
    )


def _number(value: Any, low: float, high: float, what: str, faults: list[str]) -> float | None:
    """A positive number; 0 and 0/0 are how cameras write that they do not know."""
    number = next((_ratio(item) for item in _list(value)), None)
    if number is None or number == 0:
        return None
    if not low <= number <= high:
        faults.append(f"implausible {what} {number:.4g}")
        return None
    return number


def _iso(value: Any) -> int | None:
    """PhotographicSensitivity, or from EXIF 2.3 on the longer fields beside it where it is full."""
    numbers = {}
    for tag in (0x8827, 0x8832, 0x8833, 0x8831):
        found = next((_ratio(item) for item in _list(value(tag))), None)
        if found is not None and 0 < found < 1e8:
            numbers[tag] = round(found)
    short = numbers.pop(0x8827, None)
    if short is not None and short < _MAX_ISO:
        return short
    return next(iter(numbers.values()), short)


def _orientation(value: Any, faults: list[str]) -> int | None:
    number = next((_ratio(item) for item in _list(value)), None)
    if number is None or number == 0:
        return None
    if number not in range(1, 9):
        faults.append(f"impossible orientation {number:.4g}")
        return None
    return int(number)


def _size(image: Mapping[int, Any], exif: Mapping[int, Any]) -> tuple[int | None, int | None]:
    """Width and height; a first directory that points at others describes only their preview."""
    pair = [exif.get(0xA002), exif.get(0xA003)]
    if None in pair and 0x014A not in image:
        pair = [image.get(0x0100), image.get(0x0101)]
    sides = [next((_ratio(item) for item in _list(value)), None) for value in pair]
    if any(side is None or not 1 <= side <= 1_000_000 for side in sides):
        return None, None
    return int(sides[0] or 0), int(sides[1] or 0)


def _list(value: Any) -> list[Any]:
    return list(value) if isinstance(value, list | tuple) else []


def _ratio(value: Any) -> float | None:
    """A tag's number as a float; None for 0/0 and for what is none."""
    try:
        if isinstance(value, tuple):
            value = value[0]
        denominator = getattr(value, "denominator", 1)
        if denominator == 0:
            return None
        number = value.numerator / denominator if hasattr(value, "numerator") else float(value)
    except (TypeError, ValueError, ArithmeticError, IndexError):
        return None
    return number if math.isfinite(number) else None


def _text(value: Any) -> str | None:
    """A tag's text without padding, NULs and controls; None for nothing, for dashes, for numbers."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    cleaned = "".join(char if char.isprintable() else " " for char in value[: 4 * _LONGEST])
    cleaned = " ".join(cleaned.split())[:_LONGEST]
    return cleaned if cleaned.strip("-") else None


def _movie_time(stream: BinaryIO, faults: list[str]) -> dict[str, Any]:
    """Creation time of a movie header: seconds since 1904, in a zone that it does not tell."""
    for box in descend(stream, (b"moov", b"mvhd"), 0, size_of(stream)):
        data = box.read(stream, 32)
        wide = data[:1] == b"\x01"
        if len(data) < (20 if wide else 12):
            break
        seconds = int.from_bytes(data[4:12] if wide else data[4:8], "big")
        if seconds == 0:
            break
        try:
            moment = _MOVIE_EPOCH + timedelta(seconds=seconds)
        except OverflowError:
            faults.append("impossible date in the movie header")
            break
        if not EARLIEST <= moment.year <= LATEST:
            faults.append(f"implausible date {moment:%Y-%m-%d}: the camera's clock was hardly set")
        faults.append(CLOCK_UNKNOWN)
        return {"taken": moment.isoformat(), "taken_from": "embedded"}
    return {}
