from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from support.cards import spoil
from support.exports import SEQUENCE, Studio, studio
from support.stopping import Stop, stop

from archive.errors import ArchiveError, Exit
from archive.exports import run
from archive.exports.run import cannot_write, in_the_way


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio(tmp_path)


def test_what_is_made_is_on_record_and_not_made_twice(place: Studio) -> None:
    report = place.export(f"{SEQUENCE}#1", "still-web")
    assert [file.state for file in report.files] == ["made"]
    assert report.exit_code is Exit.DONE
    path = place.path(report)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    again = place.export(f"{SEQUENCE}#1", "still-web")
    assert [file.state for file in again.files] == ["fresh"]
    assert again.job is None
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert (place.entries("job-started"), place.entries("job-ended")) == (1, 1)


def test_a_damaged_master_costs_its_own_frame_and_no_other(place: Studio) -> None:
    spoil(place.master("NOCT0003.JPG"))
    report = place.export(SEQUENCE, "set-hd")
    states = {Path(file.path).name: file.state for file in report.files}
    assert states.pop("0003-NOCT0003.jpg") == "failed"
    assert set(states.values()) == {"made"}
    (lost,) = report.lost_frames
    assert lost.path == "NOCT0003.JPG"
    assert "damaged" in lost.text
    assert report.exit_code is Exit.ATTENTION


def test_an_operator_of_a_later_release_stops_its_own_frame_and_no_other(place: Studio) -> None:
    place.save_later_operator(f"{SEQUENCE}#2")
    for spec, name in (("still-web", "NOCT0002-still-web-"), ("set-hd", "0002-NOCT0002.jpg")):
        report = place.export(SEQUENCE, spec)
        states = {Path(file.path).name: file.state for file in report.files}
        (failed,) = [file for file in states if states[file] != "made"]
        assert failed.startswith(name)
        assert len(states) == 6
        (lost,) = report.lost_frames
        assert lost.path == "NOCT0002.JPG"
        assert "does not know the operator skyglow version 3" in lost.text
        assert "a newer release is needed" in lost.text
        assert report.exit_code is Exit.ATTENTION
    movie = place.export(SEQUENCE, "movie-hd")
    assert [(file.state, file.frames) for file in movie.files] == [("made", 5)]
    assert [note.path for note in movie.lost_frames] == ["NOCT0002.JPG"]


def test_a_damaged_master_is_left_out_of_a_movie_and_told(place: Studio) -> None:
    whole = place.export(SEQUENCE, "movie-hd")
    spoil(place.master("NOCT0003.JPG"))
    (place.root / whole.files[0].path).unlink()
    report = place.export(SEQUENCE, "movie-hd")
    (movie,) = report.files
    assert (movie.state, movie.frames) == ("made", 5)
    assert [note.path for note in report.lost_frames] == ["NOCT0003.JPG"]
    assert movie.path != whole.files[0].path
    assert report.exit_code is Exit.ATTENTION


def test_a_missing_master_names_itself_and_the_way_out(place: Studio) -> None:
    place.master("NOCT0002.JPG").unlink()
    report = place.export(f"{SEQUENCE}#2", "still-web")
    assert report.files[0].state == "failed"
    assert "NOCT0002.JPG is missing from BLUE" in report.files[0].text
    assert "noctuary audit" in report.files[0].text


def test_a_file_in_the_way_is_never_overwritten(place: Studio) -> None:
    report = place.export(f"{SEQUENCE}#1", "still-web")
    path = place.path(report)
    path.chmod(0o644)
    path.write_bytes(b"a letter")
    again = place.export(f"{SEQUENCE}#1", "still-web")
    assert path.read_bytes() == b"a letter"
    assert again.files[0].state == "failed"
    assert "was not overwritten" in again.files[0].text


def test_a_movie_in_the_way_is_never_overwritten(place: Studio) -> None:
    path = place.path(place.export(SEQUENCE, "movie-hd"))
    path.chmod(0o644)
    path.write_bytes(b"a letter")
    again = place.export(SEQUENCE, "movie-hd")
    assert path.read_bytes() == b"a letter"
    assert again.files[0].state == "failed"
    assert again.files[0].text.count(path.name) == 1
    assert "was not overwritten" in again.files[0].text


