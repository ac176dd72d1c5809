from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.resolve import find
from archive.engine.foundation import current_foundation
from archive.errors import UsageError
from archive.exports.plan import make_plan
from archive.exports.specs import spec_named


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_a_site_is_stated_once_and_found_by_name_or_id(place: Studio) -> None:
    statements = place.workspace.statements
    before = place.entries("site")
    statements.add_site("River bend", 69.2, 20.1, 40.0, "Europe/Oslo")
    assert place.entries("site") == before
    assert statements.site_named("RIVER bend") == statements.site_named("river-bend")
    statements.add_site("River bend", 69.3, 20.1, 40.0, "Europe/Oslo")
    assert statements.site_named("river bend").latitude == 69.3
    with pytest.raises(UsageError) as caught:
        statements.site_named("moon\x1b")
    assert "moon\\x1b" in caught.value.message
    assert "River bend" in caught.value.hint


@pytest.mark.parametrize("zone", ["Europe", "", "../etc/passwd", "Nowhere/Town", "/etc/localtime"])
def test_a_zone_that_is_none_is_refused(place: Studio, zone: str) -> None:
    with pytest.raises(UsageError, match="is not a time zone"):
        place.workspace.statements.add_site("x", 0, 0, 0, zone)


@pytest.mark.parametrize(
    ("figures", "named"),
    [((91, 0, 0), "latitude"), ((0, 181, 0), "longitude"), ((0, 0, 9001), "elevation"),
     ((float("nan"), 0, 0), "latitude"), ((0, 0, float("inf")), "elevation")],
)  # fmt: skip
def test_a_figure_out_of_range_is_refused_with_its_range(
    place: Studio, figures: tuple[float, float, float], named: str
) -> None:
    with pytest.raises(UsageError, match=f"site.{named}.*outside"):
        place.workspace.statements.add_site("x", *figures, "Europe/Oslo")


def test_a_site_without_letters_is_refused(place: Studio) -> None:
    with pytest.raises(UsageError, match="letters or digits"):
        place.workspace.statements.add_site(" !? ", 0, 0, 0, "Europe/Oslo")


@pytest.mark.parametrize("rating", [-2, 6, 99])
def test_a_rating_out_of_range_is_refused_with_the_range(place: Studio, rating: int) -> None:
    with pytest.raises(UsageError, match=f"rating: {rating} is outside -1 to 5"):
        place.workspace.statements.rate([SEQUENCE], rating)
    assert place.entries("rating") == 0


def test_an_equal_rating_or_keyword_is_not_stated_again(place: Studio) -> None:
    statements = place.workspace.statements
    statements.rate([SEQUENCE, f"{SEQUENCE}#1"], 4)
    statements.rate([SEQUENCE], 4)
    assert place.entries("rating") == 1
    statements.keyword([f"{SEQUENCE}#1"], " river ice ", on=True)
    statements.keyword([f"{SEQUENCE}#1"], "river ice", on=True)
    assert place.entries("keywords") == 1
    assert place.workspace.frames(f"{SEQUENCE}#1")[0].keywords == ("river ice",)
    statements.keyword([f"{SEQUENCE}#1"], "river ice", on=False)
    assert place.workspace.frames(f"{SEQUENCE}#1")[0].keywords == ()


@pytest.mark.parametrize("word", ["", "  ", "w" * 101])
def test_a_keyword_has_one_to_a_hundred_characters(place: Studio, word: str) -> None:
    with pytest.raises(UsageError, match="1 to 100"):
        place.workspace.statements.keyword([SEQUENCE], word, on=True)


def test_a_clock_moves_the_listing_and_no_pixel_key(place: Studio) -> None:
    workspace = place.workspace

    def keys() -> list[str]:
        found = find(workspace.books.catalogue, "2026-03-18")
        plan = make_plan(workspace.books, found.frames, None, spec_named("still-web"), current_foundation())
        return sorted(item.pixel_key for file in plan.files for item in file.inputs)

    before = [line.frame.taken for line in workspace.frames(SEQUENCE)]
    keys_before = keys()
    camera = workspace.statements.camera_named("one")
    workspace.statements.set_clock(camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12")
    after = [line.frame.taken for line in workspace.frames(SEQUENCE)]
    assert [(b - a).total_seconds() for a, b in zip(before, after, strict=True)] == [72.0] * 6
    assert keys() == keys_before
    assert workspace.sequences()[0].address == SEQUENCE


def test_an_equal_clock_is_not_stated_again(place: Studio) -> None:
    statements = place.workspace.statements
    for _ in range(2):
        statements.set_clock(
            statements.camera_named("one"), reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12"
        )
    assert place.entries("clock") == 1


@pytest.mark.parametrize("drift", [float("nan"), float("inf"), 1e300, -601.0])
def test_a_drift_beyond_belief_is_refused_before_it_blocks_the_archive(place: Studio, drift: float) -> None:
    statements = place.workspace.statements
    with pytest.raises(UsageError, match=r"drift: .* is outside -600 to 600 s a day"):
        statements.set_clock(
            statements.camera_named("one"),
            reads="2026-03-18T22:00:00",
            true="2026-03-18T22:01:12",
            drift=drift,
        )
    assert place.entries("clock") == 0


@pytest.mark.parametrize("text", ["noon", "", "0001-01-01T00:00:00", "9999-12-31T23:59:59", "2026-13-01"])
def test_a_time_that_is_none_is_refused(place: Studio, text: str) -> None:
    statements = place.workspace.statements
    with pytest.raises(UsageError, match="is not a time"):
        statements.set_clock(statements.camera_named("one"), reads=text, true="2026-03-18T22:01:12")


def test_a_clock_wrong_by_more_than_ten_years_is_refused(place: Studio) -> None:
    statements = place.workspace.statements
    with pytest.raises(UsageError, match="more than ten years"):
        statements.set_clock(
            statements.camera_named("one"), reads="2006-03-18T22:00:00", true="2026-03-18T22:00:00"
        )


def test_text_that_is_no_utf_8_is_refused_and_nothing_written(place: Studio) -> None:
    bad = b"ice\xff".decode("utf-8", "surrogateescape")
    with pytest.raises(UsageError, match="cannot be written into the journal"):
        place.workspace.statements.keyword([SEQUENCE], bad, on=True)
    assert place.entries("keywords") == 0


def test_an_unknown_camera_is_refused_with_those_there_are(place: Studio) -> None:
    with pytest.raises(UsageError) as caught:
        place.workspace.statements.camera_named("two")
    assert "one" in caught.value.hint
