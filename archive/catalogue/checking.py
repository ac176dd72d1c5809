"""Whether a statement's value can be read at all, before anything of its entry is taken in.

A journal may come from anyone. What passes here can be stored and read back by the rest of the catalogue;
what does not is set aside with its entry, so that one odd value never takes the others down.
"""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from archive.catalogue.limits import LARGEST, LONGEST, check_facts, check_moment, check_text, check_texts
from archive.catalogue.registers import clock_from_value, site_from_value
from archive.catalogue.rollrows import roll_rows
from archive.journal.current import Statement
from archive.model.entry import HOUSE, LENS, LINE, LINE_NAME, RECIPE_NOTE, TEXT
from archive.model.identity import canonical, is_frame_id, sha256_id
from archive.model.lens import LensCandidate
from archive.model.product import Spec
from archive.model.recipe import EffectiveRecipe, HouseRecipe


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
    roll_rows(statement)


def _lens(statement: Statement) -> None:
    if statement.value is None:
        return
    LensCandidate.from_json(statement.value["candidate"])
    check_texts(statement.value, "source")


def _facts(statement: Statement) -> None:
    check_facts(statement.value)


def _site(statement: Statement) -> None:
    site = site_from_value(statement.subject, statement.value)
    check_texts(statement.value, "name", "zone")
    ZoneInfo(site.zone)


def _camera(statement: Statement) -> None:
    check_texts(statement.value, "name", "make", "model", "serial")


def _clock(statement: Statement) -> None:
    if statement.value is not None:
        clock = clock_from_value(statement.value)
        for moment in (clock.reads, clock.true, clock.since, clock.until):
            if moment is not None and moment.tzinfo is None:
                raise ValueError("a clock's time is without zone")


def _number(statement: Statement) -> None:
    value = statement.value
    check_texts(value, "night", "camera")
    if not isinstance(value["number"], int) or not 1 <= value["number"] <= LARGEST:
        raise ValueError(f"{value['number']!r} is no number of a sequence")


def _activity(statement: Statement) -> None:
    value = statement.value
    check_texts(value, "path", "digest", "from", "until")
    check_moment(value["from"])
    check_moment(value["until"])
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
    check_text(statement.value)


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
    check_text(statement.subject.removeprefix("job:"), 40)
    check_texts(value, "made")
    Spec.from_json(value["spec"])
    for key, document in value["effective"].items():
        EffectiveRecipe.from_json(document)
        if sha256_id(canonical(document)) != key:
            raise ValueError(f"an effective recipe is filed under another key than its own, {key}")
    for output in value["outputs"]:
        check_texts(output, "path", "digest", "file_key", "document_id", "instance_id")
        if not isinstance(output["size"], int) or not 0 <= output["size"] <= LARGEST:
            raise ValueError(f"impossible size of {output['path']}")
        texts = output.get("texts", {})
        if not isinstance(texts, dict):
            raise TypeError(f"{texts!r} is no list of texts")
        for text in texts.values():
            check_text(text)
        for origin in output["inputs"]:
            check_texts(origin, "frame", "pixel_key", "effective")
            for version in origin["versions"]:
                check_text(version)


def _query(statement: Statement) -> None:
    check_text(statement.value)


def _keyword(statement: Statement) -> None:
    if not isinstance(statement.value, bool):
        raise TypeError(f"{statement.value!r} neither gives a keyword nor takes it off")


def _name(statement: Statement) -> None:
    check_text(statement.value, LONGEST["name"])


def _optional(statement: Statement) -> None:
    if statement.value is not None:
        check_text(statement.value)


def _house(statement: Statement) -> None:
    if statement.value is not None:
        HouseRecipe.from_json(statement.value)
        check_texts(statement.value, "name")


def _volume(statement: Statement) -> None:
    check_texts(statement.value, "name", "created")


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
