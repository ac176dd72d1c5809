"""A roll's statement as rows, and what makes it no roll."""

from __future__ import annotations

from typing import Any

import pytest
from support.builders import entry_id, frame_id, ingest, sequence_roll

from archive.catalogue.rollrows import roll_rows
from archive.catalogue.rows import FileRow, RollRow
from archive.journal.current import Statement


def statement(subject: str = "roll:7c1f9a2e", **changed: Any) -> Statement:
    value = ingest(sequence_roll([1, 2])).value | changed
    return Statement(subject=subject, layer="ingest", line="", counter=3, entry=entry_id(1), value=value)


def named(row: Any, stored: tuple[Any, ...]) -> dict[str, Any]:
    return dict(zip([column.name for column in row.__table__.columns], stored, strict=True))


def with_file(**changed: Any) -> Statement:
    told = statement()
    told.value["files"][1] |= changed
    return told


def test_a_roll_and_its_files_in_the_order_they_are_told() -> None:
    stored, listed = roll_rows(with_file(companion_of=frame_id(1), original="odd\nname"))
    roll, files = named(RollRow, stored), [named(FileRow, file) for file in listed]
    assert (roll["id"], roll["counter"], roll["site"]) == ("7c1f9a2e", 3, "site:river-bend")
    assert roll["folder"] == f"{roll['night']}/north-7c1f9a2e"
    assert [file["digest"] for file in files] == [frame_id(1), frame_id(2)]
    assert '"iso": 3200' in files[0]["facts"]
    assert (files[1]["companion_of"], files[1]["original"]) == (frame_id(1), "odd\nname")
    assert (files[1]["roll"], files[1]["role"], files[1]["size"]) == ("7c1f9a2e", "raw", 1002)


def test_a_file_without_facts_has_none() -> None:
    told = statement()
    del told.value["files"][0]["facts"]
    assert named(FileRow, roll_rows(told)[1][0])["facts"] is None


@pytest.mark.parametrize(
    "told",
    [
        statement("roll:7c1f9a2f"),
        statement("roll:../etc"),
        statement(night="2026-03-18 "),
        statement(site="x" * 81),
        statement(files=None),
        with_file(path="100NOCTU/NOCT0001.DNG"),
        with_file(role="other"),
        with_file(digest="xxh128:1"),
        with_file(size=-1),
        with_file(size=2**63),
        with_file(companion_of="xxh128:1"),
        with_file(modified="2026-03-18T22:00:00"),
        with_file(path="a/" + "x" * 301),
        with_file(facts={"iso": "much"}),
        with_file(facts=None),
    ],
)
def test_what_could_not_be_kept_is_refused(told: Statement) -> None:
    with pytest.raises((LookupError, TypeError, ValueError, AttributeError, OverflowError)):
        roll_rows(told)
