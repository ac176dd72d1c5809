"""Whether a statement's value can be read at all, before anything of its entry is taken in.

A journal may come from anyone. What passes here can be stored and read back by the rest of the catalogue;
what does not is set aside with its entry, so that one odd value never takes the others down.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from archive.catalogue.registers import clock_from_value, site_from_value
from archive.journal.current import Statement
from archive.model.capture import CaptureFacts
from archive.model.entry import HOUSE, LENS, LINE, LINE_NAME, RECIPE_NOTE, TEXT
from archive.model.identity import canonical, is_frame_id, sha256_id
from archive.model.lens import LensCandidate
from archive.model.product import Spec
from archive.model.recipe import EffectiveRecipe, HouseRecipe
from archive.model.roll import roll_from_value

_LARGEST = 2**63 - 1
_LONGEST = {
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
_NAME = 300
"""Characters of a file's name, the last part of its path."""
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


def check_value(statement: Statement) -> None:
    """Nothing, for a value that can be read; layers unknown here may hold anything.

    Raises
    ------
    LookupError, TypeError, ValueError, AttributeError, OverflowError, OSError : when it cannot.
    """
    check = _CHECKS.get(statement.layer)
    if check is not None:
        check(statement)


def _ingest(statement: Statement) -> None:
    token = statement.subject.removeprefix("roll:")
    roll = roll_from_value(token, statement.value)
    if not re.fullmatch("[0-9a-f]{8}", token) or not roll.folder.endswith(f"-{token}"):
        raise ValueError("a roll's folder does not end in its id")
    _texts(statement.value, "folder", "camera", "night")
    _text(roll.site or "", _LONGEST["site"])
    _text(roll.card or "")
    if len({file.path for file in roll.files}) != len(roll.files):
        raise ValueError("a roll lists a path twice")
    for file, value in zip(roll.files, statement.value["files"], strict=True):
        _texts(value, "path", "modified")
        _text(file.path.rpartition("/")[2], _NAME)
        if not is_frame_id(file.digest) or not 0 <= file.size <= _LARGEST:
            raise ValueError(f"impossible digest or size of {file.path}")
        if file.companion_of is not None and not is_frame_id(file.companion_of):
            raise ValueError(f"{file.path} belongs to no frame")
        _text(file.original or "")
        _moment(file.modified)
        if file.facts is not None:
            _check_facts(value["facts"])


def _lens(statement: Statement) -> None:
    LensCandidate.from_json(statement.value["candidate"])
    _texts(statement.value, "source")


def _facts(statement: Statement) -> None:
    _check_facts(statement.value)


def _check_facts(value: Mapping[str, Any]) -> None:
    for key in CaptureFacts.__dataclass_fields__:
        held = value.get(key)
        wanted = _FACTS.get(key, (str,))
        if held is not None and (not isinstance(held, wanted) or isinstance(held, bool)):
            raise TypeError(f"{key} is {held!r}")
    CaptureFacts.from_json(value)


def _site(statement: Statement) -> None:
    site = site_from_value(statement.subject, statement.value)
    _texts(statement.value, "name", "zone")
    ZoneInfo(site.zone)


def _camera(statement: Statement) -> None:
    _texts(statement.value, "name", "make", "model", "serial")


def _clock(statement: Statement) -> None:
    if statement.value is not None:
        clock = clock_from_value(statement.value)
        for moment in (clock.reads, clock.true, clock.since, clock.until):
            if moment is not None and moment.tzinfo is None:
                raise ValueError("a clock's time is without zone")


def _number(statement: Statement) -> None:
    value = statement.value
    _texts(value, "night", "camera")
    if not isinstance(value["number"], int) or not 1 <= value["number"] <= _LARGEST:
        raise ValueError(f"{value['number']!r} is no number of a sequence")


