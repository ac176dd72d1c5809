"""The value of an ingest statement, there and back."""

from __future__ import annotations

import json
from typing import Any

import pytest
from support.builders import frame_id, roll, roll_file

from archive.model.capture import Role, Roll, RollFile
from archive.model.identity import canonical
from archive.model.roll import VolumeProof, roll_from_value, roll_value

COMPANION = RollFile(
    path="100NOCTU/NOCT0001.WAV",
    size=3,
    digest=frame_id(50),
    role=Role.SOUND,
    modified="2026-03-18T22:31:00.000+00:00",
    original="DCIM/100NOCTU/NOCT0001.WAV",
    companion_of=frame_id(1),
)


def value_of(held: Roll) -> dict[str, Any]:
    return roll_value(held, started="s", ended="e", volumes=(VolumeProof(volume="v", grade="direct"),))


def test_a_roll_comes_back_from_the_bytes_it_was_written_as() -> None:
    held = roll([roll_file(1, seconds=0), COMPANION])
    value = json.loads(canonical(value_of(held)))
    assert roll_from_value(held.id, value) == held
    assert value["volumes"] == [{"volume": "v", "grade": "direct"}]
    assert (value["started"], value["ended"]) == ("s", "e")


def test_what_is_not_known_of_a_file_is_not_written() -> None:
    bare = RollFile(path="a", size=1, digest=frame_id(1), role=Role.UNKNOWN, modified="m")
    (file,) = value_of(roll([bare]))["files"]
    assert set(file) == {"path", "size", "digest", "role", "modified"}


@pytest.mark.parametrize("missing", ["folder", "camera", "night", "site", "card", "files"])
def test_a_roll_without_one_of_its_fields_is_refused(missing: str) -> None:
    value = value_of(roll([COMPANION]))
    del value[missing]
    with pytest.raises(KeyError, match=missing):
        roll_from_value("7c1f9a2e", value)


def test_a_role_that_is_none_is_refused() -> None:
    value = value_of(roll([COMPANION]))
    value["files"][0]["role"] = "poem"
    with pytest.raises(ValueError, match="poem"):
        roll_from_value("7c1f9a2e", value)
