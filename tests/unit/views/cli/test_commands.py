"""Every command inside one process: what it prints for people, and its code."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.exports import SEQUENCE, Studio, studio
from support.rivals import rival

from archive.errors import UsageError
from archive.views.cli import exports
from archive.views.cli.app import app

FRAME = f"{SEQUENCE}#2"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("commands"))
    made.workspace.close()
    yield made


@pytest.fixture
def typed(place: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: str) -> str:
        monkeypatch.chdir(place.root)
        answer = app(list(words), standalone_mode=False)
        out = capsys.readouterr().out
        return f"{out}=> {answer or 0}"

    return run


def test_listings_name_what_is_held(typed: Any) -> None:
    assert "River bend" in typed("nights")
    assert SEQUENCE in typed("sequences")
    assert "NOCT0002.JPG" in typed("frames", SEQUENCE)
    assert "River bend" in typed("site", "list")
    story = typed("show", FRAME)
    for part in ("NOCT0002.JPG", "ISO 3200", "BLUE: masters/2026-03-18/one-"):
        assert part in story


def test_statements_are_confirmed(typed: Any) -> None:
    assert "1 frame rated 4." in typed("rate", FRAME, "--rating", "4")
    assert "ice given to 6 frames." in typed("keyword", SEQUENCE, "--word", "ice")
    assert "ice taken off 6 frames." in typed("keyword", SEQUENCE, "--word", "ice", "--off")
    assert "one: +72.0 s" in typed(
        "clock", "one", "--reads", "2026-03-18T22:00:00", "--true", "2026-03-18T22:01:12"
    )


def test_questions_are_answered_and_kept(typed: Any) -> None:
    assert "6 frames." in typed("find", "night:2026-03-18 exposure>1s", "--keep", "long ones")
    answer = typed("find", "--named", "long ones", "--limit", "2")
    assert "2 of 6 frames; --limit lists more." in answer
    assert "night:2026-03-18 exposure>1s" in typed("queries")
    with pytest.raises(UsageError, match="Two queries"):
        typed("find", "iso:800", "--named", "long ones")
    with pytest.raises(UsageError, match="at column 1"):
        typed("find", "nigth:2026")


def test_the_help_of_find_names_every_field(typed: Any) -> None:
    from archive.catalogue.query_fields import FIELDS

    told = typed("find", "--help")
    assert all(name in told for name in FIELDS)


def test_a_card_is_judged_and_a_device_is_named(typed: Any, place: Studio) -> None:
    assert "BLUE lies on grey drive." in typed("volume", "device", "BLUE", "grey drive")
    assert "=> 0" in typed("may-erase", str(place.card), "--copies", "1")
    answer = typed("may-erase", str(place.card), "--within", "2w")
    assert "No: keep" in answer and "proven on 1 of 2 devices" in answer and answer.endswith("=> 1")
    with pytest.raises(UsageError, match="is not a span of time"):
        typed("may-erase", str(place.card), "--within", "soon")


def test_clocks_are_listed_and_taken_back(typed: Any) -> None:
    times = (
        "--reads",
        "2026-03-18T22:00:00",
        "--true",
        "2026-03-18T22:01:12",
        "--from",
        "2026-03-20T00:00:00",
    )
    assert "one: +72.0 s are added" in typed("clock", "one", *times)
    assert "from 2026-03-19 23:00:00 UTC on" in typed("clock", "one")
    assert "no longer added" in typed("clock", "one", "--off", "--from", "2026-03-20T00:00:00")
    with pytest.raises(UsageError, match="belong together"):
        typed("clock", "one", "--reads", "2026-03-18T22:00:00")


def test_clocks_are_checked_only_by_what_was_surveyed(typed: Any) -> None:
    with pytest.raises(UsageError, match="was surveyed yet"):
        typed("clock-check", "2026-03-18")


def test_recipes_are_told_in_words(typed: Any) -> None:
    assert "0.5" in typed("recipe", "set", FRAME, "exposure.stops=0.5")
    assert "Nothing changed" in typed("recipe", "set", FRAME, "exposure.stops=0.5")
    assert "own version" in typed("recipe", "show", FRAME, "--why")
    assert "would be carried to 6 frames" in typed("recipe", "carry", FRAME, "--to", SEQUENCE, "--dry-run")
    assert "exposure: carried to 6 frames" in typed("recipe", "carry", FRAME, "--to", SEQUENCE)
    assert "shared already by 6 frames" in typed("recipe", "carry", FRAME, "--to", SEQUENCE)
    assert "shared" in typed("recipe", "history", FRAME)


def test_a_frame_is_balanced_by_what_is_grey_in_it(typed: Any) -> None:
    assert "balance" in typed("recipe", "neutral", FRAME, "--patch", "0.1,0.1,0.9,0.9")
    with pytest.raises(UsageError, match="is no region"):
        typed("recipe", "neutral", FRAME, "--patch", "0.1,0.1,0.9")


def test_exports_are_found_again(typed: Any, place: Studio, tmp_path: Path) -> None:
    assert "still-web: 1 made." in typed("export", FRAME, "--spec", "still-web")
    assert "still-web: 1 already there." in typed("export", FRAME, "--spec", "still-web")
    (path,) = (place.root / "exports").rglob("*.jpg")
    assert "found by its bytes" in typed("lineage", str(path))
    assert "same, byte for byte" in typed("regenerate", path.name)
    assert "Nothing to make again." in typed("regenerate")
    look = tmp_path / "look.jpg"
    assert "Written:" in typed("preview", FRAME, "--to", str(look), "--size", "200")
    assert look.read_bytes().startswith(b"\xff\xd8")
    with pytest.raises(UsageError, match="is a folder"):
        typed("preview", FRAME, "--to", str(tmp_path), "--size", "200")


def test_a_frame_can_be_looked_at_in_parts_and_by_its_levels(typed: Any, tmp_path: Path) -> None:
    look, chart = tmp_path / "one.jpg", tmp_path / "curve.svg"
    typed("recipe", "set", FRAME, "exposure.stops=1")
    told = typed("preview", FRAME, "--only", "exposure", "--alone", "--histogram", "--to", str(look))
    for part in ("Raw, in stops below clipping", "Picture, in shares of white", "clipped  red"):
        assert part in told
    before = look.read_bytes()
    assert "Hardly visible" not in told
    typed("recipe", "set", FRAME, "sharpness.amount=1")
    assert "Hardly visible at this size: sharpness" in typed("preview", FRAME, "--replace", "--to", str(look))
    typed("recipe", "set", FRAME, "--drop", "sharpness")
    typed("recipe", "set", FRAME, "contrast.amount=0")
    told = typed("preview", FRAME, "--only", "contrast", "--replace", "--to", str(look))
    assert "Takes no part in this frame: contrast, its values are neutral." in told
    typed("preview", FRAME, "--before", "--replace", "--to", str(look))
    assert look.read_bytes() != before
    kept = look.read_bytes()
    with pytest.raises(UsageError, match="is there already") as caught:
        typed("preview", FRAME, "--to", str(look))
    assert "--replace" in caught.value.hint
    chart.write_text("mine")
    with pytest.raises(UsageError, match="is there already"):
        typed("recipe", "show", FRAME, "--to", str(chart))
    assert (look.read_bytes(), chart.read_text()) == (kept, "mine")
    chart.unlink()
    with pytest.raises(UsageError, match="exclude each other"):
        typed("preview", FRAME, "--before", "--alone")
    assert "Raw, in stops below clipping" in typed("show", FRAME, "--histogram")
    assert '"levels"' in typed("show", FRAME, "--histogram", "--json")
    assert "Tone response of exposure" in typed("recipe", "show", FRAME, "--curve")
    assert "Written:" in typed("recipe", "show", FRAME, "--to", str(chart))
    assert b"<svg" in chart.read_bytes()[:600]
    assert '"shown"' in typed("recipe", "show", FRAME, "--curve", "--json")


def test_custody_says_that_all_is_well(typed: Any) -> None:
    assert "All of them are what was recorded." in typed("audit")
    assert "No master was opened." in typed("rebuild")
    assert "0 files mended, 0 could not be." in typed("mend")
    assert '"mended": []' in typed("mend", "--json")


def test_specs_and_operators_need_no_archive(typed: Any) -> None:
    assert "movie-hd" in typed("specs")
    assert "exposure.stops" in typed("operators", "exposure")
    assert exports.specs.__doc__


@pytest.mark.parametrize("size", ["big", "960", "x640", "96x", "-96x64"])
def test_a_demo_size_that_is_none_is_refused_and_writes_nothing(
    typed: Any, tmp_path: Path, size: str
) -> None:
    with pytest.raises(UsageError, match="is no size"):
        typed("demo", str(tmp_path / "demo"), "--size", size)
    assert not (tmp_path / "demo").exists()


def test_a_demo_never_touches_a_folder_that_holds_something(typed: Any, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="already holds something"):
        typed("demo", str(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_what_is_contested_is_told_wherever_it_is_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    made = studio(tmp_path)
    for value in (0.5, -0.5):
        rival(made, FRAME, ("exposure", {"stops": value}))
    made.workspace.close()
    monkeypatch.chdir(made.root)

    def typed(*words: str) -> str:
        app(list(words), standalone_mode=False)
        return capsys.readouterr().out

    look = str(tmp_path / "look.jpg")
    for words, told in (
        (("nights", "--no-sky"), "! 1 frame has more than one current recipe, in 2026-03-18"),
        (("sequences", "--no-curves"), f"! 1 frame has more than one current recipe, in {SEQUENCE}"),
        (("recipe", "history", FRAME), "Contested: 2 own versions claim to be current"),
        (("recipe", "show", FRAME), "Contested: two versions claim to be current"),
        (("preview", FRAME, "--to", look, "--size", "200"), "Contested: two versions claim to be current"),
        (("recipe", "compare", FRAME, "plain", "--size", "100"), "Contested: what stands now is the newest"),
        (("recipe", "set", FRAME, "exposure.stops=1"), "Settled a contest of its own recipe: goes on from"),
    ):
        assert told in typed(*words)
    for words in (("nights", "--no-sky"), ("sequences", "--no-curves"), ("recipe", "history", FRAME)):
        assert "current recipe" not in typed(*words)
    typed("recipe", "line", "start", FRAME, "print")
    assert typed("recipe", "line", "use", FRAME, "main") == "NOCT0002.JPG\n  the line main speaks now\n"