def _activity(statement: Statement) -> None:
    value = statement.value
    _texts(value, "path", "digest", "from", "until")
    _moment(value["from"])
    _moment(value["until"])
    if not is_frame_id(value["digest"]) or value["path"].partition("/")[0] != "activity":
        raise ValueError(f"{value['path']} is no kept file of the index")


def _levelling(statement: Statement) -> None:
    if statement.value is None:
        return
    stops = statement.value["stops"]
    if not isinstance(stops, list) or not stops:
        raise TypeError("a levelling lists no stops")
    for each in stops:
        if type(each) not in (int, float) or not -16 <= each <= 16:
            raise ValueError(f"{each!r} is no level")


def _title(statement: Statement) -> None:
    _text(statement.value)


def _pairing(statement: Statement) -> None:
    if statement.value is None:
        return
    frame = statement.value["frame"]
    if not is_frame_id(frame) or not is_frame_id(statement.subject) or frame == statement.subject:
        raise ValueError(f"{frame!r} is no frame that a companion could stand for")


def _rating(statement: Statement) -> None:
    if type(statement.value) is not int or not -1 <= statement.value <= 5:
        raise ValueError(f"{statement.value!r} is no rating")


def _delivered(statement: Statement) -> None:
    value = statement.value
    _text(statement.subject.removeprefix("job:"), 40)
    _texts(value, "made")
    Spec.from_json(value["spec"])
    for key, document in value["effective"].items():
        EffectiveRecipe.from_json(document)
        if sha256_id(canonical(document)) != key:
            raise ValueError(f"an effective recipe is filed under another key than its own, {key}")
    for output in value["outputs"]:
        _texts(output, "path", "digest", "file_key", "document_id", "instance_id")
        if not isinstance(output["size"], int) or not 0 <= output["size"] <= _LARGEST:
            raise ValueError(f"impossible size of {output['path']}")
        texts = output.get("texts", {})
        if not isinstance(texts, dict):
            raise TypeError(f"{texts!r} is no list of texts")
        for text in texts.values():
            _text(text)
        for origin in output["inputs"]:
            _texts(origin, "frame", "pixel_key", "effective")
            for version in origin["versions"]:
                _text(version)


def _query(statement: Statement) -> None:
    _text(statement.value)


def _keyword(statement: Statement) -> None:
    if not isinstance(statement.value, bool):
        raise TypeError(f"{statement.value!r} neither gives a keyword nor takes it off")


def _name(statement: Statement) -> None:
    _text(statement.value, _LONGEST["name"])


def _optional(statement: Statement) -> None:
    if statement.value is not None:
        _text(statement.value)


def _house(statement: Statement) -> None:
    if statement.value is not None:
        HouseRecipe.from_json(statement.value)
        _texts(statement.value, "name")


def _volume(statement: Statement) -> None:
    _texts(statement.value, "name", "created")


def _moment(text: str) -> None:
    if datetime.fromisoformat(text).tzinfo is None:
        raise ValueError(f"the time {text} is without zone")


def _texts(value: Mapping[str, Any], *keys: str) -> None:
    for key in keys:
        _text(value[key], _LONGEST.get(key, _TEXT))


def _text(value: object, longest: int = _TEXT) -> None:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    if len(value) > longest or "\0" in value:
        raise ValueError(f"a text of {len(value)} characters where {longest} are the most, or one with a NUL")


_CHECKS: dict[str, Callable[[Statement], None]] = {
    HOUSE: _house,
    LENS: _lens,
    LINE: _name,
    LINE_NAME: _name,
    RECIPE_NOTE: _optional,
    TEXT: _optional,
    "keyword": _keyword,
    "volume": _volume,
    "activity": _activity,
    "camera": _camera,
    "clock": _clock,
    "delivered": _delivered,
    "facts": _facts,
    "ingest": _ingest,
    "levelling": _levelling,
    "pairing": _pairing,
    "query": _query,
    "rating": _rating,
    "sequence-number": _number,
    "sequence-title": _title,
    "site": _site,
}
