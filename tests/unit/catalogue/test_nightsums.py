"""What the frames of a night have in common follows whatever happens to them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from sqlalchemy import select
from support.builders import (
    CAMERA,
    STARTED,
    camera,
    entry,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    rating,
    roll,
    roll_file,
    site,
)

from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.nightsums import tell_nights
from archive.catalogue.rows import NightCameraRow, NightWordRow
from archive.model.entry import Change


def said(layer: str, number: int, value: Any, line: str = "") -> Change:
    return Change(subjects=(frame_id(number),), layer=layer, line=line, value=value)


def filled() -> Catalogue:
    catalogue = memory_catalogue()
    files = [roll_file(n, seconds=10 * n, exposure_s=n) for n in range(1, 7)]
    value = {"night": "2026-03-18", "camera": CAMERA, "number": 3}
    catalogue.apply(
        [
            entry(camera(), site(), ingest(roll(files)), kind="ingest"),
            entry(said("sequence-number", 1, value), kind="sequence", counter=2),
            entry(rating(2, 5), rating(3, -1), said("keyword", 2, True, "arc"), counter=3),
            entry(own(4, exposure(0.5)), kind="recipe", counter=4),
        ]
    )
    return catalogue


def night(catalogue: Catalogue, date: str = "2026-03-18") -> NightCameraRow | None:
    with transaction(catalogue.engine) as session:
        return session.get(NightCameraRow, (date, CAMERA))


def words(catalogue: Catalogue) -> list[tuple[str, str]]:
    with transaction(catalogue.engine) as session:
        query = select(NightWordRow.night, NightWordRow.word).order_by(NightWordRow.night)
        return [(row.night, row.word) for row in session.execute(query)]


def test_a_night_knows_how_many_and_between_what() -> None:
    row = night(filled())
    assert row is not None
    assert (row.frames, row.sequences, row.developed, row.exported) == (6, 1, 1, 0)
    assert (row.first, row.last) == (STARTED + timedelta(seconds=10), STARTED + timedelta(seconds=60))
    assert (row.exposure_s_low, row.exposure_s_high) == (1, 6)
    assert (row.rating_low, row.rating_high) == (-1, 5)
    assert (row.number_low, row.number_high) == (3, 3)
    assert (row.name_low, row.name_high) == ("NOCT0001.DNG", "NOCT0006.DNG")
    assert (row.sites, row.site) == (1, "site:river-bend")


def test_a_frame_that_moves_to_another_night_leaves_none_behind() -> None:
    catalogue = filled()
    moved = {"taken": "2026-03-21T23:00:00"}
    catalogue.apply([entry(*(said("facts", n, moved) for n in range(1, 7)), kind="facts", counter=5)])
    assert night(catalogue) is None
    after = night(catalogue, "2026-03-21")
    assert after is not None
    # Their sequence keeps the number it was given in the night before.
    assert (after.frames, after.sequences, after.number_low) == (6, 1, 3)
    assert words(catalogue) == [("2026-03-21", "arc")]


def test_a_second_roll_from_nowhere_is_another_site() -> None:
    catalogue = filled()
    other = roll([roll_file(9, seconds=90)], token="11111111", at=None)
    catalogue.apply([entry(ingest(other), kind="ingest", counter=5)])
    row = night(catalogue)
    assert row is not None
    assert (row.frames, row.sites, row.site) == (7, 2, "site:river-bend")


def test_all_told_anew_is_what_was_told_step_by_step() -> None:
    catalogue = filled()
    before = catalogue.dump()
    with transaction(catalogue.engine) as session:
        tell_nights(session, [("2026-03-18", CAMERA), ("1999-01-01", CAMERA)])
    assert catalogue.dump() == before
    with transaction(catalogue.engine) as session:
        tell_nights(session, None)
    assert catalogue.dump() == before
