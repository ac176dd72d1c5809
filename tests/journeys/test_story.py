"""A whole night told by commands, as people and scripts type them."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.cards import contents, demo_cards, put, spoil, tiny_card
from support.commands import run

from archive.demo.cards import DemoNight

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> DemoNight:
    return demo_cards(tmp_path_factory.mktemp("cards"))


def test_a_night_from_card_to_movie_and_back(night: DemoNight, tmp_path: Path) -> None:
    home = tmp_path / "NightArchive"
    made = run("new", home, "--name", "BLUE", "--json", folder=tmp_path).json
    assert Path(made["root"]) == home
    site = night.site
    run("site", "add", site.name, "--latitude", str(site.latitude), "--longitude", str(site.longitude),
        "--zone", site.zone, "--json", folder=home)  # fmt: skip
    assert [each["name"] for each in run("site", "list", "--json", folder=home).json] == [site.name]
    cards = [card.folder for card in night.cards]
    before = [contents(card) for card in cards]
    reports = run("ingest", *cards, "--site", site.name, "--by", "Ingrid", "--json", folder=home).json
    assert [contents(card) for card in cards] == before
    assert [report["failed"] for report in reports] == [[], []]
    assert sum(roll["frames"] for report in reports for roll in report["rolls"]) == sum(
        card.frames for card in night.cards
    )
    again = run("ingest", *cards, "--site", site.name, "--json", folder=home).json
    assert [report["copied"] for report in again] == [0, 0]

    (line,) = run("nights", "--json", folder=home).json
    assert line["night"] == night.night
    sequences = run("sequences", night.night, "--json", folder=home).json
    assert sorted(each["frames"] for each in sequences) == sorted(c.sequence_frames for c in night.cards)
    assert all(each["missed"] == 1 for each in sequences)
    slow = next(each for each in sequences if "ormlys" in each["camera"])
    north = next(each for each in sequences if each is not slow)
    address = north["address"]
    assert len(run("frames", address, "--json", folder=home).json) == north["frames"]
    frame = f"{address}#4"
    story = run("show", frame, "--json", folder=home).json
    assert story["copies"][0][0] == "BLUE"
    run("rate", frame, "--rating", "5", "--json", folder=home)
    run("keyword", address, "--word", "river ice", "--json", folder=home)
    assert run("frames", frame, "--json", folder=home).json[0]["rating"] == 5

    reads, true = night.clock_photo
    run("clock", slow["camera"], "--reads", reads, "--true", true, "--json", folder=home)
    moved = next(s for s in run("sequences", "--json", folder=home).json if s["address"] == slow["address"])
    assert moved["first"] != slow["first"]

    saved = run("recipe", "set", frame, "exposure.stops=0.5", "contrast.amount=0.1", "--json", folder=home)
    assert saved.json["entry"].startswith("sha256:")
    dry = run("recipe", "carry", frame, "--to", address, "--dry-run", "--json", folder=home).json
    assert dry["entry"] is None
    carried = run("recipe", "carry", frame, "--to", address, "--json", folder=home).json
    assert carried["frames"] == north["frames"]
    assert run("recipe", "show", frame, "--json", folder=home).json["effective"]["base"]
    assert len(run("recipe", "history", frame, "--json", folder=home).json) == 2

    still = run("export", frame, "--spec", "still-web", "--json", folder=home).json
    frames = run("export", address, "--spec", "set-hd", "--json", folder=home).json
    movie = run("export", address, "--spec", "movie-hd", "--json", folder=home).json
    assert [len(report["files"]) for report in (still, frames, movie)] == [1, north["frames"], 1]
    assert run("stale", "--json", folder=home).json == []

    run("recipe", "set", frame, "exposure.stops=1.5", "--json", folder=home)
    (stale,) = run("stale", "--json", folder=home, code=1).json
    assert stale["path"] == still["files"][0]["path"]
    assert stale["state"] == "stale"
    (current,) = run("regenerate", "--current", "--json", folder=home).json
    assert current["files"][0]["state"] == "made"
    first = home / still["files"][0]["path"]
    original = first.read_bytes()
    first.unlink()
    (exact,) = run("regenerate", first, "--json", folder=home).json
    assert exact["files"][0]["state"] == "made"
    assert first.read_bytes() == original

    sent = tmp_path / "sent.jpg"
    shutil.copy(first, sent)
    answer = run("lineage", sent, "--json", folder=home).json
    assert answer["certainty"] == "certain: byte for byte"
    assert answer["inputs"][0]["address"] == frame
    assert run("audit", "--json", folder=home).json["findings"] == []
    counted = run("rebuild", "--json", folder=home).json
    assert counted["faults"] == []
    assert counted["frames"] == sum(card.frames for card in night.cards)
    assert run("lineage", sent, "--json", folder=home).json == answer

    spoil(next((home / "masters").rglob(Path(story["line"]["frame"]["path"]).name)))
    (finding,) = run("audit", "--json", folder=home, code=1).json["findings"]
    assert "is damaged" in finding["fault"]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with one small sequence, for questions that are refused."""
    folder = tmp_path_factory.mktemp("home")
    card = tiny_card(folder / "card")
    run("new", folder / "archive", folder=folder)
    run("ingest", card, folder=folder / "archive")
    return folder / "archive"


