"""How long texts may be and what facts may hold, for the catalogue to keep them and give them back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from archive.model.capture import CaptureFacts

LARGEST = 2**63 - 1
LONGEST = {
    "path": 1000,
    "folder": 400,
    "camera": 80,
    "site": 80,
    "night": 10,
    "modified": 40,
    "made": 20,
    "digest": 50,
    "frame": 50,
    "file_key": 80,
    "pixel_key": 80,
    "effective": 80,
    "document_id": 80,
    "instance_id": 80,
    "name": 200,
    "zone": 80,
    "make": 200,
    "model": 200,
    "serial": 200,
}
"""Characters that the catalogue keeps of a text, by its field; any other may have ``_TEXT``."""
_TEXT = 10_000
_FACTS: dict[str, tuple[type, ...]] = {
    "exposure_s": (int, float),
    "f_number": (int, float),
    "focal_mm": (int, float),
    "iso": (int,),
    "orientation": (int,),
    "width": (int,),
    "height": (int,),
    "faults": (list,),
}
_KNOWN = [(name, _FACTS.get(name, (str,))) for name in CaptureFacts.__dataclass_fields__]


def check_facts(value: Mapping[str, Any]) -> dict[str, Any]:
    """What is known among facts that a file or a person told, each of its own kind.

    Raises
    ------
    TypeError, AttributeError : for what are no facts.
    """
    known: dict[str, Any] = {}
    held_of = value.get
    # In the order of the fields, as catalogues have always kept them.
    for name, wanted in _KNOWN:
        held = held_of(name)
        if held is None:
            continue
        if type(held) not in wanted:
            raise TypeError(f"{name} is {held!r}")
        if held != []:
            known[name] = held
    return known


def check_moment(text: str) -> None:
    if datetime.fromisoformat(text).tzinfo is None:
        raise ValueError(f"the time {text} is without zone")


def check_texts(value: Mapping[str, Any], *keys: str) -> None:
    for key in keys:
        check_text(value[key], LONGEST.get(key, _TEXT))


def check_text(value: object, longest: int = _TEXT) -> None:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    if len(value) > longest or "\0" in value:
        raise ValueError(f"a text of {len(value)} characters where {longest} are the most, or one with a NUL")
