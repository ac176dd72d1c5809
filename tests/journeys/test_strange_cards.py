"""Cards as the world makes them: names that no system agrees on, and everything on them accounted for."""

from __future__ import annotations

import json
import os
import socket
from datetime import timedelta
from pathlib import Path
from urllib.parse import unquote_to_bytes

import pytest
from support import mhl_reference
from support.cards import BEGIN, archive_in, contents, jpeg, put, site_of, tiny_card
from support.commands import run

from archive.errors import Exit
from archive.model.results import IngestReport
from archive.store.digest import digest_at
from archive.views.signing import sign_page
from archive.workspace import Workspace

STRANGE: dict[str, bytes] = {
    "newline": b"DCIM/line\nbreak.JPG",
    "escape": b"DCIM/\x1b[31mred\x1b[0m.JPG",
    "markup": b"DCIM/<b>&amp;[bold].JPG",
    "no UTF-8": b"DCIM/\xff\xfe\x80.JPG",
    "Latin-1": b"DCIM/S\xf8rland.JPG",
    "reserved": b"DCIM/CON.JPG",
    "reserved alone": b"DCIM/aux",
    "trailing dot": b"DCIM/ends.",
    "trailing blank": b"DCIM/ends ",
    "leading blank": b"DCIM/ begins",
    "drive": b"DCIM/C:colon.JPG",
    "backslash": b"DCIM/..\\..\\up.JPG",
    "question": b'DCIM/what?*|".JPG',
    "percent": b"DCIM/100%41.JPG",
    "percent and more": b"DCIM/100%?.JPG",
    "lower case": b"DCIM/100NOCTU/twin.jpg",
    "upper case": b"DCIM/100NOCTU/TWIN.JPG",
    "composed": "DCIM/n\u00f6rd.JPG".encode(),
    "decomposed": "DCIM/no\u0308rd.JPG".encode(),
    "longest": b"DCIM/" + b"x" * 251 + b".JPG",
    "longest, no ASCII": "DCIM/{}.JPG".format("\u661f" * 83).encode(),
    "longest twin": b"DCIM/" + b"x" * 250 + b"y.JPG",
    "hash list folder": b"DCIM/AscMHL/x.JPG",
    "right to left": "DCIM/\u202egnp.JPG".encode(),
    "tab and bell": b"DCIM/\t\x07.JPG",
    "emoji": "DCIM/\U0001f30c aurora.JPG".encode(),
    "dots": b"DCIM/...JPG",
    "delete": b"DCIM/\x7f.JPG",
}
"""Names by what is strange about them."""


def strange_card(card: Path) -> Path:
    for number, path in enumerate(STRANGE.values()):
        moment = BEGIN + timedelta(minutes=number)
        put(card, path, jpeg(number, taken=moment), modified=moment)
    return card


def take(workspace: Workspace, card: Path) -> IngestReport:
    (report,) = workspace.ingest.take([card], site=site_of(workspace))
    return report


def originals(root: Path) -> dict[bytes, tuple[str, str]]:
    """Of every file that an ingest entry states: the card's own path, where it is kept, its digest."""
    found = {}
    for entry in (root / "journal").rglob("*-ingest-*.json"):
        for change in json.loads(entry.read_bytes())["changes"]:
            if change["layer"] == "ingest":
                for file in change["value"]["files"]:
                    path = file.get("original", file["path"])
                    kept = f"masters/{change['value']['folder']}/{file['path']}"
                    found[unquote_to_bytes(path)] = (kept, file["digest"])
    return found


def test_every_strange_name_is_kept_proven_and_on_record(tmp_path: Path) -> None:
    card = strange_card(tmp_path / "card")
    before = contents(card)
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
        assert (report.copied, report.failed, report.exit_code) == (len(STRANGE), (), Exit.DONE)
        stated = originals(tmp_path / "a")
        assert stated.keys() == set(STRANGE.values())
        assert len({kept.casefold() for kept, _ in stated.values()}) == len(STRANGE)
        for path, (kept, digest) in stated.items():
            assert digest_at(tmp_path / "a" / kept) == digest == digest_at(card / os.fsdecode(path))
            assert all(len(part.encode()) <= 240 for part in Path(kept).parts)
        audit = workspace.custody.audit(lambda *_: None)
        assert (audit.files, audit.findings) == (len(STRANGE), ())
        again = take(workspace, card)
        assert (again.copied, len(again.held)) == (0, len(STRANGE))
        assert workspace.may_erase(card, copies=1).may_erase
        kept_before = workspace.books.catalogue.dump()
        workspace.custody.rebuild(lambda *_: None)
        assert workspace.books.catalogue.dump() == kept_before
    assert contents(card) == before
    page = sign_page([report])
    for character in "\x1b\x07\x7f\u202e\udcff":
        assert character not in page
    assert "<b>" not in page


@pytest.mark.slow
def test_a_roll_of_strange_names_is_verified_by_the_reference_implementation(tmp_path: Path) -> None:
    card = strange_card(tmp_path / "card")
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
    for roll in report.rolls:
        folder = tmp_path / "a/masters" / roll.folder
        assert mhl_reference.verify_folder(folder) == mhl_reference.CLEAN
        assert mhl_reference.verify_folder(folder, folder_hashes=True) == mhl_reference.CLEAN


