"""What can be asked of a frame: each field once, with its kind of value, its help and an example."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from archive.catalogue.spellings import spellings


class FieldError(ValueError):
    """A value or mark that a field cannot be compared with; ``mark`` where the mark is at fault."""

    def __init__(self, message: str, *, mark: bool = False) -> None:
        super().__init__(message)
        self.mark = mark


@dataclass(frozen=True, kw_only=True)
class Within:
    """Between two bounds; None leaves a side open; ``low_in``, ``high_in``: whether the bound counts."""

    low: float | str | None = None
    high: float | str | None = None
    low_in: bool = True
    high_in: bool = True
    outside: bool = False
    """The other way round: known, and not within."""
    told: str = ""


@dataclass(frozen=True, kw_only=True)
class Text:
    """A text that is, or with ``start`` begins with, what is asked for; ``also`` are as good."""

    text: str
    start: bool = False
    outside: bool = False
    told: str = ""
    also: tuple[str, ...] = ()

    @property
    def texts(self) -> tuple[str, ...]:
        return (self.text, *self.also)


@dataclass(frozen=True, kw_only=True)
class Truth:
    """Yes or no."""

    yes: bool
    told: str = ""


Compare = Within | Text | Truth


_Reading = Callable[[str, str], Compare]
"""From a mark and a value to what is meant; FieldError where they make no sense."""


@dataclass(frozen=True, kw_only=True)
class Field:
    """One thing that can be asked: its name, how its values are read, what it means."""

    name: str
    compare: _Reading
    help: str
    example: str


def _number(units: Mapping[str, float], *, whole: bool = False) -> _Reading:
    """Reads comparisons of a number, a ``whole`` one where there are no others, that may carry a unit."""
    pattern = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+))(?:/(\d+\.?\d*))?([a-zA-Z°]*)", re.ASCII)

    def one(text: str) -> float:
        match = pattern.fullmatch(text.replace("−", "-").replace("f/", ""))
        unit = match[3].lower() if match else ""
        if match is None or unit not in units:
            known = ", ".join(name for name in units if name)
            raise FieldError(f"{_told(text)} is no number" + (f" in {known}" if known else ""))
        below = float(match[2]) if match[2] else 1.0
        value = float(match[1]) / below * units[unit] if below else math.inf
        if not math.isfinite(value):
            raise FieldError(f"{_told(text)} is no number")
        if whole and not value.is_integer():
            raise FieldError(f"{_told(text)} is no whole number")
        return value

    def read(mark: str, value: str) -> Compare:
        told = f"{mark} {value}"
        if ".." in value:
            if mark not in (":", "="):
                raise FieldError(f"a range is asked for with :, not with {mark}", mark=True)
            low, _, high = value.partition("..")
            if not (low or high):
                raise FieldError("a range needs a bound")
            return Within(low=one(low) if low else None, high=one(high) if high else None, told=told)
        bound = one(value)
        if mark in ("<", "<="):
            return Within(high=bound, high_in=mark == "<=", told=told)
        if mark in (">", ">="):
            return Within(low=bound, low_in=mark == ">=", told=told)
        return Within(low=bound, high=bound, outside=mark == "!=", told=told)

    return read


def _text(mark: str, value: str) -> Text:
    if mark not in (":", "=", "!="):
        raise FieldError(f"a text has no order: {mark} cannot be asked of it", mark=True)
    if not value or value == "*":
        raise FieldError("there is no text to look for")
    start = value.endswith("*")
    return Text(
        text=value[:-1] if start else value, start=start, outside=mark == "!=", told=f"{mark} {value}"
    )


def _file_name(mark: str, value: str) -> Compare:
    """Reads a text of which people do not mind the capitals."""
    read = _text(mark, value)
    return replace(read, also=spellings(read.text)[1:])


def _truth(mark: str, value: str) -> Compare:
    if mark not in (":", "="):
        raise FieldError(f"this is yes or no: {mark} cannot be asked of it", mark=True)
    if value.lower() not in ("yes", "no"):
        raise FieldError(f"{_told(value)} is neither yes nor no")
    return Truth(yes=value.lower() == "yes", told=f"{mark} {value}")


_PART_OF_DATE = re.compile(r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?", re.ASCII)


def _night(mark: str, value: str) -> Compare:
    """Nights by date, month or year; each stands for its first and its last day."""
    low, dots, high = value.partition("..")
    if dots and mark not in (":", "="):
        raise FieldError(f"a range is asked for with :, not with {mark}", mark=True)
    for part in (low, high) if dots else (low,):
        if part and not _PART_OF_DATE.fullmatch(part):
            raise FieldError(f"{_told(part)} is no date")
    if dots and not (low or high):
        raise FieldError("a range needs a bound")
    told = f"{mark} {value}"
    if dots:
        return Within(low=low or None, high=_last(high) if high else None, told=told)
    if mark in ("<", ">="):
        bound: dict[str, str] = {"high" if mark == "<" else "low": low}
        return Within(low=bound.get("low"), high=bound.get("high"), high_in=mark != "<", told=told)
    if mark in (">", "<="):
        last = _last(low)
        return Within(low=last, low_in=False, told=told) if mark == ">" else Within(high=last, told=told)
    return Within(low=low, high=_last(low), outside=mark == "!=", told=told)


def _last(date: str) -> str:
    """The greatest text that a date beginning so can be."""
    return date + "-99-99"[len(date) - 4 :] if len(date) < 10 else date


def _told(text: str) -> str:
    return "".join(char if char.isprintable() else "·" for char in text[:40])


_PLAIN = {"": 1.0}
_SECONDS = {"": 1.0, "s": 1.0, "ms": 0.001, "min": 60.0}
_DEGREES = {"": 1.0, "°": 1.0, "deg": 1.0}


def _declared() -> tuple[Field, ...]:
    def field(name: str, compare: _Reading, help: str, example: str) -> Field:
        return Field(name=name, compare=compare, help=help, example=example)

    return (
        field("night", _night, "the evening's date, a month or a year", "night:2026-03-18"),
        field("camera", _text, "its short name", "camera:north"),
        field("site", _text, "the site's name", 'site:"River bend"'),
        field("name", _file_name, "the camera's file name, capitals or not", "name:NOCT04*"),
        field("sequence", _number(_PLAIN, whole=True), "its number in the night", "sequence:2"),
        field("rating", _number(_PLAIN, whole=True), "-1 rejected, 0 none, 1 to 5", "rating>=4"),
        field("keyword", _text, "a keyword it has", 'keyword:"river ice"'),
        field("exposure", _number(_SECONDS), "seconds; also 1/60, 200ms, 2min", "exposure>=10s"),
        field("iso", _number(_PLAIN, whole=True), "the sensitivity that was set", "iso<=3200"),
        field("aperture", _number(_PLAIN), "the f-number", "aperture<=2.8"),
        field("focal", _number({"": 1.0, "mm": 1.0}), "focal length in mm", "focal:14..24"),
        field("sun", _number(_DEGREES), "the sun's altitude in degrees", "sun<-18"),
        field("moon", _number(_DEGREES), "the moon's altitude in degrees", "moon<0"),
        field("developed", _truth, "whether a recipe applies to it", "developed:yes"),
        field("exported", _truth, "whether something was made of it", "exported:no"),
    )


FIELDS: dict[str, Field] = {each.name: each for each in _declared()}
"""Every field by its name, in the order in which help lists them."""
