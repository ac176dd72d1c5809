"""A night is passed over only where none of its frames can match, and taken whole only where all do."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select
from support.builders import (
    OTHER_CAMERA,
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
from archive.catalogue.query import parse
from archive.catalogue.query_fields import Text
from archive.catalogue.rows import NightCameraRow
from archive.catalogue.zones import Zones
from archive.model.entry import Change

FIRST, SECOND = "2026-03-18", "2026-03-20"


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    filled = memory_catalogue()
    later = [roll_file(n, seconds=2 * 86_400 + n, exposure_s=1 / 60) for n in (20, 21)]
    word = Change(subjects=(frame_id(2),), layer="keyword", line="river ice", value=True)
    filled.apply(
        [
            entry(camera(), camera("river", OTHER_CAMERA), site(), kind="site"),
            entry(ingest(roll([roll_file(n, seconds=n) for n in (1, 2)])), kind="ingest", counter=2),
            entry(
                ingest(roll(later, token="11111111", camera_id=OTHER_CAMERA, at=None)),
                kind="ingest",
                counter=3,
            ),
            entry(rating(1, 4), word, own(20, exposure(0.5)), own(21, exposure(0.5)), counter=4),
        ]
    )
    return filled


def nights(catalogue: Catalogue, query: str, *, plain_order: bool = True) -> list[str]:
    def cameras(compare: Text) -> list[str]:
        return [OTHER_CAMERA] if compare.text == "river" else []

    def sites(compare: Text) -> list[str]:
        return ["site:river-bend"] if compare.text == "River bend" else []

    zone = Zones(cameras, sites, plain_order=plain_order).of(parse(query))
    with transaction(catalogue.engine) as session:
        query_ = select(NightCameraRow.night).where(zone.some).order_by(NightCameraRow.night)
        return list(session.scalars(query_))


@pytest.mark.parametrize(
    ("query", "held"),
    [
        ("", [FIRST, SECOND]),
        ("iso:3200", [FIRST, SECOND]),
        ("iso:12345", []),
        ("exposure>1", [FIRST]),
        ("exposure<1", [SECOND]),
        ("not exposure<1", [FIRST, SECOND]),
        ("exposure!=8", [FIRST, SECOND]),
        ("rating>=4", [FIRST]),
        ("rating:0", [FIRST, SECOND]),
        ("sun<90", [FIRST]),
        ("night:2026-03-18", [FIRST]),
        ("not night:2026-03-18", [SECOND]),
        ("camera:river", [SECOND]),
        ("not camera:river", [FIRST]),
        ('site:"River bend"', [FIRST]),
        ('keyword:"river ice"', [FIRST]),
        ("keyword:river*", [FIRST]),
        ("keyword!=river*", [FIRST, SECOND]),
        ("name:NOCT0002.DNG", [FIRST]),
        ("name:noct0002.dng", [FIRST]),
        ("name:Noct0002.dng", [FIRST]),
        ("name:noct002*", [SECOND]),
        ("name:NOCT002*", [SECOND]),
        ("name:NOCT00*", [FIRST, SECOND]),
        ("name!=NOCT0002.DNG", [FIRST, SECOND]),
        ("developed:yes", [SECOND]),
        ("developed:no", [FIRST]),
        ("not developed:yes", [FIRST]),
        ("exported:yes", []),
        ("sequence:1", []),
        ("exposure>1 or developed:yes", [FIRST, SECOND]),
        ("exposure>1 developed:yes", []),
    ],
)
def test_nights_that_may_hold_an_answer(catalogue: Catalogue, query: str, held: list[str]) -> None:
    assert nights(catalogue, query) == held


def test_where_texts_that_begin_alike_may_lie_apart_no_night_is_passed_over_for_a_name(
    catalogue: Catalogue,
) -> None:
    assert nights(catalogue, "name:NOCT002*", plain_order=False) == [FIRST, SECOND]
    assert nights(catalogue, "name:NOCT0002.DNG", plain_order=False) == [FIRST]


def test_the_fixture_is_what_the_queries_speak_of(catalogue: Catalogue) -> None:
    assert [frame.taken for frame in catalogue.frames(night=SECOND)] == [
        STARTED + timedelta(days=2, seconds=n) for n in (20, 21)
    ]
