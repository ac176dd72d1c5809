"""A card that brings its own hash list: held against what was read, and told."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
import xxhash
from support import mhl_reference
from support.cards import archive_in, put, site_of, spoil, tiny_card
from support.rolls import write_generation

from archive.errors import Exit
from archive.formats.hashchain import CHAIN_NAME, ChainEntry, c4, chain_bytes
from archive.model.results import HistoryCheck, IngestReport
from archive.workspace import Workspace

FIRST = "DCIM/100NOCTU/NOCT0001.JPG"


def listed(card: Path, **without: str) -> dict[str, bytes]:
    return {
        path.relative_to(card).as_posix(): path.read_bytes()
        for path in sorted(card.rglob("*"))
        if path.is_file() and "ascmhl" not in path.parts and path.name not in without.values()
    }


@pytest.fixture
def card(tmp_path: Path) -> Path:
    made = tiny_card(tmp_path / "card", 3)
    write_generation(made, listed(made))
    return made


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    return archive_in(tmp_path / "a")


def take(workspace: Workspace, card: Path) -> IngestReport:
    (report,) = workspace.ingest.take([card], site=site_of(workspace))
    return report


def check(workspace: Workspace, card: Path) -> HistoryCheck:
    (found,) = take(workspace, card).histories
    return found


def test_a_card_that_is_what_its_hash_list_says_is_told_so(workspace: Workspace, card: Path) -> None:
    report = take(workspace, card)
    assert report.histories == (HistoryCheck(folder=".", generations=1, verified=3, unlisted=0, faults=()),)
    assert report.exit_code is Exit.DONE
    assert report.copied == 5


def test_a_file_that_differs_is_taken_in_told_and_stays_on_record(workspace: Workspace, card: Path) -> None:
    spoil(card / FIRST)
    report = take(workspace, card)
    (history,) = report.histories
    assert [(note.path, note.text) for note in history.faults] == [
        (FIRST, "is not what the card's own hash list says (xxh128); taken in as it is")
    ]
    assert (history.verified, report.copied, report.failed) == (2, 5, ())
    assert report.exit_code is Exit.ATTENTION
    (entry,) = (workspace.root / "journal").rglob("*-ingest-*.json")
    (stated,) = [c["value"] for c in json.loads(entry.read_bytes())["changes"] if c["layer"] == "card"]
    assert stated["history"] == [
        {
            "folder": ".",
            "generations": 1,
            "verified": 2,
            "unlisted": 0,
            "faults": [{"path": FIRST, "text": history.faults[0].text}],
        }
    ]
    again = take(workspace, card)
    assert again.copied == 0 and again.histories == report.histories


def test_a_card_without_a_hash_list_has_nothing_on_record_about_one(
    workspace: Workspace, tmp_path: Path
) -> None:
    report = take(workspace, tiny_card(tmp_path / "plain", 1))
    assert report.histories == ()
    (entry,) = (workspace.root / "journal").rglob("*-ingest-*.json")
    assert b'"history"' not in entry.read_bytes()


def test_missing_and_unlisted_files_are_told_apart(workspace: Workspace, card: Path) -> None:
    (card / FIRST).unlink()
    put(card, "DCIM/100NOCTU/NOCT0009.TXT", b"later")
    history = check(workspace, card)
    assert (history.verified, history.unlisted) == (2, 1)
    assert [(note.path, note.text) for note in history.faults] == [
        (FIRST, "is in the card's hash list and not on the card")
    ]


@pytest.mark.parametrize("fault", ["edited", "missing", "no XML", "link", "leaves its folder"])
def test_a_hash_list_that_cannot_be_trusted_is_a_fault_and_judges_no_file(
    workspace: Workspace, card: Path, fault: str
) -> None:
    (manifest,) = (card / "ascmhl").glob("*.mhl")
    if fault == "edited":
        manifest.write_bytes(manifest.read_bytes().replace(b"dome", b"tome"))
    elif fault == "missing":
        manifest.unlink()
    elif fault == "no XML":
        (card / "ascmhl" / CHAIN_NAME).write_bytes(b"<ascmhldirectory>")
    elif fault == "link":
        manifest.rename(card.parent / "elsewhere.mhl")
        manifest.symlink_to(card.parent / "elsewhere.mhl")
    else:
        chain = (card / "ascmhl" / CHAIN_NAME).read_text()
        (card / "ascmhl" / CHAIN_NAME).write_text(chain.replace(manifest.name, f"../{manifest.name}"))
    history = check(workspace, card)
    assert (history.verified, history.unlisted, len(history.faults)) == (0, 0, 1)
    assert history.faults[0].path == "ascmhl/ascmhl_chain.xml"


@pytest.mark.parametrize("kind", ["md5", "sha1", "xxh64", "xxh3", "c4"])
def test_digests_of_other_tools_are_computed_and_compared(
    workspace: Workspace, tmp_path: Path, kind: str
) -> None:
    data = {"a.bin": b"first", "b.bin": b"second"}
    for path, content in data.items():
        put(tmp_path / "card", path, content)
    wrong = {"a.bin": b"first", "b.bin": b"another"}
    foreign_history(tmp_path / "card", kind, wrong)
    history = check(workspace, tmp_path / "card")
    assert history.verified == 1
    assert [(note.path, note.text) for note in history.faults] == [
        ("b.bin", f"is not what the card's own hash list says ({kind}); taken in as it is")
    ]


def foreign_history(folder: Path, kind: str, contents: dict[str, bytes]) -> None:
    """A history such as other tools write, in a format of their own choice."""
    digests = {
        "md5": lambda data: hashlib.md5(data).hexdigest().upper(),
        "sha1": lambda data: hashlib.sha1(data).hexdigest(),
        "xxh64": xxhash.xxh64_hexdigest,
        "xxh3": xxhash.xxh3_64_hexdigest,
        "c4": c4,
    }
    hashes = "".join(
        f'<hash><path size="{len(data)}">{path}</path>'
        f'<{kind} action="original">{digests[kind](data)}</{kind}></hash>'
        for path, data in contents.items()
    )
    document = (
        '<?xml version="1.0" encoding="UTF-8"?><hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0">'
        "<creatorinfo><creationdate>2026-03-18T20:00:00+00:00</creationdate><hostname>h</hostname>"
        '<tool version="1">t</tool></creatorinfo><processinfo><process>in-place</process></processinfo>'
        f"<hashes>{hashes}</hashes></hashlist>"
    ).encode()
    name = "0001_card_2026-03-18_200000Z.mhl"
    (folder / "ascmhl").mkdir()
    (folder / "ascmhl" / name).write_bytes(document)
    chain = chain_bytes([ChainEntry(generation=1, path=name, c4=c4(document))])
    (folder / "ascmhl" / CHAIN_NAME).write_bytes(chain)


def test_histories_of_rolls_below_the_root_speak_of_their_own_files_only(
    workspace: Workspace, tmp_path: Path
) -> None:
    card = tmp_path / "card"
    for roll in ("A001", "A002"):
        write_generation(card / roll, {"x.bin": roll.encode(), "sub/y.bin": b"y" + roll.encode()})
    put(card, "loose.txt", b"loose")
    spoil(card / "A002/x.bin", at=0)
    found = {check.folder: check for check in take(workspace, card).histories}
    assert (found["A001"].verified, found["A001"].faults) == (2, ())
    assert (found["A002"].verified, [n.path for n in found["A002"].faults]) == (1, ["A002/x.bin"])


def test_a_later_generation_that_failed_vouches_for_nothing_and_a_file_ignored_is_no_fault(
    workspace: Workspace, tmp_path: Path
) -> None:
    card = tmp_path / "card"
    first = {"a.bin": b"sound", ".DS_Store": b"litter"}
    write_generation(card, first)
    write_generation(card, {"a.bin": b"broken"}, action="failed", held=first)
    history = check(workspace, card)
    assert (history.generations, history.verified) == (2, 0)
    assert [note.path for note in history.faults] == ["a.bin"]


def test_names_are_compared_whatever_their_unicode_form(workspace: Workspace, tmp_path: Path) -> None:
    card = tmp_path / "card"
    write_generation(card, {"no\u0308rd.bin": b"decomposed in the list"})
    (card / "no\u0308rd.bin").rename(card / "n\u00f6rd.bin")
    assert check(workspace, card).verified == 1


@pytest.mark.slow
def test_a_history_that_the_reference_implementation_wrote_is_verified(
    workspace: Workspace, tmp_path: Path
) -> None:
    card = tiny_card(tmp_path / "card", 3)
    mhl_reference.create_history(card)
    history = check(workspace, card)
    assert (history.generations, history.verified, history.faults) == (1, 3, ())
