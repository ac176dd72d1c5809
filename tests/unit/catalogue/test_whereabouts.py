"""Where a camera was when."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from support.cards import BEGIN, archive_in, site_of, tiny_card

from archive.catalogue.whereabouts import zone_at


@pytest.mark.parametrize(
    "wall, zone",
    [
        (BEGIN, "Europe/Oslo"),
        (BEGIN - timedelta(days=300), "Europe/Oslo"),
        (datetime(2026, 8, 20, 23), "America/Anchorage"),
        (datetime(2030, 1, 1), "America/Anchorage"),
    ],
)
def test_a_wall_clock_time_is_meant_where_the_camera_was_nearest_to_then(
    tmp_path: Path, wall: datetime, zone: str
) -> None:
    with archive_in(tmp_path / "a") as workspace:
        north = site_of(workspace)
        far = workspace.statements.add_site("Far", 64.8, -147.7, 140, "America/Anchorage")
        workspace.ingest.take([tiny_card(tmp_path / "one", 2)], site=north)
        later = tiny_card(tmp_path / "two", 2, first=10, begin=datetime(2026, 8, 20, 23))
        workspace.ingest.take([later], site=far)
        camera = workspace.statements.camera_named("one")
        assert zone_at(workspace.books.catalogue, camera.id, wall).key == zone


def test_a_camera_that_was_at_no_site_reads_utc(tmp_path: Path) -> None:
    with archive_in(tmp_path / "a") as workspace:
        workspace.ingest.take([tiny_card(tmp_path / "one", 1)])
        camera = workspace.statements.camera_named("one")
        assert zone_at(workspace.books.catalogue, camera.id, BEGIN).key == "UTC"
