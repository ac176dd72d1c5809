"""Entries as bytes, and everything that is refused on the way back."""

from __future__ import annotations

import json
from typing import Any

import pytest
from support.builders import WRITER, entry_id, frame_id, rating

from archive.errors import DamagedFileError
from archive.formats import entry as entry_format
from archive.formats.entry import NAME, decode, encode, entry_name
from archive.model.entry import Change, Entry
from archive.model.identity import canonical, sha256_id


def written(**changed: Any) -> tuple[Entry, bytes]:
    values: dict[str, Any] = {
        "kind": "rating",
        "counter": 1723,
        "time": "2026-03-19T06:15:02Z",
        "writer": WRITER,
        "previous": entry_id(1),
        "person": "Ingrid",
        "changes": (rating(1, 3),),
    }
    return encode(**values | changed)


def rewritten(**changed: Any) -> tuple[str, bytes]:
    """A name that fits bytes which were made by another hand."""
    document = json.loads(written()[1]) | changed
    data = canonical(document)
    return entry_name(1723, "2026-03-19T06:15:02Z", "rating", sha256_id(data)), data


def test_an_entry_comes_back_as_it_was_written() -> None:
    change = Change(
        subjects=(frame_id(1), frame_id(2)),
        layer="keyword",
        line="river ice",
        builds_on=(entry_id(8), entry_id(9)),
        value={"any": ["thing", 0.5, None]},
    )
    made, data = written(changes=(change, rating(3, -1)), essential=True)
    assert decode(data, made.name) == made
    assert decode(data, made.name).essential


def test_an_entry_is_named_by_counter_time_kind_and_its_own_digest() -> None:
    made, data = written()
    assert made.id == sha256_id(data)
    assert made.name == f"0000001723-20260319T061502Z-rating-{made.id[7:23]}.json"
    assert NAME.fullmatch(made.name)


def test_the_bytes_of_an_entry_are_canonical() -> None:
    _, data = written()
    assert canonical(json.loads(data)) == data


def test_any_flipped_bit_is_noticed() -> None:
    made, data = written()
    for position in range(0, len(data), 7):
        damaged = bytearray(data)
        damaged[position] ^= 1
        with pytest.raises(DamagedFileError, match=f"{made.name} is damaged"):
            decode(bytes(damaged), made.name)


def test_a_truncated_entry_is_damaged() -> None:
    made, data = written()
    with pytest.raises(DamagedFileError, match="do not match its name"):
        decode(data[:-1], made.name)


@pytest.mark.parametrize(
    "wrong",
    [
        "0000001724-20260319T061502Z-rating-{id}.json",
        "0000001723-20260319T061503Z-rating-{id}.json",
        "0000001723-20260319T061502Z-recipe-{id}.json",
    ],
)
def test_a_renamed_entry_is_set_aside(wrong: str) -> None:
    made, data = written()
    with pytest.raises(DamagedFileError, match="was renamed"):
        decode(data, wrong.format(id=made.id[7:23]))


@pytest.mark.parametrize(
    "name",
    [
        "notes.txt",
        "1723-20260319T061502Z-rating-{id}.json",
        "0000001723-20260319T061502Z-Rating-{id}.json",
        "0000001723-20260319T061502Z-rating-{id}.json.part",
        "0000001723-20260319T061502Z-rating-{id}.json\n",
        "٠٠٠٠٠٠١٧٢٣-20260319T061502Z-rating-{id}.json",
    ],
)
def test_a_file_that_is_not_named_like_an_entry_is_none(name: str) -> None:
    made, data = written()
    with pytest.raises(DamagedFileError, match="not named like a journal entry"):
        decode(data, name.format(id=made.id[7:23]))


def test_of_a_newer_format_only_what_every_format_keeps_is_read() -> None:
    changes = [{"subjects": [frame_id(1), "roll:7c1f9a2e"], "what": {"of": "a later day"}}]
    name, data = rewritten(format=2, essential=True, changes=changes)
    read = decode(data, name)
    assert read.newer and read.essential and not read.understood
    assert (read.writer, read.previous, read.counter) == (WRITER, entry_id(1), 1723)
    assert [change.subjects for change in read.changes] == [(frame_id(1), "roll:7c1f9a2e")]


