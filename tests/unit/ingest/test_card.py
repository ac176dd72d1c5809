"""What is on a card."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest
from support.cards import contents, jpeg, put, tiny_card, wav
from support.exif_bytes import box, tiff

from archive.errors import UsageError
from archive.ingest import opening
from archive.ingest.card import Card, read_card, with_pairs
from archive.model.capture import Role

RAW = tiff({0x10F: "Invented", 0x110: "One", 254: 1, 330: 8})


def roles(card: Card) -> dict[str, Role]:
    return {file.path: file.role for file in card.files}


def test_every_plain_file_is_found_in_order_with_its_role(tmp_path: Path) -> None:
    tiny_card(tmp_path, 2)
    put(tmp_path, "DCIM/100NOCTU/NOCT0001.WAV", wav())
    put(tmp_path, "MISC/INDEX.CTG", b"\0\1index")
    card = read_card(tmp_path)
    assert list(roles(card).items()) == [
        ("DCIM/100NOCTU/NOCT0001.JPG", Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.WAV", Role.SOUND),
        ("DCIM/100NOCTU/NOCT0002.JPG", Role.PICTURE),
        ("MISC/INDEX.CTG", Role.HOUSEKEEPING),
    ]
    assert (card.ignored, card.failed) == ((), ())


def test_links_sockets_pipes_and_litter_are_named_and_left(tmp_path: Path) -> None:
    card = tmp_path / "card"
    tiny_card(card, 1)
    outside = put(tmp_path / "outside", "secret.jpg", jpeg(9))
    (card / "link.jpg").symlink_to(outside)
    (card / "folder-link").symlink_to(outside.parent)
    os.mkfifo(card / "pipe")
    with socket.socket(socket.AF_UNIX) as plug:
        here = Path.cwd()
        os.chdir(card)
        try:
            plug.bind("plug")
        finally:
            os.chdir(here)
    put(card, ".DS_Store", b"\0\0\0\1Bud1")
    put(card, "Thumbs.db", b"")
    found = read_card(card)
    assert list(roles(found)) == ["DCIM/100NOCTU/NOCT0001.JPG"]
    told = {note.path: note.text for note in found.ignored}
    assert set(told) == {"link.jpg", "folder-link", "pipe", "plug", ".DS_Store", "Thumbs.db"}
    assert "link" in told["link.jpg"]
    assert "neither file nor folder" in told["plug"]
    assert found.failed == ()


def test_an_empty_file_is_a_failure_and_never_silent(tmp_path: Path) -> None:
    put(tmp_path, "DCIM/100NOCTU/NOCT0001.DNG", b"")
    card = read_card(tmp_path)
    assert card.files == ()
    (note,) = card.failed
    assert note.path == "DCIM/100NOCTU/NOCT0001.DNG"
    assert "0 bytes" in note.text


def test_names_are_shown_escaped_and_kept_as_they_are(tmp_path: Path) -> None:
    put(tmp_path, b"DCIM/bad-\xff.JPG", b"")
    put(tmp_path, "DCIM/red\x1b[31m.JPG", b"")
    put(tmp_path, b"DCIM/good-\xe9.JPG", jpeg(1))
    card = read_card(tmp_path)
    assert {note.path for note in card.failed} == {"DCIM/bad-\\xff.JPG", "DCIM/red\\x1b[31m.JPG"}
    assert os.fsencode(card.files[0].path) == b"DCIM/good-\xe9.JPG"


def test_an_unreadable_file_is_told_and_the_rest_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tiny_card(tmp_path, 3)
    opened = opening.open_plain

    def broken(self: Path, *args: object, **options: object) -> object:
        if self.name == "NOCT0002.JPG":
            raise OSError(5, "Input/output error", str(self))
        return opened(self, *args, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(opening, "open_plain", broken)
    card = read_card(tmp_path)
    assert [file.name for file in card.files] == ["NOCT0001.JPG", "NOCT0003.JPG"]
    assert [(n.path, n.text) for n in card.failed] == [
        ("DCIM/100NOCTU/NOCT0002.JPG", "cannot be read: Input/output error")
    ]


def test_folders_without_end_are_cut_off_and_told(tmp_path: Path) -> None:
    put(tmp_path, "/".join(["d"] * 70) + "/deep.jpg", jpeg(1))
    card = read_card(tmp_path)
    assert card.files == ()
    assert len(card.failed) == 1
    assert "deeper than" in card.failed[0].text


@pytest.mark.parametrize("kind", ["nothing", "file"])
def test_what_is_no_folder_is_refused(tmp_path: Path, kind: str) -> None:
    source = tmp_path / "there"
    if kind == "file":
        source.write_bytes(b"x")
    with pytest.raises(UsageError) as caught:
        read_card(source)
    assert "there" in caught.value.message
    assert "Nothing was changed" in caught.value.hint


def test_reading_a_card_changes_nothing_on_it(tmp_path: Path) -> None:
    tiny_card(tmp_path, 3)
    before = contents(tmp_path)
    read_card(tmp_path)
    assert contents(tmp_path) == before


def masters(tmp_path: Path) -> dict[str, str | None]:
    return {f.name: f.master and f.master.rpartition("/")[2] for f in with_pairs(read_card(tmp_path).files)}


def test_raw_is_the_master_of_its_jpeg_thumbnail_sound_and_sidecar(tmp_path: Path) -> None:
    put(tmp_path, "DCIM/100/A0001.DNG", RAW)
    put(tmp_path, "DCIM/100/A0001.JPG", jpeg(1))
    put(tmp_path, "DCIM/100/a0001.thm", jpeg(2))
    put(tmp_path, "DCIM/100/A0001.WAV", wav())
    put(tmp_path, "DCIM/100/A0001.DNG.xmp", b"<x:xmpmeta/>")
    put(tmp_path, "DCIM/101/A0001.JPG", jpeg(3))
    assert masters(tmp_path / "DCIM/100") == {
        "A0001.DNG": None,
        "A0001.DNG.xmp": "A0001.DNG",
        "A0001.JPG": "A0001.DNG",
        "A0001.WAV": "A0001.DNG",
        "a0001.thm": "A0001.DNG",
    }
    assert masters(tmp_path / "DCIM/101") == {"A0001.JPG": None}


def test_of_two_pictures_the_one_that_is_no_jpeg_is_the_master(tmp_path: Path) -> None:
    put(tmp_path, "A0001.HEIC", box(b"ftyp", b"heic\0\0\0\0"))
    put(tmp_path, "A0001.JPG", jpeg(1))
    put(tmp_path, "A0001.MOV", box(b"ftyp", b"qt  \0\0\0\0"))
    assert masters(tmp_path) == {"A0001.HEIC": None, "A0001.JPG": "A0001.HEIC", "A0001.MOV": "A0001.HEIC"}


def test_a_clip_and_its_thumbnail_belong_together(tmp_path: Path) -> None:
    put(tmp_path, "A0001.MOV", box(b"ftyp", b"qt  \0\0\0\0"))
    put(tmp_path, "A0001.THM", jpeg(1))
    assert masters(tmp_path) == {"A0001.MOV": None, "A0001.THM": "A0001.MOV"}


def test_two_raw_files_of_one_stem_are_two_masters(tmp_path: Path) -> None:
    put(tmp_path, "A0001.DNG", RAW)
    put(tmp_path, "A0001.CR2", RAW + b"x")
    put(tmp_path, "A0001.WAV", wav())
    found = masters(tmp_path)
    assert found["A0001.DNG"] is None
    assert found["A0001.CR2"] is None
    assert found["A0001.WAV"] == "A0001.CR2"


def test_a_raw_without_a_time_takes_the_facts_of_its_companion(tmp_path: Path) -> None:
    from support.cards import BEGIN

    put(tmp_path, "A0001.DNG", RAW)
    put(tmp_path, "A0001.THM", jpeg(1, taken=BEGIN))
    (raw,) = (f for f in with_pairs(read_card(tmp_path).files) if f.role is Role.RAW)
    assert raw.facts is not None
    assert raw.facts.taken == BEGIN.isoformat()
    assert raw.facts.model == "One"
