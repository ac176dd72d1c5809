"""Measures documents: values to bytes and back, and what is refused."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from typing import Any

import pytest
from support.surveys import document, measures

from archive.errors import ArchiveError, DamagedFileError
from archive.formats import survey
from archive.model.identity import canonical
from archive.model.survey import METHOD


def named(value: dict[str, Any], method: int = METHOD) -> tuple[bytes, str]:
    data = canonical(value)
    return data, f"measures-{method:02d}-{hashlib.sha256(data).hexdigest()[:16]}.json"


def plain() -> dict[str, Any]:
    value: dict[str, Any] = json.loads(survey.encode(document())[1])
    return value


def test_a_document_is_read_as_it_was_written_and_named_by_its_bytes() -> None:
    for made in (document(), document(1, 2, 3), document(seen=measures(brightness=-6.0, sharpness=None))):
        name, data = survey.encode(made)
        assert survey.decode(data, name) == made
        assert survey.encode(made) == (name, data)
        assert survey.method_of(name) == METHOD


def test_light_is_kept_to_a_millionth_of_clipping() -> None:
    made = document(seen=measures(light=0.0123456))
    read = survey.decode(survey.encode(made)[1], survey.encode(made)[0])
    assert read.frames[0].measures.cells.red[0] == 0.012346


def test_upright_frames_have_upright_cells() -> None:
    name, data = survey.encode(replace(document(), size=(20, 32)))
    cells = survey.decode(data, name).frames[0].measures.cells
    assert (cells.columns, cells.rows) == (8, 12)


def test_bytes_that_are_not_those_of_the_name_are_refused() -> None:
    name, data = survey.encode(document())
    for changed in (data[:-1], data.replace(b"0.55", b"0.56"), b""):
        with pytest.raises(DamagedFileError, match="changed after it was written"):
            survey.decode(changed, name)
    for other in ("measures.json", "measures-01-xyz.json", "../measures-01-0011223344556677.json"):
        assert survey.method_of(other) is None


@pytest.mark.parametrize(
    "change",
    [
        {"frames": []},
        {"size": [1, 2, 3]},
        {"roll": "../../etc"},
        {"type": "noctuary-entry"},
        {"slices": {"path": "slices/../../x.png", "size": 1, "digest": "xxh128:" + "0" * 32}},
        {"slices": {"path": "slices/0011223344556677.png", "size": 1, "digest": "xxh128:" + "0" * 32}},
    ],
)
def test_values_that_no_survey_writes_are_refused(change: dict[str, Any]) -> None:
    with pytest.raises(DamagedFileError):
        survey.decode(*named(plain() | change))


@pytest.mark.parametrize(
    "change",
    [
        {"frame": "frame 1"},
        {"clipped": 1.5},
        {"sharpness": "sharp"},
        {"likeness": "zz"},
        {"outline": {"across": "not base64!", "down": ""}},
        {"cells": {"red": [1], "green": [1], "blue": [1]}},
    ],
)
def test_frames_that_no_survey_writes_are_refused(change: dict[str, Any]) -> None:
    value = plain()
    value["frames"][0] |= change
    with pytest.raises(DamagedFileError):
        survey.decode(*named(value))


def test_a_newer_format_and_another_method_than_named_are_refused() -> None:
    with pytest.raises(ArchiveError, match="newer release"):
        survey.decode(*named(plain() | {"format": 2}))
    with pytest.raises(DamagedFileError, match="another method"):
        survey.decode(*named(plain(), method=METHOD + 1))