def test_a_newer_entry_that_drops_what_every_format_keeps_is_refused() -> None:
    name, data = rewritten(format=2, changes=[{"whom": "?"}])
    with pytest.raises(DamagedFileError, match="subjects"):
        decode(data, name)


@pytest.mark.parametrize(
    ("left", "words"), [(b"", "is empty"), (b'{"changes"', "is cut short"), (b"\0" * 9, "is damaged")]
)
def test_how_an_entry_was_damaged_is_told_as_far_as_it_can_be_seen(left: bytes, words: str) -> None:
    made, _ = written()
    with pytest.raises(DamagedFileError, match=words):
        decode(left, made.name)


@pytest.mark.parametrize(
    "changed",
    [
        {"person": "x" * 201},
        {"writer": "w" * 65},
        {"kind": "x" * 41},
        {"previous": "sha256:12"},
        {"changes": (Change(subjects=("x" * 121,), layer="x", value=1),)},
        {"changes": (Change(subjects=("x",), layer="x" * 41, value=1),)},
        {"changes": (Change(subjects=("x",), layer="x", line="x" * 201, value=1),)},
        {"changes": (Change(subjects=("x\0",), layer="x", value=1),)},
        {"changes": (Change(subjects=("x",), layer="x", builds_on=("y",), value=1),)},  # type: ignore[arg-type]
    ],
)
def test_what_no_reader_would_take_is_never_written(changed: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=": "):
        written(**changed)


def test_another_document_under_the_name_of_an_entry_is_refused() -> None:
    name, data = rewritten(type="noctuary-volume")
    with pytest.raises(DamagedFileError, match="is no noctuary-entry document"):
        decode(data, name)


@pytest.mark.parametrize(
    "changed",
    [
        {"counter": 0},
        {"counter": "1723"},
        {"counter": 10_000_000_000},
        {"kind": "Rating"},
        {"kind": ""},
        {"time": "2026-03-19 06:15:02"},
        {"time": "2026-03-19T06:15:02+00:00"},
        {"writer": ""},
        {"person": None},
        {"essential": 1},
        {"changes": []},
        {"changes": [{"subjects": [], "layer": "x", "line": "", "builds_on": [], "value": 1}]},
        {"changes": [{"subjects": ["x"], "layer": "x", "line": "", "builds_on": []}]},
        {"changes": [{"subjects": ["x"], "layer": 1, "line": "", "builds_on": [], "value": 1}]},
    ],
)
def test_an_entry_with_an_impossible_field_is_refused(changed: dict[str, Any]) -> None:
    name, data = rewritten(**changed)
    with pytest.raises(DamagedFileError, match="does not hold what"):
        decode(data, name)


@pytest.mark.parametrize("missing", sorted(entry_format._KEYS - {"type", "format"}))
def test_an_entry_without_one_of_its_fields_is_refused_and_the_field_named(missing: str) -> None:
    document = json.loads(written()[1])
    del document[missing]
    data = canonical(document)
    name = entry_name(1723, "2026-03-19T06:15:02Z", "rating", sha256_id(data))
    with pytest.raises(DamagedFileError, match=f"{missing}: "):
        decode(data, name)


def test_fields_that_a_later_release_adds_are_kept() -> None:
    name, data = rewritten(place="river bend")
    assert decode(data, name).extra == {"place": "river bend"}


def test_two_readings_of_one_document_are_refused() -> None:
    _, data = written()
    data = data.replace(b'"counter":1723', b'"counter":1723,"counter":1723')
    name = entry_name(1723, "2026-03-19T06:15:02Z", "rating", sha256_id(data))
    with pytest.raises(DamagedFileError, match="canonical form"):
        decode(data, name)


def test_a_value_that_json_cannot_hold_is_never_written() -> None:
    change = Change(subjects=(frame_id(1),), layer="rating", value=float("nan"))
    with pytest.raises(ValueError, match="not representable"):
        written(changes=(change,))
