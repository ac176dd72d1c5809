"""Statements read back as sites, cameras and clocks."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from support.builders import CAMERA, OTHER_CAMERA, SITE, camera, entry, memory_catalogue, site

from archive.model.capture import Camera
from archive.model.entry import Change
from archive.model.place import ClockCorrection, Site


def clock(line: str, minute: int, **changed: Any) -> Change:
    value = {
        "reads": f"2026-03-18T22:{minute:02d}:00+00:00",
        "true": "2026-03-18T22:00:00+00:00",
        "from": None,
        "until": None,
        "drift": 0,
    }
    return Change(subjects=(CAMERA,), layer="clock", line=line, value=value | changed)


def test_sites_and_cameras_come_back_as_they_were_stated() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([entry(site(), camera("north"), camera("south", OTHER_CAMERA))])
    assert catalogue.sites() == [
        Site(id=SITE, name="River bend", latitude=69.6, longitude=18.9, elevation_m=40, zone="Europe/Oslo")
    ]
    assert catalogue.cameras() == {
        key: Camera(id=key, name=name, make="Invented", model="One", serial="000417")
        for key, name in ((CAMERA, "north"), (OTHER_CAMERA, "south"))
    }


def test_a_camera_that_was_renamed_has_its_last_name() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([entry(camera("west"), counter=2), entry(camera("north"), counter=1)])
    assert catalogue.cameras()[CAMERA].name == "west"


def test_clocks_come_in_the_order_they_were_stated_without_those_taken_back() -> None:
    catalogue = memory_catalogue()
    taken_back = Change(subjects=(CAMERA,), layer="clock", line="b", value=None)
    catalogue.apply(
        [
            entry(clock("c", 3, until="2026-03-19T00:00:00+00:00", drift=1.5), counter=4),
            entry(clock("a", 1), counter=2),
            entry(clock("b", 2), counter=3),
            entry(taken_back, counter=5),
        ]
    )
    true = datetime(2026, 3, 18, 22, tzinfo=UTC)
    assert catalogue.clocks(CAMERA) == [
        ClockCorrection(reads=true.replace(minute=1), true=true),
        ClockCorrection(
            reads=true.replace(minute=3), true=true, until=datetime(2026, 3, 19, tzinfo=UTC), drift=1.5
        ),
    ]
    assert catalogue.clocks(OTHER_CAMERA) == []


def test_a_layer_is_listed_by_subject_and_line() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([entry(clock("a", 1), clock("b", 2))])
    assert set(catalogue.layer("clock")) == {(CAMERA, "a"), (CAMERA, "b")}
    assert catalogue.stated(CAMERA, "clock", "nowhere") is None
