"""Files of the planetary index, kept and looked up."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import DamagedFileError, UsageError
from archive.workspace import open_archive


def published(folder: Path, name: str, first_kp: str = "4.333 32") -> Path:
    rows = [f"2026 03 18 {3 * n:02d}.0 {3 * n + 1.5:04.1f} 34410 34410.5 {first_kp} 0" for n in range(6, 8)]
    rows.append("2026 03 19 00.0 01.50 34411 34411.5 6.667 111 1")
    path = folder / name
    path.write_text("# index\n" + "\n".join(rows) + "\n")
    return path


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_an_index_is_kept_whole_stated_once_and_joined_to_frames_by_time(
    place: Studio, tmp_path: Path
) -> None:
    activity = place.workspace.skies.activity
    source = published(tmp_path, "kp.txt")
    told = activity.take_in(source)
    assert (told.intervals, told.highest) == (3, 6.667)
    kept = place.root / told.path
    assert kept.read_bytes() == source.read_bytes()
    assert not kept.stat().st_mode & 0o222
    activity.take_in(source)
    assert place.entries("activity") == 1
    # 22:00 in Oslo is 21:00 UTC: the interval that begins then.
    story = place.workspace.story(f"{SEQUENCE}#1")
    assert story.activity is not None
    assert (story.activity.kp, story.activity.begins.hour) == (4.333, 21)
    report = place.workspace.skies.night("2026-03-18")
    assert [line.kp for line in report.activity] == [4.333, 4.333, 6.667]


def test_of_two_files_the_one_stated_last_counts(place: Studio, tmp_path: Path) -> None:
    activity = place.workspace.skies.activity
    activity.take_in(published(tmp_path, "old.txt"))
    activity.take_in(published(tmp_path, "new.txt", "5.000 48"))
    at = datetime(2026, 3, 18, 21, 30, tzinfo=UTC)
    found, trouble = activity.between(at, at.replace(hour=22))
    assert ([line.kp for line in found], trouble) == ([5.0], ())
    assert activity.between(datetime(2020, 1, 1, tzinfo=UTC), datetime(2020, 1, 2, tzinfo=UTC)) == ((), ())


def test_a_damaged_index_is_told_and_costs_neither_story_nor_sky(place: Studio, tmp_path: Path) -> None:
    told = place.workspace.skies.activity.take_in(published(tmp_path, "kp.txt"))
    kept = place.root / told.path
    kept.chmod(0o600)
    kept.write_bytes(b"# gone\n")
    place.workspace.skies.activity._read.clear()
    told_sky = place.workspace.skies.night("2026-03-18")
    assert told_sky.activity == ()
    assert "is damaged" in told_sky.notes[0]
    assert told_sky.sky.astronomical.dusk is not None
    assert place.workspace.story(f"{SEQUENCE}#1").activity is None


def test_an_entry_that_came_without_its_file_leaves_the_sky_of_the_night_told(
    place: Studio, tmp_path: Path
) -> None:
    """So it arrives when archives are united, or on a volume that is added later."""
    activity = place.workspace.skies.activity
    activity.take_in(published(tmp_path, "older.txt"))
    newer = activity.take_in(published(tmp_path, "newer.txt", "5.000 48"))
    (place.root / newer.path).unlink()
    activity._read.clear()
    told = place.workspace.skies.night("2026-03-18")
    assert [line.kp for line in told.activity] == [4.333, 4.333, 6.667]
    (note,) = told.notes
    assert "is on no mounted volume" in note
    assert "import the published file again" in note
    activity.take_in(published(tmp_path, "newer.txt", "5.000 48"))
    assert place.workspace.skies.night("2026-03-18").notes == ()
    assert place.entries("activity") == 2


def test_an_index_goes_to_volumes_that_are_only_found_beside_too(tmp_path: Path) -> None:
    made = studio(tmp_path)
    made.workspace.close()
    with open_archive(made.root, also=[tmp_path / "GREEN"]):
        pass
    with open_archive(made.root) as workspace:
        assert [volume.root.name for volume in workspace.books.beside] == ["GREEN"]
        told = workspace.skies.activity.take_in(published(tmp_path, "kp.txt"))
        assert (tmp_path / "GREEN" / told.path).read_bytes() == (made.root / told.path).read_bytes()
        (made.root / told.path).unlink()
        workspace.skies.activity._read.clear()
        assert workspace.skies.night("2026-03-18").notes == ()


def test_what_is_no_index_is_refused_and_nothing_is_kept(place: Studio, tmp_path: Path) -> None:
    wrong = tmp_path / "x.txt"
    wrong.write_text("hello\n")
    with pytest.raises(DamagedFileError, match="line 1"):
        place.workspace.skies.activity.take_in(wrong)
    with pytest.raises(UsageError, match="cannot be read"):
        place.workspace.skies.activity.take_in(tmp_path / "nothing")
    assert not (place.root / "activity").exists()
    assert place.entries("activity") == 0
