"""Which frames are worth a still."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from archive.model.survey import SurveyLine
from archive.survey.suggesting import suggest


def line(position: int, **values: object) -> SurveyLine:
    made = SurveyLine(
        frame=f"xxh128:{position:032x}",
        position=position,
        name=f"NOCT{position:04d}.DNG",
        taken=datetime(2026, 3, 18, 22, tzinfo=UTC) + timedelta(seconds=10 * position),
        brightness=-5.0,
        scene=-11.0,
        clipped=0.0,
        dark=0.0,
        sharpness=0.5,
        green=10.0,
        red=1.0,
        moved=(0.0, 0.0),
    )
    return replace(made, **values)  # type: ignore[arg-type]


def night() -> list[SurveyLine]:
    """Two flares, at frames 40 and 90; the higher one is blurred by dew at its very top."""
    lines = []
    for n in range(1, 121):
        flare = 60 * math.exp(-(((n - 40) / 5) ** 2)) + 80 * math.exp(-(((n - 90) / 6) ** 2))
        lines.append(line(n, green=10 + flare, sharpness=0.2 if 88 <= n <= 92 else 0.5))
    return lines


def test_flares_are_suggested_apart_from_each_other_and_say_why() -> None:
    found = suggest(night(), 3)
    places = [each.position for each in found]
    assert places[0] in (87, 93)
    assert 40 in places
    assert all(abs(a - b) >= 7 for i, a in enumerate(places) for b in places[i + 1 :])
    first = next(each for each in found if each.position == 40)
    assert any("times the usual green and red light" in why for why in first.why)
    assert "stars as sharp as any here" in first.why
    assert [each.score for each in found] == sorted((each.score for each in found), reverse=True)


def test_a_clipped_top_gives_way_to_the_frame_beside_it() -> None:
    lines = [replace(each, clipped=0.05) if each.position == 40 else each for each in night()]
    places = [each.position for each in suggest(lines, 4)]
    assert 40 not in places
    assert {39, 41} & set(places)


def test_the_brightest_frame_says_so_and_what_speaks_against_it() -> None:
    lines = [line(1), line(2, green=90.0, clipped=0.02), line(3)]
    best = suggest(lines, 1)[0]
    assert best.position == 2
    assert "the most green and red light of the sequence" in best.why
    assert "but 2.0 % of it is clipped" in best.why


def test_without_aurora_and_stars_something_is_still_suggested() -> None:
    lines = [line(n, green=0.0, red=0.0, sharpness=None) for n in range(1, 9)]
    assert len(suggest(lines, 5)) == 5
    assert suggest([], 5) == ()
