"""A frame's row from what its file and people say; sites and clocks are looked up once."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from types import SimpleNamespace

from sqlalchemy import event
from support.builders import CAMERA, SITE, camera, entry, memory_catalogue, site

from archive.catalogue.database import transaction
from archive.catalogue.framevalues import FrameValues

FILE = SimpleNamespace(
    digest="xxh128:1",
    path="100NOCTU/NOCT0001.DNG",
    role="raw",
    modified="2026-03-18T22:00:09+00:00",
    facts=json.dumps({"taken": "2026-03-18T23:00:00", "iso": 800, "exposure_s": 4}),
    roll="7c1f9a2e",
    camera=CAMERA,
    site=SITE,
)


def test_settings_time_and_night_come_from_the_facts_and_from_corrections_before_them() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([entry(camera(), site(), kind="site")])
    asked: list[str] = []
    event.listen(catalogue.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
    with transaction(catalogue.engine) as session:
        values = FrameValues(session)
        row = values.row(FILE, None)
        corrected = values.row(FILE, {"iso": 100, "taken": "2026-03-19T23:00:00"})
    assert row["taken"] == datetime(2026, 3, 18, 22, tzinfo=UTC), "the camera's clock is the site's"
    assert (row["name"], row["night"], row["iso"], row["exposure_s"]) == (
        "NOCT0001.DNG",
        "2026-03-18",
        800,
        4,
    )
    assert (row["time_source"], row["facts"], row["sequence"]) == ("site", None, None)
    assert -40 < row["sun"] < -10
    assert (corrected["night"], corrected["iso"], corrected["exposure_s"]) == ("2026-03-19", 100, 4)
    assert json.loads(corrected["facts"])["iso"] == 100
    assert len(asked) == 2, "the site and the clocks"


def test_a_file_that_says_nothing_is_placed_by_its_own_time_and_has_no_sky() -> None:
    bare = SimpleNamespace(**{**vars(FILE), "facts": None})
    with transaction(memory_catalogue().engine) as session:
        row = FrameValues(session).row(bare, None)
    assert (row["time_source"], row["taken"].second, row["sun"], row["iso"]) == ("file", 9, None, None)