@pytest.mark.slow
def test_the_command_shows_them_escaped_and_writes_its_reports(tmp_path: Path) -> None:
    card = strange_card(tmp_path / "card")
    put(card, b"DCIM/\x1b]0;title\x07.JPG", b"")
    archive_in(tmp_path / "a").close()
    told = run("ingest", card, "--by", "Ingrid", "--card", "A07", "--report", tmp_path / "out",
               folder=tmp_path / "a", code=1)  # fmt: skip
    assert not any(ord(char) < 32 and char != "\n" for char in told.out)
    assert "\\x1b]0;title\\x07.JPG: empty: 0 bytes" in told.out
    (page,) = (tmp_path / "out").glob("*.html")
    (data,) = (tmp_path / "out").glob("*.json")
    assert "\x1b" not in page.read_text(encoding="utf-8")
    (document,) = json.loads(data.read_text(encoding="utf-8"))
    assert (document["card"], document["person"], document["copied"]) == ("A07", "Ingrid", len(STRANGE))
    asked = run("may-erase", card, "--copies", "1", folder=tmp_path / "a", code=1)
    assert "No: keep" in asked.out and "1 × empty: 0 bytes" in asked.out
    answer = run("may-erase", card, "--copies", "1", "--json", folder=tmp_path / "a", code=1).json
    assert answer["may_erase"] is False and len(answer["lacking"]) == 1


def test_what_is_no_file_or_cannot_be_reached_is_told_with_its_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 2)
    (card / "link.JPG").symlink_to(card / "DCIM/100NOCTU/NOCT0001.JPG")
    (card / "linked folder").symlink_to(tmp_path)
    (card / "dangling").symlink_to(card / "nowhere")
    os.mkfifo(card / "pipe")
    with socket.socket(socket.AF_UNIX) as made:
        monkeypatch.chdir(card)
        made.bind("socket")
        monkeypatch.undo()
    put(card, "closed/NOCT0009.JPG", b"cannot be seen")
    put(card, "DCIM/100NOCTU/NOCT0003.JPG", b"")
    deep = card
    for _ in range(70):
        deep = deep / "d"
    put(deep, "NOCT0004.JPG", b"too deep")
    scan = os.scandir

    def closed(path: object) -> object:
        if str(path).endswith("closed"):
            raise PermissionError(13, "Permission denied")
        return scan(path)  # type: ignore[call-overload]

    monkeypatch.setattr(os, "scandir", closed)
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
    assert report.copied == 2
    assert {note.path: note.text for note in report.ignored} == {
        "link.JPG": "a link; links are not followed",
        "linked folder": "a link; links are not followed",
        "dangling": "a link; links are not followed",
        "pipe": "neither file nor folder",
        "socket": "neither file nor folder",
    }
    failed = {note.path: note.text for note in report.failed}
    assert failed.pop("closed/") == "folder cannot be listed: Permission denied"
    assert failed.pop("DCIM/100NOCTU/NOCT0003.JPG").startswith("empty")
    ((path, text),) = failed.items()
    assert set(path) == {"d", "/"} and text == "deeper than 64 folders"
    assert report.exit_code is Exit.ATTENTION


def test_a_card_renamed_copied_elsewhere_or_in_another_folder_is_recognised(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 4)
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, card)
        (tmp_path / "other").mkdir()
        for number, path in enumerate(sorted(card.rglob("*.JPG"))):
            put(tmp_path / "other", f"backup/2026/IMG {number}.jpg", path.read_bytes())
        report = take(workspace, tmp_path / "other")
        assert (report.copied, len(report.held), report.rolls) == (0, 4, ())
        assert len(workspace.frames("2026-03-18")) == 4


def test_the_same_name_with_other_bytes_is_kept_in_a_roll_of_its_own(tmp_path: Path) -> None:
    first = tiny_card(tmp_path / "first", 1)
    second = tiny_card(tmp_path / "second", 1, begin=BEGIN + timedelta(minutes=30))
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, first)
        take(workspace, second)
        assert len(list((tmp_path / "a/masters").rglob("NOCT0001.JPG"))) == 2
        assert len({line.frame.id for line in workspace.frames("2026-03-18")}) == 2


def test_numbers_that_roll_over_from_9999_to_0001_stay_one_sequence(tmp_path: Path) -> None:
    # DCF (CIPA DC-009): 0001 to 9999; cameras then begin again in a new folder (common practice).
    card = tiny_card(tmp_path / "card", 5, first=9995, folder="DCIM/100NOCTU")
    tiny_card(card, 5, first=1, folder="DCIM/101NOCTU", begin=BEGIN + timedelta(seconds=50))
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
        assert report.copied == 10
        (line,) = workspace.sequences()
        assert (line.frames, line.missed) == (10, 0)
        frames = workspace.frames(line.address)
        assert [frame.frame.name for frame in frames] == [
            *(f"NOCT{number}.JPG" for number in range(9995, 10000)),
            *(f"NOCT{number:04d}.JPG" for number in range(1, 6)),
        ]
        again = tiny_card(
            tmp_path / "reset", 5, first=1, folder="DCIM/100NOCTU", begin=BEGIN + timedelta(hours=3)
        )
        assert take(workspace, again).copied == 5
        assert len(workspace.sequences()) == 2
