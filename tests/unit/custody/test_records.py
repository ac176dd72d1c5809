"""Surveys and activity files: found damaged, mended from a copy, brought to another volume."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.cards import archive_in, spoil
from support.surveys import PREVIEW, SLICES, document

from archive.custody.audit import run_audit
from archive.custody.records import held_records
from archive.errors import Exit
from archive.store.durable import LocalDisk
from archive.store.surveys import SURVEY, write_survey
from archive.store.volumes import Volume
from archive.survey.activity import Activity
from archive.workspace import Workspace, open_archive

ROW = "2026 03 18 {hour:4.1f} {middle:05.2f} 34410.00000 34410.06250 {kp:.3f} 15 1\n"
FOLDER = f"{SURVEY}/north-7c1f9a2e"


class Pair:
    """Two volumes that hold one survey document, what it names, and a file of the index."""

    def __init__(self, folder: Path, workspace: Workspace) -> None:
        self.workspace = workspace
        self.one, self.other = workspace.books.volumes
        made = document()
        files = {made.slices.path: SLICES, made.frames[0].preview.path: PREVIEW}
        for volume in workspace.books.volumes:
            write_survey(volume.disk, FOLDER, files, made)
        kp = folder / "kp.txt"
        kp.write_text("".join(ROW.format(hour=h, middle=h + 1.5, kp=3.0) for h in range(0, 24, 3)))
        Activity(workspace.books).take_in(kp)

    def paths(self, volume: Volume) -> list[Path]:
        return [volume.root / record.path for record in held_records(self.workspace.books, volume.disk)]

    def faults(self) -> dict[tuple[str, str], str]:
        report = run_audit(self.workspace.books, progress=lambda *_: None)
        return {(found.volume, Path(found.path).name): found.fault for found in report.findings}


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[Pair]:
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        yield Pair(tmp_path, workspace)


KINDS = ["measures-", "previews", "slices", "activity"]


def one_of(paths: list[Path], kind: str) -> Path:
    (found,) = (path for path in paths if kind in f"{path.parent.name}/{path.name}")
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_a_flipped_bit_is_found_by_an_audit_named_and_mended_from_a_copy(pair: Pair, kind: str) -> None:
    path = one_of(pair.paths(pair.other), kind)
    sound = path.read_bytes()
    spoil(path)
    assert pair.faults() == {("b", path.name): "is damaged: its bytes do not match its record"}
    report = pair.workspace.custody.mend_records()
    assert [(note.volume, Path(note.path).name) for note in report.mended] == [("b", path.name)]
    assert (report.failed, report.exit_code) == ((), Exit.DONE)
    assert path.read_bytes() == sound
    assert path.stat().st_mode & 0o222 == 0
    assert pair.faults() == {}
    again = pair.workspace.custody.mend_records()
    assert (again.mended, again.failed) == ((), ())


def test_an_audit_counts_records_and_finds_what_a_document_names_missing(pair: Pair) -> None:
    report = run_audit(pair.workspace.books, progress=lambda *_: None)
    assert (report.files, report.findings) == (8, ())
    gone = one_of(pair.paths(pair.one), "previews")
    gone.unlink()
    assert pair.faults() == {("BLUE", gone.name): "is missing"}
    assert [note.path for note in pair.workspace.custody.mend_records().mended] == [
        str(gone.relative_to(pair.one.root))
    ]
    assert gone.read_bytes() == PREVIEW


def test_a_damaged_document_hides_what_it_names_only_until_it_is_mended(pair: Pair) -> None:
    spoil(one_of(pair.paths(pair.other), "measures-"))
    preview = next((pair.other.root / FOLDER / "previews").iterdir())
    spoil(preview)
    report = pair.workspace.custody.mend_records()
    assert len(report.mended) == 2
    assert preview.read_bytes() == PREVIEW
    assert pair.faults() == {}


def test_what_no_volume_holds_sound_is_told_and_left(pair: Pair) -> None:
    damaged = [one_of(pair.paths(volume), "slices") for volume in (pair.one, pair.other)]
    for path in damaged:
        spoil(path)
    before = [path.read_bytes() for path in damaged]
    report = pair.workspace.custody.mend_records()
    assert report.exit_code is Exit.ATTENTION
    assert {note.volume for note in report.failed} == {"BLUE", "b"}
    assert all(note.text.endswith("no mounted volume holds it sound") for note in report.failed)
    assert [path.read_bytes() for path in damaged] == before


def test_a_volume_that_lacks_records_is_brought_them_and_a_second_time_nothing(
    pair: Pair, tmp_path: Path
) -> None:
    with open_archive(tmp_path / "a", also=[tmp_path / "c"]) as workspace:
        target = workspace.books.volumes[1]
        assert target.name == "c"
        report = workspace.custody.copy_records(target)
        assert (len(report.brought), report.failed) == (4, ())
        for path in pair.paths(pair.one):
            assert (target.root / path.relative_to(pair.one.root)).read_bytes() == path.read_bytes()
        again = workspace.custody.copy_records(target)
        assert (again.brought, again.failed) == ((), ())


def test_a_copy_that_is_interrupted_before_the_document_is_completed_by_the_next(
    pair: Pair, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_archive(tmp_path / "a", also=[tmp_path / "c"]) as workspace:
        target = workspace.books.volumes[1]
        publish = LocalDisk.publish

        def failing(self: LocalDisk, source: str, name: str) -> None:
            if "measures-" in name:
                raise OSError(28, "No space left on device")
            publish(self, source, name)

        with monkeypatch.context() as patch:
            patch.setattr(LocalDisk, "publish", failing)
            report = workspace.custody.copy_records(target)
        assert [Path(note.path).name[:8] for note in report.failed] == ["measures"]
        assert "No space left on device" in report.failed[0].text
        report = workspace.custody.copy_records(target)
        assert [Path(note.path).name[:8] for note in report.brought] == ["measures"]


def test_a_damaged_source_is_passed_over_for_another(pair: Pair, tmp_path: Path) -> None:
    spoil(one_of(pair.paths(pair.one), "measures-"))
    with open_archive(tmp_path / "a", also=[tmp_path / "c"]) as workspace:
        target = next(volume for volume in workspace.books.mounted if volume.name == "c")
        assert [volume.name for volume in workspace.books.mounted] == ["BLUE", "c", "b"]
        report = workspace.custody.copy_records(target)
        assert (len(report.brought), report.failed) == (4, ())
