"""The document of an unfinished ingest, there and back."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from archive.errors import ArchiveError, DamagedFileError
from archive.formats.incoming import (
    Incoming,
    Placement,
    PlannedRoll,
    decode,
    decode_proven,
    encode,
    encode_proven,
)
from archive.model.capture import CaptureFacts, Role
from archive.model.identity import FrameId, canonical

PLACEMENT = Placement(
    source="DCIM/100NOCTU/NOCT0412.DNG",
    path="100NOCTU/NOCT0412.DNG",
    size=31_457_280,
    modified_ns=1_773_873_060_123_456_789,
    role=Role.RAW,
    facts=CaptureFacts(taken="2026-03-18T23:30:15", exposure_s=8),
    companion_of=None,
)
SOUND = replace(
    PLACEMENT, path="100NOCTU/NOCT0412.WAV", role=Role.SOUND, facts=None, companion_of=PLACEMENT.source
)
INCOMING = Incoming(
    id="c0a8f0f2b6e14d0c9a7d5e3f1b2a4c6d",
    started="2026-03-19T06:01:50+00:00",
    person="Ingrid",
    rolls=(
        PlannedRoll(
            id="7c1f9a2e",
            folder="2026-03-18/north-7c1f9a2e",
            camera="camera:3f2a9c1d7be04865",
            night="2026-03-18",
            site=None,
            card="A07",
            files=(PLACEMENT, SOUND),
        ),
    ),
)


def altered(**changed: Any) -> bytes:
    document = json.loads(encode(INCOMING))
    document["rolls"][0]["files"][0] |= changed
    return canonical(document)


def test_an_unfinished_ingest_comes_back_as_it_was_written() -> None:
    assert decode(encode(INCOMING), "incoming.json") == INCOMING


def test_the_nanoseconds_of_a_file_time_survive_to_the_last_digit() -> None:
    assert decode(encode(INCOMING), "i").rolls[0].files[0].modified_ns == 1_773_873_060_123_456_789


def test_a_time_before_1970_survives() -> None:
    assert decode(altered(modified_ns="-1000000000"), "i").rolls[0].files[0].modified_ns == -1_000_000_000


@pytest.mark.parametrize(
    "changed",
    [
        {"modified_ns": "soon"},
        {"modified_ns": 1773873060},
        {"modified_ns": ""},
        {"role": "poem"},
        {"size": -1},
        {"size": "1"},
        {"facts": []},
        {"source": None},
    ],
)
def test_an_impossible_placement_is_told_as_damage_with_its_field(changed: dict[str, Any]) -> None:
    with pytest.raises(DamagedFileError, match=rf"i\.json .*rolls\.0\.files\.0\.{next(iter(changed))}"):
        decode(altered(**changed), "i.json")


@pytest.mark.parametrize("role", list(Role))
def test_every_role_can_be_planned(role: Role) -> None:
    assert decode(altered(role=str(role)), "i").rolls[0].files[0].role is role


def test_a_newer_plan_is_refused_by_name() -> None:
    data = canonical(json.loads(encode(INCOMING)) | {"format": 2})
    with pytest.raises(ArchiveError, match=r"i\.json was written by a newer release"):
        decode(data, "i.json")


def test_what_was_proven_is_read_back_as_it_was_written() -> None:
    digests = {"2026-03-18/north-7c1f9a2e/100NOCTU/B.JPG": FrameId("xxh128:" + "1" * 32), "A": FrameId("x")}
    assert decode_proven(encode_proven("c0a8", digests), "a.proven") == ("c0a8", digests)
    with pytest.raises(DamagedFileError, match=r"a\.proven is no noctuary-proven document"):
        decode_proven(encode(INCOMING), "a.proven")
