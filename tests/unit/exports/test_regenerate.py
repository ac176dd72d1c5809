from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import spoil
from support.exports import SEQUENCE, Studio, studio

from archive.errors import Exit, UsageError


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio(tmp_path)


@pytest.mark.parametrize(
    ("name", "spec"),
    [(f"{SEQUENCE}#1", "still-web"), (f"{SEQUENCE}#1", "still-print"), (SEQUENCE, "movie-hd")],
)
def test_a_file_that_is_gone_comes_back_byte_for_byte(place: Studio, name: str, spec: str) -> None:
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=0.4"], in_sequence=True)
    path = place.path(place.export(name, spec))
    original = path.read_bytes()
    path.unlink()
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=-1"], in_sequence=True)
    (report,) = place.workspace.exports.regenerate([str(path)])
    assert [file.state for file in report.files] == ["made"]
    assert report.exit_code is Exit.DONE
    assert path.read_bytes() == original
    assert path.stat().st_mode & 0o222 == 0


def test_a_set_comes_back_byte_for_byte_without_being_named(place: Studio) -> None:
    report = place.export(SEQUENCE, "set-hd")
    paths = [place.root / file.path for file in report.files]
    originals = [path.read_bytes() for path in paths]
    for path in paths[2:5]:
        path.unlink()
    (again,) = place.workspace.exports.regenerate([])
    assert len(again.files) == 3
    assert {file.state for file in again.files} == {"made"}
    assert [path.read_bytes() for path in paths] == originals


@pytest.mark.parametrize("spec", ["still-web", "movie-hd"])
def test_a_file_that_is_there_is_compared_and_left(place: Studio, spec: str) -> None:
    path = place.path(place.export(SEQUENCE if spec == "movie-hd" else f"{SEQUENCE}#1", spec))
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    (report,) = place.workspace.exports.regenerate([path.name])
    assert [file.state for file in report.files] == ["same"]
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@pytest.mark.parametrize("spec", ["still-web", "movie-hd"])
def test_a_file_that_was_altered_is_blamed_and_not_the_machine(place: Studio, spec: str) -> None:
    path = place.path(place.export(SEQUENCE if spec == "movie-hd" else f"{SEQUENCE}#1", spec))
    spoil(path)
    altered = path.read_bytes()
    (report,) = place.workspace.exports.regenerate([path.name])
    assert [file.state for file in report.files] == ["differs"]
    assert "was altered" in report.files[0].text
    assert report.exit_code is Exit.ATTENTION
    assert path.read_bytes() == altered


def test_a_damaged_master_fails_its_own_file_only(place: Studio) -> None:
    report = place.export(SEQUENCE, "set-hd")
    for file in report.files:
        (place.root / file.path).unlink()
    spoil(place.master("NOCT0002.JPG"))
    (again,) = place.workspace.exports.regenerate([])
    states = {Path(file.path).name: file.state for file in again.files}
    assert states.pop("0002-NOCT0002.jpg") == "failed"
    assert set(states.values()) == {"made"}
    assert again.exit_code is Exit.ATTENTION


def test_nothing_is_missing_when_nothing_is(place: Studio) -> None:
    place.export(f"{SEQUENCE}#1", "still-web")
    assert place.workspace.exports.regenerate([]) == []


def test_a_name_that_is_no_derivative_is_refused(place: Studio) -> None:
    with pytest.raises(UsageError, match="no derivative on record"):
        place.workspace.exports.regenerate(["holiday.jpg"])


def test_current_makes_new_versions_beside_the_old(place: Studio) -> None:
    old = place.path(place.export(f"{SEQUENCE}#1", "still-web"))
    place.export(SEQUENCE, "movie-hd")
    before = old.read_bytes()
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1"])
    (report,) = place.workspace.exports.regenerate([], current=True)
    assert [file.state for file in report.files] == ["made"]
    assert old.read_bytes() == before
    assert place.path(report) != old
    assert place.workspace.exports.stale() == []


def test_current_of_a_set_makes_the_whole_set_anew_in_one_folder(place: Studio) -> None:
    first = place.path(place.export(SEQUENCE, "set-hd")).parent
    place.workspace.recipes.set(f"{SEQUENCE}#2", ["exposure.stops=1"], in_sequence=True)
    (report,) = place.workspace.exports.regenerate([], current=True)
    folders = {place.path(report, position).parent for position in range(6)}
    assert len(folders) == 1
    assert folders != {first}
    assert len(list(folders.pop().iterdir())) == 6
    assert place.workspace.exports.stale() == []


def test_a_movie_that_lacks_a_master_is_not_made_again_as_another_file(tmp_path: Path) -> None:
    place = studio(tmp_path)
    movie = place.path(place.export(SEQUENCE, "movie-hd"))
    movie.unlink()
    (spoilt,) = (place.root / "masters").rglob(place.workspace.frame(f"{SEQUENCE}#3").name)
    spoil(spoilt)
    (report,) = place.workspace.exports.regenerate([])
    assert [file.state for file in report.files] == ["failed"]
    assert "1 of its 6 frames" in report.files[0].text
    assert not list((place.root / "exports").rglob("*.mp4"))
    place.workspace.close()
