from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.cards import spoil
from support.exports import SEQUENCE, studio

from archive.errors import ArchiveError
from archive.exports.make import encoded
from archive.exports.specs import spec_named

PIXELS = np.zeros((8, 8, 3), np.uint8)


def test_a_container_of_a_newer_release_is_refused_by_name() -> None:
    with pytest.raises(ArchiveError, match="writes no jpegxl files"):
        encoded(PIXELS, replace(spec_named("still-web"), container="jpegxl"), b"")


@pytest.mark.parametrize(
    ("container", "start"), [("jpeg", b"\xff\xd8\xff"), ("png", b"\x89PNG"), ("tiff", b"II")]
)
def test_each_container_is_written_and_carries_its_packet(container: str, start: bytes) -> None:
    from archive.formats.provenance import find_packet, packet

    xmp = packet(document_id="urn:uuid:1", instance_id="urn:uuid:2", derived_from=[],
                 created="2026-03-20T10:00:00Z",                 tool="Noctuary")  # fmt: skip
    pixels = PIXELS.astype(np.uint16) if container == "tiff" else PIXELS
    data = encoded(pixels, replace(spec_named("still-web"), container=container), xmp)
    assert data.startswith(start)
    found = find_packet(data)
    assert found is not None
    assert b"urn:uuid:2" in found


def test_a_movie_of_damaged_masters_only_is_not_made_and_leaves_nothing(tmp_path: Path) -> None:
    place = studio(tmp_path)
    for number in range(1, 7):
        spoil(place.master(f"NOCT000{number}.JPG"))
    report = place.export(SEQUENCE, "movie-hd")
    assert report.files[0].state == "failed"
    assert "none of its 6 frames" in report.files[0].text
    assert not list((place.root / "exports").rglob("*.mp4"))
    assert not list((place.root / "incoming").glob("*.part"))
    place.workspace.close()
