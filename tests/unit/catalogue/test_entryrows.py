"""What entries tell, as rows in the order of each table's columns."""

from __future__ import annotations

import marshal
from typing import Any

from support.builders import (
    camera,
    delivered,
    entry,
    exposure,
    frame_id,
    ingest,
    own,
    rating,
    selection,
    sequence_roll,
    shared,
    site,
)

from archive.catalogue.entryrows import EntryRows
from archive.catalogue.rows import Base
from archive.errors import DamagedFileError
from archive.exports.specs import specs
from archive.journal.log import Fault
from archive.model.entry import Change, Entry


def story() -> list[Entry | Fault]:
    value = delivered(spec=specs()[0].to_json())
    paired = Change(subjects=(frame_id(2),), layer="pairing", value={"frame": frame_id(1)})
    first = entry(own(3, exposure(0.5)), kind="recipe", counter=3)
    return [
        entry(camera(), site(), ingest(sequence_roll(range(1, 4))), kind="ingest", counter=1),
        entry(rating(1, 4), paired, counter=2),
        first,
        entry(
            own(3, exposure(1), builds_on=[first.id]), *shared(selection(1, 2), exposure(1)), kind="recipe"
        ),
        entry(Change(subjects=("job:1",), layer="delivered", line="1", value=value), kind="job-delivered"),
        entry(rating(1, 17), counter=9),
        Fault(name="x", error=DamagedFileError("torn", hint="")),
    ]


def named(table: str, row: tuple[Any, ...]) -> dict[str, Any]:
    return dict(zip([column.name for column in Base.metadata.tables[table].columns], row, strict=True))


def test_every_row_has_the_columns_of_its_table_in_their_order() -> None:
    rows = EntryRows(story())
    held = {table: [named(table, row) for row in some] for (table, _), some in rows.held.items()}
    assert {each["subject"]: each["value"] for each in held["statement"]}[frame_id(1)] == "4"
    assert [each["counter"] for each in held["entry"]] == [1, 2, 3, 1, 1, 9]
    (pair,) = held["pair"]
    assert (pair["companion"], pair["frame"], pair["counts"]) == (frame_id(2), frame_id(1), False)
    assert {each["recipe"] for each in held["version"]} == {each["key"] for each in held["recipe"]}
    assert [each["frame"] for each in held["selection_frame"]] == [frame_id(1), frame_id(2)]
    assert [each["older"] for each in held["builds_on"]] == [held["version"][0]["entry"]]
    ((roll, files),) = rows.rolls
    assert named("roll", roll)["id"] == named("file", files[0])["roll"] == "7c1f9a2e"
    ((derivative, (origin,)),) = rows.derivatives
    assert named("derivative", derivative)["path"] == named("origin", origin)["path"]
    assert named("origin", origin)["effective"] in {each["key"] for each in held["effective"]}
    assert [name for name, _ in rows.faults] == [story()[5].name, "x"]


def test_what_follows_from_them_is_put_down_beside_them() -> None:
    affected = EntryRows(story()).affected
    assert affected.sites == {"site:river-bend"}
    assert affected.frames == {frame_id(1), frame_id(2)}, "the pairing's, whichever side"
    assert affected.developed == {frame_id(n) for n in (1, 2, 3)}
    assert affected.marked == {frame_id(1)}


def test_they_can_be_sent_to_another_process_and_are_the_same_there() -> None:
    rows = EntryRows(story())
    again = EntryRows.of_plain(marshal.loads(marshal.dumps(rows.plain())))
    assert vars(again) == vars(rows)
    assert rows.size > 20
