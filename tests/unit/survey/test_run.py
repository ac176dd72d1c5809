"""Surveying an archive: once, resumable, on every volume, whatever fails."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.engine import surveyor
from archive.errors import Exit
from archive.survey import run
from archive.workspace import open_archive


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def quiet(_stage: str, _done: int, _total: int) -> None:
    pass


def contents(root: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted((root / "survey").rglob("*"))
        if path.is_file()
    }


def test_every_frame_is_measured_once_and_the_records_are_read_only(place: Studio) -> None:
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.held, report.exit_code) == (6, 0, Exit.DONE)
    held = contents(place.root)
    assert [path.rpartition(".")[2] for path in held].count("jpg") == 6
    assert [path.rpartition(".")[2] for path in held].count("json") == 1
    assert not any((place.root / path).stat().st_mode & 0o222 for path in held)
    again = place.workspace.survey.run(SEQUENCE, progress=quiet)
    assert (again.measured, again.held) == (0, 6)
    assert contents(place.root) == held


def test_stopped_half_way_it_goes_on_and_ends_with_the_same_measures(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "MOST_FRAMES", 2)
    written = run.write_survey
    calls = 0

    def stopping(*args: object) -> None:
        nonlocal calls
        calls += 1
        if calls == 2:
            raise KeyboardInterrupt
        written(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(run, "write_survey", stopping)
    with pytest.raises(KeyboardInterrupt):
        place.workspace.survey.run(progress=quiet)
    monkeypatch.setattr(run, "write_survey", written)
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.held) == (4, 2)
    (told,) = place.workspace.survey.told(SEQUENCE)
    assert (len(told.lines), told.unseen) == (6, 0)
    assert not list((place.root / "incoming").glob("survey-*.part"))


def test_a_master_that_is_damaged_costs_one_frame_and_is_tried_again(place: Studio) -> None:
    master = place.master("NOCT0003.JPG")
    whole = master.read_bytes()
    master.chmod(0o600)
    master.write_bytes(whole[:-9])
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.exit_code) == (5, Exit.ATTENTION)
    (note,) = report.failed
    assert note.path.endswith("NOCT0003.JPG")
    assert place.workspace.survey.told(SEQUENCE)[0].unseen == 1
    master.write_bytes(whole)
    assert place.workspace.survey.run(progress=quiet).measured == 1


def test_records_reach_a_volume_that_comes_later_and_masters_are_not_needed_for_it(
    place: Studio, tmp_path: Path
) -> None:
    place.workspace.survey.run(progress=quiet)
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "red"], person="Ingrid") as both:
        report = both.survey.run(progress=quiet)
        assert (report.measured, report.copied) == (0, 1)
        assert contents(tmp_path / "red") == contents(place.root)
        # The catalogue was rebuilt and the masters are away: the night is still told.
        for master in (place.root / "masters").rglob("*.JPG"):
            master.unlink()
        both.books.rebuild()
        assert len(both.survey.told(SEQUENCE)[0].lines) == 6


def test_measures_are_a_function_of_the_bytes(place: Studio, tmp_path: Path) -> None:
    place.workspace.survey.run(progress=quiet)
    first = contents(place.root)
    for path in sorted((place.root / "survey").rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    place.workspace.survey.run(progress=quiet)
    assert contents(place.root) == first
    assert surveyor.SIDE == 1024
