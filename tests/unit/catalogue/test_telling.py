"""One row for every master: time, night, sky and settings as the statements tell them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select
from support.builders import (
    SITE,
    STARTED,
    camera,
    entry,
    frame_id,
    ingest,
    memory_catalogue,
    roll,
    roll_file,
    site,
)

from archive.catalogue.affected import Affected
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import FrameRow
from archive.catalogue.telling import tell_frames
from archive.model.entry import Change
from archive.model.place import Site
from archive.nights.sky import moon_altitude, sun_altitude


def held(**how: Any) -> Catalogue:
    catalogue = memory_catalogue()
    files = [roll_file(n, seconds=60 * n) for n in (1, 2)]
    catalogue.apply([entry(camera(), site(), ingest(roll(files, **how)), kind="ingest")])
    return catalogue


def row(catalogue: Catalogue, number: int) -> FrameRow:
    with transaction(catalogue.engine) as session:
        return session.scalars(select(FrameRow).where(FrameRow.id == frame_id(number))).one()


def test_settings_and_sky_stand_in_columns_of_their_own() -> None:
    found = row(held(), 1)
    assert (found.exposure_s, found.f_number, found.iso, found.focal_mm) == (8, 2.8, 3200, 20)
    place = Site(id=SITE, name="", latitude=69.6, longitude=18.9, elevation_m=40, zone="Europe/Oslo")
    moment = STARTED + timedelta(minutes=1)
    assert found.sun == pytest.approx(sun_altitude(place, moment), abs=2e-3)
    assert found.moon == pytest.approx(moon_altitude(place, moment), abs=2e-3)


def test_without_a_site_or_a_certain_time_nothing_is_said_of_the_sky() -> None:
    assert row(held(at=None), 1).sun is None
    catalogue = held()
    catalogue.apply(
        [
            entry(
                Change(subjects=(frame_id(1),), layer="facts", value={"taken": None}), kind="facts", counter=2
            )
        ]
    )
    assert row(catalogue, 1).moon is None
    assert row(catalogue, 1).time_source == "file"


def test_a_corrected_fact_reaches_the_column_and_a_moved_site_the_sky() -> None:
    catalogue = held()
    catalogue.apply(
        [entry(Change(subjects=(frame_id(1),), layer="facts", value={"iso": 800}), kind="facts", counter=2)]
    )
    assert row(catalogue, 1).iso == 800
    before = row(catalogue, 1).sun
    catalogue.apply([entry(site(longitude=-18.9), kind="site", counter=3)])
    assert row(catalogue, 1).sun != before


def test_it_answers_where_frames_stood_and_where_they_stand() -> None:
    catalogue = held()
    with transaction(catalogue.engine) as session:
        session.execute(FrameRow.__table__.update().values(taken=STARTED))  # type: ignore[attr-defined]
        moments = tell_frames(session, Affected(frames={frame_id(2)}))
    assert moments == {"camera:3f2a9c1d7be04865": [STARTED, STARTED + timedelta(minutes=2)]}


def test_frames_nobody_holds_are_no_rows() -> None:
    catalogue = held()
    with transaction(catalogue.engine) as session:
        assert tell_frames(session, Affected(frames={frame_id(77)}, rolls={"none"})) == {}
