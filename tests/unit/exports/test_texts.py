"""Texts of frames in what is made of them, read back by independent readers."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.lineage import derivatives
from archive.exports.texts import alike, texts_of
from archive.formats.provenance import find_packet, read_packet

FRAME = f"{SEQUENCE}#2"
TEXTS = {
    "title": "Ice & arc",
    "caption": "Seen from the river,\nlate",
    "note": "mine alone",
    "creator": "Ingrid Ås",
    "rights": "© 2026",
}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def written(path: Path) -> tuple[str | None, ...]:
    packet = find_packet(path.read_bytes())
    assert packet is not None
    read = read_packet(packet)
    return read.title, read.caption, read.creator, read.rights


def test_a_still_carries_its_texts_and_never_its_note(place: Studio) -> None:
    place.workspace.texts.write([FRAME], TEXTS)
    path = place.path(place.export(FRAME, "still-web"))
    with Image.open(path) as picture:
        told = picture.getxmp()["xmpmeta"]["RDF"]["Description"]
    assert told["title"]["Alt"]["li"] == {"lang": "x-default", "text": TEXTS["title"]}
    assert told["description"]["Alt"]["li"]["text"] == TEXTS["caption"]
    assert told["creator"]["Seq"]["li"] == TEXTS["creator"]
    assert told["rights"]["Alt"]["li"]["text"] == TEXTS["rights"]
    assert b"mine alone" not in path.read_bytes()


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")
def test_an_independent_reader_finds_them_in_pictures_and_movies(place: Studio) -> None:
    place.workspace.texts.write([SEQUENCE], TEXTS)
    for spec in ("still-web", "still-print", "movie-hd"):
        path = place.path(place.export(SEQUENCE if spec == "movie-hd" else FRAME, spec))
        done = subprocess.run(["exiftool", "-j", "-XMP-dc:all", str(path)], capture_output=True, check=True)
        (told,) = json.loads(done.stdout)
        assert (told["Title"], told["Creator"], told["Rights"]) == ("Ice & arc", "Ingrid Ås", "© 2026"), spec
        assert told["Description"].replace("..", "\n").replace(".late", "\nlate") == TEXTS["caption"]


def test_a_set_has_each_frames_own_and_a_movie_what_all_say_alike(place: Studio) -> None:
    write = place.workspace.texts.write
    write([SEQUENCE], {"creator": "Ingrid", "title": "A night"})
    write([FRAME], {"title": "The best one"})
    titles = [written(place.root / file.path)[0] for file in place.export(SEQUENCE, "set-hd").files]
    assert titles == ["A night", "The best one", *["A night"] * 4]
    movie = place.path(place.export(SEQUENCE, "movie-hd"))
    assert written(movie) == (None, None, "Ingrid", None)
    assert alike([]) == ()


def test_texts_are_in_the_file_key_and_without_them_it_is_what_it_was(place: Studio) -> None:
    def key() -> str:
        return derivatives(place.workspace.books.catalogue)[-1].file_key

    place.export(FRAME, "still-web")
    plain = key()
    place.workspace.texts.write([FRAME], {"note": "a note changes nothing"})
    assert place.workspace.exports.stale() == []
    place.workspace.texts.write([FRAME], {"title": "Ice"})
    (line,) = place.workspace.exports.stale()
    assert (line.state, line.reason, line.changes) == (
        "stale",
        "what is written about it changed",
        ("title changed",),
    )
    place.workspace.exports.regenerate([], current=True)
    assert key() != plain
    assert place.workspace.exports.stale() == []
    place.workspace.texts.write([FRAME], {"title": ""})
    (file,) = place.export(FRAME, "still-web").files
    assert (file.state, plain.removeprefix("sha256:")[:8] in file.path) == ("fresh", True)


def test_the_old_texts_are_written_again_byte_for_byte_after_a_rebuild_too(place: Studio) -> None:
    place.workspace.texts.write([FRAME], TEXTS)
    path = place.path(place.export(FRAME, "still-web"))
    before = path.read_bytes()
    place.workspace.texts.write([FRAME], {"title": "Another", "rights": ""})
    place.workspace.books.rebuild()
    path.unlink()
    (report,) = place.workspace.exports.regenerate([path.name])
    assert [file.state for file in report.files] == ["made"]
    assert path.read_bytes() == before


def test_texts_too_long_for_any_file_stop_their_frame_alone_and_say_so(place: Studio) -> None:
    place.workspace.texts.write([FRAME], dict.fromkeys(("title", "caption", "creator", "rights"), "&" * 4000))
    report = place.export(SEQUENCE, "still-web")
    assert [file.state for file in report.files].count("made") == 5
    (lost,) = report.lost_frames
    assert "The texts of NOCT0002.JPG are too long" in lost.text
    assert "Shorten them" in lost.text


def test_frames_without_texts_have_none(place: Studio) -> None:
    frame = place.workspace.frame(FRAME)
    assert texts_of(place.workspace.books.catalogue, [frame.id]) == {frame.id: ()}