FRAME = "NOCT0002.JPG"


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["ingest", "../nothing"], 2, "There is nothing at ../nothing"),
        (["ingest", "../card/DCIM/100NOCTU/NOCT0001.JPG"], 2, "is a file, not a card"),
        (["ingest", "."], 2, "part of an archive"),
        (["ingest", "../card", "--site", "Moon"], 2, "no site called Moon"),
        (["new", "../card"], 2, "already holds something"),
        (["new", "inside"], 2, "lies in the archive"),
        (["show", "NOCT9999.JPG"], 2, "No frame matches NOCT9999.JPG"),
        (["show", "2026-03-18/one/7"], 2, "There is no sequence"),
        (["frames", "2020-01-01"], 2, "There is no frame of 2020-01-01"),
        (["rate", FRAME, "--rating", "9"], 2, "rating: 9 is outside -1 to 5"),
        (["recipe", "set", FRAME, "exposure.stops=99"], 2, "exposure.stops"),
        (["recipe", "set", FRAME, "exposure.stops=99"], 2, "EV"),
        (["recipe", "set", FRAME, "sparkle.x=1"], 2, "sparkle"),
        (["export", FRAME, "--spec", "poster"], 2, "There is no spec called poster"),
        (["export", FRAME, "--spec", "movie-hd"], 2, "is made of a sequence"),
        (["regenerate", "poster.jpg"], 2, "is no derivative on record"),
        (["lineage", "x" * 300], 2, "No frame matches"),
        (["clock", "two", "--reads", "2026-03-18", "--true", "2026-03-18"], 2, "No camera is called two"),
        (["clock", "one", "--reads", "2026-03-18", "--true", "2026-03-18", "--drift", "nan"], 2, "drift"),
        (["operators", "sparkle"], 2, "There is no operator"),
        (["preview", FRAME, "--to", "/nowhere/x.jpg"], 3, "cannot be written"),
        (["preview", FRAME, "--to", "masters/x.jpg"], 3, "would lie in the archive"),
        (["keogram", "2026-03-18/one/1", "--to", "journal/x.png"], 3, "would lie in the archive"),
        (["rush", "2026-03-18/one/1", "--to", "exports/x.mp4"], 3, "would lie in the archive"),
        (["recipe", "show", FRAME, "--to", "survey/x.svg"], 3, "would lie in the archive"),
        (["recipe", "compare", FRAME, "plain", "--to", "masters/x.png"], 3, "would lie in the archive"),
        (["ingest", "../card", "--report", "masters/x.html"], 3, "would lie in the archive"),
        (["gallery", "mine"], 3, "would lie in the archive"),
        (["demo", "mine"], 3, "would lie in the archive"),
        (["preview", FRAME, "--to", "START-HERE.html"], 3, "would lie in the archive"),
        (["nights", "--archive", "../card"], 3, "There is no archive in"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words_with_a_next_step(
    home: Path, words: list[str], code: int, said: str
) -> None:
    ran = run(*words, folder=home, code=code)
    assert said in ran.err
    assert ran.err.startswith("noctuary: ")
    assert len(ran.err.strip().splitlines()) >= 2


def test_a_refusal_is_json_too_for_those_who_asked_for_it(home: Path) -> None:
    ran = run("show", "NOCT9999.JPG", "--json", folder=home, code=2)
    assert set(ran.json) == {"error", "hint"}


def test_without_an_archive_commands_say_how_to_get_one(tmp_path: Path) -> None:
    ran = run("nights", folder=tmp_path, code=3)
    assert "There is no archive here" in ran.err
    assert "noctuary new" in ran.err


def test_an_empty_card_needs_attention(home: Path, tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    ran = run("ingest", tmp_path / "card", folder=home, code=1)
    assert "nothing to take in" in ran.out


@pytest.mark.parametrize(
    "words",
    [
        ["keyword", FRAME, "--word", b"ice\xff"],
        ["recipe", "set", FRAME, "exposure.stops=0.1", "--note", b"\xff"],
        ["site", "add", b"\xff bend", "--latitude", "1", "--longitude", "1", "--zone", "Europe/Oslo"],
        ["lineage", b"\xff.jpg"],
        ["show", b"\xff\x1b[31m"],
        ["preview", FRAME, "--size", "200", "--to", b"../look-\xff.jpg"],
        ["rate", FRAME, "--rating", "2", "--by", b"\xff"],
        ["new", b"../new-\xff"],
        ["find", b"name:\xff"],
        ["find", b'keyword:"ri\xff"'],
        ["find", b"\xff"],
        ["find", "", "--limit", "99999999999999999999"],
        ["find", "--named", b"\xff"],
        ["find", "rating>=1", "--keep", b"\xff"],
        ["frames", b"2026-03-18/\xff"],
        ["frames", "2026-03-18/one/1#1..99999999999999999999"],
        ["frames", "2026-03-18/one/99999999999999999999"],
        ["sequences", b"\xff"],
        ["sky", b"\xff"],
        ["survey", b"\xff"],
        ["clock-check", b"\xff"],
        ["sequence", "title", "2026-03-18/one/1", "--title", b"\xff"],
    ],
)
def test_bytes_that_are_no_text_are_never_a_traceback(home: Path, words: list[str | bytes]) -> None:
    ran = run(*(os.fsdecode(word) for word in words), folder=home, code=None)
    assert ran.code in (0, 2)
    assert "\x1b" not in ran.out + ran.err


def test_a_card_of_odd_names_is_taken_in_and_told_in_plain_text(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    put(card, b"DCIM/\x1b[31mred\xff.JPG", b"")
    put(card, "DCIM/new\nline.txt", b"x")
    run("new", tmp_path / "a", folder=tmp_path)
    ran = run("ingest", card, folder=tmp_path / "a", code=1)
    assert "\\x1b[31mred\\xff.JPG" in ran.out
    assert "\x1b" not in ran.out


@pytest.fixture
def read_only(tmp_path: Path) -> Iterator[Path]:
    """An archive with a sequence on a file system that cannot be written."""
    place = tmp_path / "mounted"
    place.mkdir()
    mounted = (
        os.geteuid() == 0
        and not subprocess.run(["mount", "-t", "tmpfs", "none", str(place)], capture_output=True).returncode
    )
    if os.geteuid() == 0 and not mounted:
        pytest.skip("root writes everywhere, and nothing can be mounted here")
    run("new", place / "a", folder=tmp_path)
    run("ingest", tiny_card(tmp_path / "card"), folder=place / "a")
    try:
        if mounted:
            subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
        else:
            subprocess.run(["chmod", "-R", "a-w", str(place)], check=True)
        yield place / "a"
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(place)], check=True)
        else:
            subprocess.run(["chmod", "-R", "u+w", str(place)], check=True)


def test_a_read_only_archive_is_read_and_never_a_traceback(read_only: Path, tmp_path: Path) -> None:
    assert run("nights", "--json", folder=read_only).json[0]["frames"] == 6
    assert run("show", FRAME, "--json", folder=read_only).json
    other = tiny_card(tmp_path / "other", 2, serial="000999", first=50)
    refused = run("ingest", other, folder=read_only, code=3)
    assert "cannot be written" in refused.err
    assert "card was not read" in refused.err
    for words in (["rate", FRAME, "--rating", "1"], ["export", FRAME, "--spec", "still-web"]):
        ran = run(*words, folder=read_only, code=None)
        assert ran.code == 3
        assert "Nothing was changed" in ran.err
    audit = run("audit", "--json", folder=read_only, code=1).json
    assert audit["files"] == 6
    assert [finding["path"] for finding in audit["findings"]] == ["journal"]
    nowhere = run("new", read_only.parent / "b", folder=tmp_path, code=3)
    assert "cannot be written" in nowhere.err
