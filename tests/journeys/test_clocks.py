"""Clocks that were wrong, zones that change, and pictures that do not care."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from support.cards import BEGIN, archive_in, put, site_of, tiny_card
from support.commands import run
from support.exif_bytes import tiff
from support.exports import SEQUENCE, studio

from archive.catalogue.resolve import find
from archive.engine.foundation import current_foundation
from archive.errors import UsageError
from archive.exports.plan import make_plan
from archive.exports.specs import spec_named
from archive.workspace import Workspace


def pixel_keys(workspace: Workspace, name: str, spec: str) -> list[str]:
    found = find(workspace.books.catalogue, name)
    plan = make_plan(workspace.books, found.frames, found.sequence, spec_named(spec), current_foundation())
    return [item.pixel_key for file in plan.files for item in file.inputs]


def taken(workspace: Workspace) -> list[datetime]:
    return [line.frame.taken for line in workspace.frames(SEQUENCE)]


def test_a_drifting_clock_moves_every_frame_by_its_own_amount_and_no_pixel_of_any_product(
    tmp_path: Path,
) -> None:
    place = studio(tmp_path)
    with place.workspace as workspace:
        workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=0.5"])
        workspace.recipes.carry(f"{SEQUENCE}#1", SEQUENCE)
        products = ("still-web", "set-hd", "movie-hd")
        keys = [pixel_keys(workspace, SEQUENCE, spec) for spec in products]
        before = taken(workspace)
        camera = workspace.statements.camera_named("one")
        workspace.statements.set_clock(
            camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:01:00", drift=500
        )
        moved = [(b - a).total_seconds() for a, b in zip(before, taken(workspace), strict=True)]
        # 500 s a day are 0.0579 s in 10 s; the catalogue keeps milliseconds.
        assert moved == pytest.approx([60 - 500 * 10 * n / 86400 for n in range(6)], abs=0.001)
        assert [pixel_keys(workspace, SEQUENCE, spec) for spec in products] == keys
        workspace.statements.withdraw_clock(camera)
        assert taken(workspace) == before
        assert [pixel_keys(workspace, SEQUENCE, spec) for spec in products] == keys


def test_a_correction_by_a_day_moves_the_night_and_keeps_the_path(tmp_path: Path) -> None:
    place = studio(tmp_path)
    with place.workspace as workspace:
        master = place.master("NOCT0001.JPG")
        camera = workspace.statements.camera_named("one")
        workspace.statements.set_clock(camera, reads="2026-03-18T22:00:00", true="2026-03-20T22:00:00")
        assert [line.night for line in workspace.nights()] == ["2026-03-20"]
        assert place.master("NOCT0001.JPG") == master
        assert "2026-03-18" in master.parts
        # A number once given stays: people may have written it down.
        assert [line.address for line in workspace.sequences()] == [SEQUENCE]


def test_corrections_of_spans_are_told_taken_back_and_refused_where_there_is_none(tmp_path: Path) -> None:
    place = studio(tmp_path)
    with place.workspace as workspace:
        before = taken(workspace)
        camera = workspace.statements.camera_named("one")
        span = {"since": "2026-03-18T22:00:30", "until": "2026-03-18T22:00:50"}
        workspace.statements.set_clock(
            camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:00:02", **span
        )
        moved = [(b - a).total_seconds() for a, b in zip(before, taken(workspace), strict=True)]
        assert moved == [0, 0, 0, 2, 2, 0]
        (held,) = workspace.statements.clocks(camera)
        assert held.since is not None and held.since.isoformat() == "2026-03-18T21:00:30+00:00"
        with pytest.raises(UsageError, match="no correction of one's clock for that span") as caught:
            workspace.statements.withdraw_clock(camera)
        assert "from 2026-03-18T21:00:30Z to 2026-03-18T21:00:50Z" in caught.value.hint
        workspace.statements.withdraw_clock(camera, **span)
        assert taken(workspace) == before
        assert workspace.statements.clocks(camera) == []


def test_a_journey_over_two_sites_has_each_frame_in_the_night_of_its_place(tmp_path: Path) -> None:
    with archive_in(tmp_path / "a") as workspace:
        north = site_of(workspace)
        east = workspace.statements.add_site("East", 43.0, 141.0, 10, "Asia/Tokyo")
        # 01:00 by the clock of either place, a day apart; the camera records no offset.
        first = tiny_card(tmp_path / "one", 5, begin=datetime(2026, 3, 19, 1))
        second = tiny_card(tmp_path / "two", 5, begin=datetime(2026, 3, 20, 1), first=20)
        workspace.ingest.take([first], site=north)
        workspace.ingest.take([second], site=east)
        frames = workspace.frames("2026-03-18") + workspace.frames("2026-03-19")
        assert {(line.frame.night, line.zone) for line in frames} == {
            ("2026-03-18", "Europe/Oslo"),
            ("2026-03-19", "Asia/Tokyo"),
        }
        assert {
            line.frame.taken.isoformat()
            for line in frames
            if line.frame.name in ("NOCT0001.JPG", "NOCT0020.JPG")
        } == {
            "2026-03-19T00:00:00+00:00",
            "2026-03-19T16:00:00+00:00",
        }
        assert [line.address for line in workspace.sequences()] == ["2026-03-18/one/1", "2026-03-19/one/1"]


def test_a_site_that_is_corrected_moves_its_frames(tmp_path: Path) -> None:
    place = studio(tmp_path)
    with place.workspace as workspace:
        before = taken(workspace)
        workspace.statements.add_site("River bend", 69.2, 20.1, 40.0, "Europe/Helsinki")
        assert [(b - a) for a, b in zip(before, taken(workspace), strict=True)] == [timedelta(hours=-1)] * 6


@pytest.mark.parametrize(
    "offset, gps, told",
    [
        ("+01:00", "22:30:15", None),
        ("+01:00", "22:38:00", None),
        (None, "19:00:00", None),
        ("+02:00", "22:30:15", "1 h 00 min apart"),
        ("+01:00", "21:00:15", "1 h 30 min apart"),
    ],
)
def test_an_offset_that_the_satellites_contradict_is_remarked_and_counts(
    tmp_path: Path, offset: str | None, gps: str, told: str | None
) -> None:
    hours, minutes, seconds = (int(part) for part in gps.split(":"))
    exif: dict[int, object] = {0x9003: "2026:03:18 23:30:15"}
    if offset:
        exif[0x9011] = offset
    satellites = {0x001D: "2026:03:18", 0x0007: [(hours, 1), (minutes, 1), (seconds, 1)]}
    put(tmp_path / "card", "DCIM/100NOCTU/NOCT0001.DNG", tiff({271: "Invented"}, exif, satellites))  # type: ignore[arg-type]
    with archive_in(tmp_path / "a") as workspace:
        (report,) = workspace.ingest.take([tmp_path / "card"], site=site_of(workspace))
        remarks = [note.text for note in report.remarks if "satellites" in note.text]
        assert len(remarks) == (told is not None)
        assert told is None or told in remarks[0]
        (line,) = workspace.frames("2026-03-18")
        expected = {"+02:00": 21, "+01:00": 22, None: 22}[offset]
        assert line.frame.taken.hour == expected


@pytest.mark.slow
def test_the_command_corrects_lists_and_takes_back(tmp_path: Path) -> None:
    place = studio(tmp_path)
    place.workspace.close()
    root = place.root
    times = ("--reads", "2026-03-18T22:00:00", "--true", "2026-03-18T22:01:12")
    assert "+72.0 s are added" in run("clock", "one", *times, "--drift", "2", folder=root).out
    (listed,) = run("clock", "one", "--json", folder=root).json
    assert (listed["reads"], listed["drift"]) == ("2026-03-18T21:00:00+00:00", 2.0)
    assert "no longer added" in run("clock", "one", "--off", folder=root).out
    assert "no correction counts" in run("clock", "one", folder=root).out
    assert "belong together" in run("clock", "one", "--reads", "22:00", folder=root, code=2).err
    assert BEGIN.isoformat() == times[1]
