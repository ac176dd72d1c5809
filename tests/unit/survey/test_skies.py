"""The sky of nights and frames of an archive."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError
from archive.model.entry import Change, Draft
from archive.model.place import Site
from archive.model.sky import Light


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("skies"))
    yield made
    made.workspace.close()


def test_a_night_that_is_held_is_told_for_its_own_site(place: Studio) -> None:
    told = place.workspace.skies.night("2026-03-18")
    assert (told.site, told.zone) == ("River bend", "Europe/Oslo")
    assert told.sky.astronomical.dusk is not None
    assert told.dipole_latitude == pytest.approx(66.9, abs=0.2)
    (line,) = place.workspace.skies.told(place.workspace.nights())
    assert line.sky == told.sky


def test_a_night_that_is_not_held_can_be_planned(place: Studio) -> None:
    statements = place.workspace.statements
    assert place.workspace.skies.night("2026-12-21").sky.sun.reason == "the sun does not rise"
    far = statements.add_site("Far south", -46.41, 168.35, 0, "Pacific/Auckland")
    assert place.workspace.skies.night("2026-06-21", far).sky.sun.dusk is not None
    with pytest.raises(UsageError, match="No site is known"):
        place.workspace.skies.night("2026-12-21")


def test_two_sites_of_one_name_keep_their_own_skies(tmp_path: Path) -> None:
    made = studio(tmp_path)
    held = made.workspace.skies.night("2026-03-18")
    namesake = Site(
        id="site:far",
        name="River bend",
        latitude=-46.41,
        longitude=168.35,
        elevation_m=0,
        zone="Pacific/Auckland",
    )
    value = {key: getattr(namesake, key) for key in ("name", "latitude", "longitude", "elevation_m", "zone")}
    change = Change(subjects=(namesake.id,), layer="site", value=value)
    made.workspace.books.state(Draft(kind="site", changes=(change,)))
    (line,) = made.workspace.skies.told(made.workspace.nights())
    assert line.sky == held.sky
    made.workspace.close()


@pytest.mark.parametrize("night", ["yesterday", "2026-13-01", "0001-01-01", "9999-12-31"])
def test_a_night_that_is_no_date_is_refused(place: Studio, night: str) -> None:
    with pytest.raises(UsageError, match="is not a night"):
        place.workspace.skies.night(night)


def test_each_frame_has_its_sky(place: Studio) -> None:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    skies = place.workspace.skies.frames(frames)
    assert set(skies) == {frame.id for frame in frames}
    story = place.workspace.story(f"{SEQUENCE}#1")
    assert story.sky == skies[frames[0].id]
    assert story.sky.light is Light.NIGHT
