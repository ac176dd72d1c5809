"""Entries into rows: idempotent, free of order, one fault never takes the rest down."""

from __future__ import annotations

from itertools import permutations
from random import Random
from typing import Any

import pytest
from support.builders import (
    CAMERA,
    OTHER_CAMERA,
    SITE,
    camera,
    delivered,
    entry,
    entry_id,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    rating,
    roll,
    roll_file,
    selection,
    sequence_roll,
    shared,
    site,
)

from archive.catalogue.lineage import derivatives, standings
from archive.errors import DamagedFileError
from archive.journal.log import Fault
from archive.model.entry import Change, Entry
from archive.model.product import PixelSpec, Spec

SPEC = Spec(
    name="still-web", product="still", container="jpeg", pixels=PixelSpec(fit=None), encoder={"quality": 90}
)
NUMBER = Change(
    subjects=(frame_id(1),),
    layer="sequence-number",
    value={"night": "2026-03-18", "camera": CAMERA, "number": 1},
)


def batch(counter: int, writer: str = "w", path: str = "exports/a.jpg", **changed: Any) -> Entry:
    value = delivered(spec=SPEC.to_json(), path=path, counter_free=changed)
    change = Change(subjects=("job:1",), layer="delivered", line=f"{counter}{writer}", value=value)
    return entry(change, kind="job-delivered", counter=counter, writer=writer)


def test_any_order_of_entries_gives_the_same_tables() -> None:
    first = entry(own(1, exposure(0.5)), kind="recipe", counter=5)
    entries = [
        entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest", counter=1),
        entry(NUMBER, kind="sequence", counter=2),
        entry(site(longitude=19.5), kind="site", counter=3),
        first,
        entry(*shared(selection(1, 2), exposure(1.0), builds_on=(first.id,)), kind="recipe", counter=6),
    ]
    dumps = []
    orders = list(permutations(entries))
    for order in [orders[0], orders[-1], *Random(3).sample(orders, 30)]:
        catalogue = memory_catalogue()
        for each in order:
            catalogue.apply([each])
        dumps.append(catalogue.dump())
    assert all(dump == dumps[0] for dump in dumps)
    assert len(dumps[0]["frame"]) == 6
    assert len(dumps[0]["sequence"]) == 1


def test_applying_everything_again_changes_nothing() -> None:
    catalogue = memory_catalogue()
    entries = [
        entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest"),
        batch(2),
        entry(*shared(selection(1, 2), exposure(1.0)), rating(1, 3), kind="recipe", counter=3),
    ]
    catalogue.apply(entries)
    before = catalogue.dump()
    catalogue.apply(reversed(entries))
    assert catalogue.dump() == before


def test_a_later_ingest_of_a_roll_takes_the_place_of_the_earlier_one() -> None:
    early = entry(ingest(roll([roll_file(1, seconds=0)])), kind="ingest", counter=1)
    files = [roll_file(1, seconds=0), roll_file(2, seconds=10)]
    late = entry(ingest(roll(files, camera_id=OTHER_CAMERA)), kind="ingest", counter=2)
    dumps = []
    for order in ([early, late], [late, early]):
        catalogue = memory_catalogue()
        for each in order:
            catalogue.apply([each])
        assert [frame.camera for frame in catalogue.frames()] == [OTHER_CAMERA, OTHER_CAMERA]
        dumps.append(catalogue.dump())
    assert dumps[0] == dumps[1]


def test_the_same_bytes_from_two_cameras_are_one_frame_of_the_roll_that_came_in_first() -> None:
    shared_file = roll_file(1, seconds=0)
    one = entry(ingest(roll([shared_file, roll_file(2, seconds=10)])), kind="ingest", counter=1)
    other = roll([shared_file, roll_file(3, seconds=20)], token="00000002", camera_id=OTHER_CAMERA)
    two = entry(ingest(other), kind="ingest", counter=2)
    dumps = []
    for order in ([one, two], [two, one]):
        catalogue = memory_catalogue()
        for each in order:
            catalogue.apply([each])
        assert {frame.id: frame.camera for frame in catalogue.frames()} == {
            frame_id(1): CAMERA,
            frame_id(2): CAMERA,
            frame_id(3): OTHER_CAMERA,
        }
        dumps.append(catalogue.dump())
    assert dumps[0] == dumps[1]


def test_a_frame_passes_to_the_camera_whose_earlier_roll_comes_to_light_late() -> None:
    file = roll_file(1, seconds=0)
    late = entry(ingest(roll([file], token="00000009")), kind="ingest", counter=9)
    early = entry(ingest(roll([file], token="00000001", camera_id=OTHER_CAMERA)), kind="ingest", counter=1)
    catalogue = memory_catalogue()
    catalogue.apply([late])
    assert [frame.camera for frame in catalogue.frames()] == [CAMERA]
    catalogue.apply([early])
    assert [(frame.camera, frame.roll) for frame in catalogue.frames()] == [(OTHER_CAMERA, "00000001")]


def test_of_two_deliveries_of_one_path_the_greater_counter_and_id_counts_in_any_order() -> None:
    one, two = batch(4, "a", size=1), batch(4, "b", size=2)
    wanted = 1 if one.id > two.id else 2
    for order in ([one, two], [two, one]):
        catalogue = memory_catalogue()
        for each in order:
            catalogue.apply([each])
        assert [made.size for made in derivatives(catalogue)] == [wanted]


