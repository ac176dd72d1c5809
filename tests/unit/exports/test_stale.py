from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import spoil
from support.exports import SEQUENCE, Studio, studio

from archive.model.results import StaleLine


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio(tmp_path)


def one(place: Studio) -> StaleLine:
    (line,) = place.workspace.exports.stale()
    return line


def test_what_was_just_made_is_fresh(place: Studio) -> None:
    place.export(f"{SEQUENCE}#1", "still-web")
    place.export(SEQUENCE, "movie-hd")
    assert place.workspace.exports.stale() == []


def test_a_changed_recipe_is_told_in_words_with_both_values(place: Studio) -> None:
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=0.5"])
    place.export(f"{SEQUENCE}#1", "still-web")
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1.25", "contrast.amount=0.2"])
    line = one(place)
    assert (line.state, line.reason) == ("stale", "its recipe changed")
    words = " ".join(line.changes)
    assert "0.5" in words
    assert "1.25" in words
    assert "contrast" in words


def test_of_a_movie_the_changed_frames_are_counted(place: Studio) -> None:
    place.export(SEQUENCE, "movie-hd")
    place.workspace.recipes.set(f"{SEQUENCE}#2", ["exposure.stops=1"], in_sequence=True)
    assert one(place).reason == "1 of 6 frames changed"


def test_an_own_version_counts_in_movies_only_if_it_was_saved_for_them(place: Studio) -> None:
    place.export(SEQUENCE, "movie-hd")
    place.workspace.recipes.set(f"{SEQUENCE}#2", ["exposure.stops=1"])
    assert place.workspace.exports.stale() == []
    place.workspace.recipes.set(f"{SEQUENCE}#2", ["exposure.stops=1"], in_sequence=True)
    assert one(place).state == "stale"


def test_a_missing_and_an_altered_file_are_told_apart(place: Studio) -> None:
    path = place.path(place.export(f"{SEQUENCE}#1", "still-web"))
    other = place.path(place.export(f"{SEQUENCE}#2", "still-web"))
    path.unlink()
    other.chmod(0o644)
    other.write_bytes(b"short")
    states = {line.path: line.state for line in place.workspace.exports.stale()}
    assert {Path(p).name: state for p, state in states.items()} == {
        path.name: "missing",
        other.name: "altered",
    }


def test_an_alteration_that_keeps_the_size_is_found_by_the_audit(place: Studio) -> None:
    path = place.path(place.export(f"{SEQUENCE}#1", "still-web"))
    spoil(path)
    (finding,) = place.workspace.custody.audit(lambda *_: None).findings
    assert finding.path.endswith(path.name)
    assert "altered" in finding.fault


def test_only_the_newest_version_of_a_picture_can_be_stale(place: Studio) -> None:
    place.export(f"{SEQUENCE}#1", "still-web")
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=0.5"])
    place.export(f"{SEQUENCE}#1", "still-web")
    assert place.workspace.exports.stale() == []


def test_a_picture_is_fresh_again_when_a_recipe_is_taken_back_to_what_was_made(place: Studio) -> None:
    for stops in ("0.5", "1", "0.5"):
        place.workspace.recipes.set(f"{SEQUENCE}#1", [f"exposure.stops={stops}"])
        place.export(f"{SEQUENCE}#1", "still-web")
    assert place.workspace.exports.stale() == []
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=2"])
    assert one(place).state == "stale"


def test_ratings_keywords_and_clocks_make_nothing_stale(place: Studio) -> None:
    place.export(SEQUENCE, "movie-hd")
    workspace = place.workspace
    workspace.statements.rate([SEQUENCE], 3)
    workspace.statements.keyword([SEQUENCE], "ice", on=True)
    camera = workspace.statements.camera_named("one")
    workspace.statements.set_clock(camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12")
    assert workspace.exports.stale() == []


def test_what_now_needs_a_later_operator_cannot_be_made_and_others_are_still_told(place: Studio) -> None:
    place.export(f"{SEQUENCE}#1..2", "still-web")
    place.save_later_operator(f"{SEQUENCE}#2")
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1"])
    told = {
        line.path.rpartition("/")[2][:8]: (line.state, line.reason)
        for line in place.workspace.exports.stale()
    }
    assert told["NOCT0002"] == (
        "unmakeable",
        "its recipe now needs skyglow version 3, which a newer release knows",
    )
    assert told["NOCT0001"][0] == "stale"
