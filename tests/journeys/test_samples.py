"""Real files of many cameras: every one accounted for, and a picture made of every one that holds one."""

from __future__ import annotations

import pytest
from support.cards import archive_in, site_of
from support.samples import SAMPLES, needs_samples

from archive.model.capture import Role
from archive.model.results import IngestReport
from archive.workspace import Workspace

pytestmark = [pytest.mark.slow, pytest.mark.samples, needs_samples]

FOLDERS = ("raw", "jpeg", "sequence", "movie", "broken")
SOUND = ("raw", "jpeg", "sequence", "movie")

UNDECODABLE: dict[str, str] = {"GOPR8513.GPR": "does not support this kind of raw"}
"""Files outside broken/ that hold no picture this release can decode, and a word of what it says of them."""


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Workspace, dict[str, IngestReport]]:
    workspace = archive_in(tmp_path_factory.mktemp("samples") / "archive")
    assert SAMPLES is not None
    reports = {}
    for folder in FOLDERS:
        (reports[folder],) = workspace.ingest.take([SAMPLES / folder], site=site_of(workspace))
    return workspace, reports


@pytest.mark.parametrize("folder", FOLDERS)
def test_every_file_is_copied_held_ignored_or_failed(
    taken: tuple[Workspace, dict[str, IngestReport]], folder: str
) -> None:
    assert SAMPLES is not None
    report = taken[1][folder]
    there = [path for path in (SAMPLES / folder).rglob("*") if path.is_file()]
    told = report.copied + len(report.held) + len(report.ignored) + len(report.failed)
    assert told == len(there)
    assert sum(roll.files for roll in report.rolls) == report.copied
    if folder in SOUND:
        assert report.failed == ()


def test_the_archive_of_all_of_them_is_sound(taken: tuple[Workspace, dict[str, IngestReport]]) -> None:
    assert taken[0].custody.audit(lambda *_: None).findings == ()


def test_a_still_is_made_of_every_picture_and_the_rest_says_why_not(
    taken: tuple[Workspace, dict[str, IngestReport]],
) -> None:
    assert SAMPLES is not None
    workspace, _ = taken
    broken = {path.name for path in (SAMPLES / "broken").rglob("*")}
    refused: dict[str, str] = {}
    made = 0
    for line in workspace.nights():
        frames = [each.frame for each in workspace.frames(line.night)]
        report = workspace.exports.export(line.night, "still-web")
        assert len(report.files) == len(frames)
        made += sum(file.state == "made" for file in report.files)
        refused |= {note.path: note.text for note in report.lost_frames}
    strange = {n: text for n, text in refused.items() if n not in broken and n not in UNDECODABLE}
    assert strange == {}
    for name, text in refused.items():
        assert "Traceback" not in text
        assert name in text
        assert UNDECODABLE.get(name, "") in text
    assert UNDECODABLE.keys() <= refused.keys()
    assert made >= 30


def test_raw_files_and_their_companions_are_paired(
    taken: tuple[Workspace, dict[str, IngestReport]],
) -> None:
    workspace, _ = taken
    names = [line.frame.name for night in workspace.nights() for line in workspace.frames(night.night)]
    assert "CRW_0313.CRW" in names
    assert "CRW_0313.THM" not in names
    crw = workspace.frame("CRW_0313.CRW")
    assert [role for _, role in workspace.books.catalogue.companions(crw.id)] != []
    assert crw.role is Role.RAW