def test_no_room_for_a_picture_is_told_and_the_job_ends(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_arguments: object, **_options: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(run, "write_new", full)
        report = place.export(f"{SEQUENCE}#1", "still-web")
    assert report.files[0].state == "failed"
    assert "No space left on device" in report.files[0].text
    assert "Masters and journal are safe" in report.files[0].text
    assert place.export(f"{SEQUENCE}#1", "still-web").files[0].state == "made"


def test_a_job_that_was_stopped_goes_on_under_its_own_id(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish = run._publish
    count = [0]

    def third_stops(*arguments: object) -> None:
        count[0] += 1
        if count[0] == 4:
            raise Stop
        publish(*arguments)  # type: ignore[arg-type]

    with monkeypatch.context() as patch, pytest.raises(Stop):
        patch.setattr(run, "_publish", third_stops)
        place.export(SEQUENCE, "set-hd")
    report = place.export(SEQUENCE, "set-hd")
    assert {file.state for file in report.files} <= {"made", "fresh"}
    assert len(report.files) == 6
    assert (place.entries("job-started"), place.entries("job-ended")) == (1, 1)
    folder = place.path(report).parent
    assert len(list(folder.iterdir())) == 6
    assert place.workspace.exports.stale() == []


def test_a_published_file_that_was_not_recorded_is_taken_up_by_its_own_job(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    from archive.exports.record import Recorder

    with monkeypatch.context() as patch, pytest.raises(Stop):
        patch.setattr(Recorder, "delivered", stop)
        place.export(f"{SEQUENCE}#1", "still-web")
    (path,) = (place.root / "exports").rglob("*.jpg")
    before = path.stat().st_mtime_ns
    report = place.export(f"{SEQUENCE}#1", "still-web")
    assert report.files[0].state == "made"
    assert path.stat().st_mtime_ns == before
    assert place.workspace.exports.lineage(str(path)).certainty == "certain: byte for byte"


def test_pixels_are_developed_by_the_recipe(place: Studio) -> None:
    plain = np.asarray(Image.open(place.path(place.export(f"{SEQUENCE}#1", "still-web"))), np.float64)
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1"])
    bright = np.asarray(Image.open(place.path(place.export(f"{SEQUENCE}#1", "still-web"))), np.float64)
    assert bright.shape == plain.shape == (48, 64, 3)
    assert bright.mean() > plain.mean() + 20


def test_a_set_takes_the_bytes_of_files_made_before(place: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    first = place.export(f"{SEQUENCE}#1..3", "set-hd")
    rendered: list[str] = []
    make = run.make_still

    def counted(books: object, file: object, *arguments: object, **options: object) -> object:
        rendered.append(file.path)  # type: ignore[attr-defined]
        return make(books, file, *arguments, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(run, "make_still", counted)
    whole = place.export(SEQUENCE, "set-hd")
    assert len(rendered) == 3
    assert place.path(whole, 0).read_bytes() == place.path(first, 0).read_bytes()


def test_leftovers_of_a_stopped_export_are_tidied(place: Studio) -> None:
    left = place.root / "incoming/export-0123abcd.part"
    left.parent.mkdir(exist_ok=True)
    left.write_bytes(b"half a movie")
    place.export(f"{SEQUENCE}#1", "still-web")
    assert not left.exists()


def test_messages_name_the_file_and_the_way_out() -> None:
    assert "exports/a\\x1b.jpg" in in_the_way("exports/a\x1b.jpg").message
    assert "No space" in cannot_write("exports/a.jpg", OSError(28, "No space left on device")).message
    assert isinstance(cannot_write("a", OSError(5, "x")), ArchiveError)


def test_a_job_killed_between_its_last_record_and_its_end_is_ended_by_the_next_run(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    from archive.exports.record import Recorder

    with monkeypatch.context() as patch, pytest.raises(Stop):
        patch.setattr(Recorder, "end", stop)
        place.export(f"{SEQUENCE}#1", "still-web")
    assert place.entries("job-ended") == 0
    report = place.export(f"{SEQUENCE}#1", "still-web")
    assert [file.state for file in report.files] == ["fresh"]
    assert (place.entries("job-started"), place.entries("job-ended")) == (1, 1)
