"""Rows of frames from what their files and people say."""

from __future__ import annotations

import json
from typing import Any

from support.builders import CAMERA, SITE, site

from archive.catalogue.framevalues import Master, frame_rows, marked
from archive.catalogue.registers import written
from archive.catalogue.rows import FrameRow

PLACE = ((SITE, written(site().value)), ())
FACTS = json.dumps({"taken": "2026-03-18T23:00:00", "iso": 800, "exposure_s": 4})
FILE: Master = ("xxh128:1", "100NOCTU/NOCT0001.DNG", "raw", "2026-03-18T22:00:09+00:00", FACTS)


def told(files: list[Master], said: dict[str, dict[str, Any]], place: Any = PLACE) -> list[dict[str, Any]]:
    names = [column.name for column in FrameRow.__table__.columns]
    rows = frame_rows(place, "7c1f9a2e", CAMERA, files, said)
    return [dict(zip(names, row, strict=True)) for row in rows]


def test_settings_time_and_night_come_from_the_facts_and_from_corrections_before_them() -> None:
    (row,) = told([FILE], {})
    (corrected,) = told([FILE], {"xxh128:1": {"iso": 100, "taken": "2026-03-19T23:00:00"}})
    assert row["taken"] == 1_773_871_200_000, "22:00 UTC (date -u +%s): the camera's clock is the site's"
    assert (row["id"], row["camera"], row["roll"], row["role"]) == ("xxh128:1", CAMERA, "7c1f9a2e", "raw")
    assert (row["path"], row["name"]) == ("100NOCTU/NOCT0001.DNG", "NOCT0001.DNG")
    assert (row["night"], row["iso"], row["exposure_s"], row["f_number"]) == ("2026-03-18", 800, 4, None)
    assert (row["time_source"], row["facts"], row["sequence"], row["rating"]) == ("site", None, None, 0)
    assert -40 < row["sun"] < -10
    assert (corrected["night"], corrected["iso"], corrected["exposure_s"]) == ("2026-03-19", 100, 4)
    assert json.loads(corrected["facts"])["iso"] == 100


def test_a_file_that_says_nothing_is_placed_by_its_own_time_and_has_no_sky() -> None:
    (row,) = told([(*FILE[:4], None)], {})
    assert (row["time_source"], row["taken"] // 1000 % 60, row["sun"], row["iso"]) == ("file", 9, None, None)


def test_a_clock_correction_moves_a_frame() -> None:
    value = {
        "reads": "2026-03-18T22:00:00+00:00",
        "true": "2026-03-18T22:01:00+00:00",
        "from": None,
        "until": None,
        "drift": 0,
    }
    (plain,), (moved,) = told([FILE], {}), told([FILE], {}, (PLACE[0], (written(value),)))
    assert moved["taken"] - plain["taken"] == 60_000


def test_without_a_site_there_is_no_sky() -> None:
    (row,) = told([FILE], {}, (None, ()))
    assert (row["time_source"], row["sun"], row["moon"]) == ("assumed", None, None)


def test_marks_stand_in_their_columns() -> None:
    names = [column.name for column in FrameRow.__table__.columns]
    (row,) = frame_rows(PLACE, "7c1f9a2e", CAMERA, [FILE], {})
    held = dict(zip(names, marked(row, (4, True, False)), strict=True))
    assert (held["rating"], held["developed"], held["exported"]) == (4, True, False)
    assert {**held, "rating": 0, "developed": False} == dict(zip(names, row, strict=True))
