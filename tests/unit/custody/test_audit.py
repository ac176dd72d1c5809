from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.cards import spoil
from support.exports import SEQUENCE, Studio, studio

from archive.errors import Exit
from archive.model.results import AuditReport
from archive.store.durable import LocalDisk
from archive.store.ports import Grade


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def audited(place: Studio) -> AuditReport:
    return place.workspace.custody.audit(lambda *_: None)


def faults(place: Studio) -> dict[str, str]:
    return {Path(finding.path).name: finding.fault for finding in audited(place).findings}


def test_a_sound_archive_is_sound_and_that_is_on_record(place: Studio) -> None:
    place.export(f"{SEQUENCE}#1", "still-web")
    report = audited(place)
    assert report.exit_code is Exit.DONE
    assert (report.files, report.derivatives, report.findings) == (6, 1, ())
    assert report.entries == len(list((place.root / "journal").rglob("*.json"))) - 1
    stated = place.workspace.books.catalogue.stated(f"volume:{place.workspace.books.home.id}", "audit")
    assert sum(stated["coverage"].values()) == 6
    assert stated["exceptions"] == []


def test_a_flipped_bit_is_named_and_stops_its_own_frame_only(place: Studio) -> None:
    spoil(place.master("NOCT0003.JPG"))
    assert faults(place) == {"NOCT0003.JPG": "is damaged: its bytes do not match its hash list"}
    report = place.export(SEQUENCE, "set-hd")
    failed = [file for file in report.files if file.state == "failed"]
    assert len(failed) == 1
    assert "NOCT0003.JPG is damaged" in failed[0].text
    assert sum(file.state == "made" for file in report.files) == 5


def test_missing_cut_and_strange_files_are_told_apart(place: Studio) -> None:
    place.master("NOCT0001.JPG").unlink()
    cut = place.master("NOCT0002.JPG")
    size = cut.stat().st_size
    cut.chmod(0o644)
    cut.write_bytes(b"short")
    (cut.parent / "stranger.txt").write_text("hello")
    found = faults(place)
    assert found == {
        "NOCT0001.JPG": "is missing",
        "NOCT0002.JPG": f"has 5 bytes, {size} were recorded",
        "stranger.txt": "is in no hash list: it did not come by an ingest",
    }


def test_a_changed_hash_list_is_named(place: Studio) -> None:
    (manifest,) = (place.root / "masters").rglob("*.mhl")
    spoil(manifest)
    (fault,) = audited(place).findings
    assert "was changed after it was written" in fault.fault


def test_a_roll_without_a_hash_list_is_an_interrupted_ingest(place: Studio) -> None:
    roll = place.root / "masters/2026-03-18/two-00000000"
    roll.mkdir()
    (roll / "A0001.JPG").write_bytes(b"x")
    assert "run it again with the card" in faults(place)["two-00000000"]


def test_a_damaged_entry_is_named_and_takes_nothing_down(place: Studio) -> None:
    place.workspace.statements.rate([SEQUENCE], 3)
    (entry,) = (place.root / "journal").rglob("*-rating-*.json")
    spoil(entry)
    found = audited(place)
    assert [finding.path for finding in found.findings] == [f"journal: {entry.name}"]
    assert found.files == 6


def test_a_write_bit_that_came_back_is_taken_off(place: Studio) -> None:
    place.master("NOCT0001.JPG").chmod(0o644)
    assert audited(place).findings == ()
    assert place.master("NOCT0001.JPG").stat().st_mode & 0o222 == 0


def test_a_file_that_cannot_be_read_is_a_finding(place: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    made = place.path(place.export(f"{SEQUENCE}#1", "still-web"))
    honest = LocalDisk.read_back

    def broken(self: LocalDisk, path: str) -> tuple[str, Grade]:
        if path.endswith(("NOCT0002.JPG", made.name)):
            raise OSError(5, "Input/output error")
        return honest(self, path)

    monkeypatch.setattr(LocalDisk, "read_back", broken)
    assert faults(place) == {
        "NOCT0002.JPG": "cannot be read: Input/output error",
        made.name: "cannot be read: Input/output error",
    }


def test_a_link_on_the_way_to_a_file_is_one_finding_and_ends_nothing(place: Studio) -> None:
    """The audit ended with it, and was on no record."""
    made = place.path(place.export(f"{SEQUENCE}#1", "still-web"))
    folder = place.master("NOCT0003.JPG").parent
    for each in (folder, made.parent):
        elsewhere = place.root.parent / f"elsewhere-{each.name}"
        each.rename(elsewhere)
        each.symlink_to(elsewhere)
    report = audited(place)
    found = {Path(finding.path).name: finding.fault for finding in report.findings}
    assert "is a link; a volume holds no links" in found["NOCT0003.JPG"]
    assert "is a link; a volume holds no links" in found[made.name]
    assert report.files == 6
    stated = place.workspace.books.catalogue.stated(f"volume:{place.workspace.books.home.id}", "audit")
    assert stated["exceptions"]


def test_a_volume_that_cannot_be_written_is_audited_and_that_is_said(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_arguments: object, **_options: object) -> None:
        raise OSError(30, "Read-only file system")

    place.master("NOCT0001.JPG").chmod(0o644)
    monkeypatch.setattr(LocalDisk, "begin", refuse)
    monkeypatch.setattr(LocalDisk, "protect", refuse)
    report = audited(place)
    assert report.files == 6
    (finding,) = report.findings
    assert finding.fault == "cannot be written: Read-only file system. This audit is not on record."


def test_a_derivative_deleted_and_made_again_is_not_called_altered(place: Studio) -> None:
    path = place.path(place.export(f"{SEQUENCE}#1", "still-web"))
    path.unlink()
    assert place.export(f"{SEQUENCE}#1", "still-web").files[0].state == "made"
    report = audited(place)
    assert (report.exit_code, report.findings, report.derivatives) == (Exit.DONE, (), 1)