def test_a_delivery_made_again_takes_the_place_of_its_inputs_too() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([batch(1), batch(2, inputs=[])])
    (made,) = derivatives(catalogue)
    assert made.origins == ()


def test_a_fault_is_put_down_and_the_entries_beside_it_count() -> None:
    catalogue = memory_catalogue()
    sound = entry(rating(1, 3))
    catalogue.apply([Fault(name="x.json", error=DamagedFileError("x.json is damaged.")), sound])
    assert [(fault.place, fault.name, fault.message) for fault in catalogue.faults()] == [
        ("journal", "x.json", "x.json is damaged.")
    ]
    assert catalogue.stated(frame_id(1), "rating") == 3


def _unusable() -> dict[str, tuple[Change, ...]]:
    held = ingest(sequence_roll(range(1, 7)))
    broken_roll = Change(subjects=("roll:7c1f9a2e",), layer="ingest", value=held.value | {"files": 5})
    no_time = {**held.value["files"][0], "modified": "yesterday"}
    text_exposure = {**held.value["files"][0], "facts": {"exposure_s": "long"}}
    site_value = site().value
    clock = {"reads": "2026-03-18T22:00:00", "true": "2026-03-18T22:00:00", "from": None, "until": None}
    return {
        "a roll without files": (broken_roll,),
        "a file without time": (
            Change(subjects=("roll:7c1f9a2e",), layer="ingest", value=held.value | {"files": [no_time]}),
        ),
        "an exposure in words": (
            Change(
                subjects=("roll:7c1f9a2e",), layer="ingest", value=held.value | {"files": [text_exposure]}
            ),
        ),
        "a roll in another's folder": (
            Change(subjects=("roll:00000000",), layer="ingest", value=held.value),
        ),
        "a roll in a list": (Change(subjects=("roll:7c1f9a2e",), layer="ingest", value=[held.value]),),
        "a site beyond the pole": (
            Change(subjects=(SITE,), layer="site", value=site_value | {"latitude": 97}),
        ),
        "a site in no zone": (
            Change(subjects=(SITE,), layer="site", value=site_value | {"zone": "Nowhere/At all"}),
        ),
        "a zone outside the zones": (
            Change(subjects=(SITE,), layer="site", value=site_value | {"zone": "../../etc/passwd"}),
        ),
        "no site": (Change(subjects=(SITE,), layer="site", value=None),),
        "a clock without zone": (Change(subjects=(CAMERA,), layer="clock", value=clock | {"drift": 0}),),
        "a clock of nothing": (Change(subjects=(CAMERA,), layer="clock", value={}),),
        "facts in a text": (Change(subjects=(frame_id(1),), layer="facts", value="bright"),),
        "a number in words": (
            Change(subjects=(frame_id(1),), layer="sequence-number", value=NUMBER.value | {"number": "one"}),
        ),
        "a number of nothing": (Change(subjects=(frame_id(1),), layer="sequence-number", value=7),),
        "a rating of six": (rating(1, 6),),
        "a camera without name": (Change(subjects=(CAMERA,), layer="camera", value={"make": "Invented"}),),
        "a delivery of nothing": (Change(subjects=("job:1",), layer="delivered", value={}),),
        "an effective recipe under another key": (
            Change(
                subjects=("job:1",),
                layer="delivered",
                value={
                    **delivered(spec=SPEC.to_json()),
                    "effective": {entry_id(1): next(iter(delivered(spec={})["effective"].values()))},
                },
            ),
        ),
    }


@pytest.mark.parametrize("fault", sorted(_unusable()))
def test_an_entry_that_tells_something_impossible_is_set_aside_whole_and_listings_work(fault: str) -> None:
    catalogue = memory_catalogue()
    sound = entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest")
    bad = entry(*_unusable()[fault], rating(2, 5), kind="x", counter=2)
    catalogue.apply([bad, sound])
    assert [fault.name for fault in catalogue.faults()] == [bad.name]
    assert catalogue.stated(frame_id(2), "rating") is None
    assert len(catalogue.frames()) == 6
    assert [line.frames for line in catalogue.nights()] == [6]
    assert derivatives(catalogue) == []


def test_statements_of_an_unknown_layer_are_kept_as_they_are() -> None:
    catalogue = memory_catalogue()
    value = {"any": [1, None, "thing"]}
    catalogue.apply([entry(Change(subjects=("moon:1",), layer="phase", value=value), kind="facts")])
    assert catalogue.stated("moon:1", "phase") == value


def test_versions_are_found_standing_as_the_fold_of_the_journal_finds_them() -> None:
    catalogue = memory_catalogue()
    first = entry(own(1, exposure(0.5)), kind="recipe")
    second = entry(own(1, exposure(1.0), builds_on=(first.id,)), kind="recipe", counter=2)
    rival = entry(own(1, exposure(2.0), builds_on=(first.id,)), kind="recipe", counter=3)
    catalogue.apply([rival, second, first])
    standing = standings(catalogue, [frame_id(1)])[frame_id(1)]
    assert standing.contested
    assert [version.entry for version in standing.own] == [rival.id, second.id]
