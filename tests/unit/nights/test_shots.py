from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from archive.nights.shots import EQUAL_STOPS, STEP_STOPS, Shot, Shots

EVENING = datetime(2026, 3, 18, 20, tzinfo=UTC)
NO_FRAMES: frozenset[str] = frozenset()


def shot(frame: str, second: float, **settings: float) -> Shot:
    return Shot(frame=frame, start=EVENING + timedelta(seconds=second), name=frame, **settings)  # type: ignore[arg-type]


def test_frames_are_put_in_order_of_time_then_name() -> None:
    shots = Shots([shot("c", 5), shot("b", 5), shot("a", 9), shot("d", 0)], NO_FRAMES, NO_FRAMES)
    assert [each.frame for each in shots.shots] == ["d", "b", "c", "a"]
    assert shots.gaps == [5, 0, 4]


def test_a_break_outweighs_a_join() -> None:
    shots = Shots([shot("a", 0), shot("b", 1)], frozenset("b"), frozenset("b"))
    assert (shots.broken(1), shots.joined(1)) == (True, False)
    assert Shots([shot("a", 0), shot("b", 1)], NO_FRAMES, frozenset("b")).joined(1)


@pytest.mark.parametrize(
    ("settings", "other", "stops"),
    [
        ({"exposure_s": 1.0}, {"exposure_s": 2.0}, 1.0),
        ({"iso": 800}, {"iso": 200}, 2.0),
        # Light goes with the square of the aperture.
        ({"f_number": 2.8}, {"f_number": 5.6}, 2.0),
    ],
)
def test_settings_are_alike_within_their_stops(
    settings: dict[str, float], other: dict[str, float], stops: float
) -> None:
    shots = Shots([shot("a", 0, **settings), shot("b", 1, **other)], NO_FRAMES, NO_FRAMES)
    assert shots.alike(0, 1, stops)
    assert not shots.alike(0, 1, stops - EQUAL_STOPS)


def test_a_zoom_is_never_alike_and_what_is_unknown_always() -> None:
    frames = [shot("a", 0, focal_mm=20.0), shot("b", 1, focal_mm=35.0), shot("c", 2)]
    shots = Shots(frames, NO_FRAMES, NO_FRAMES)
    assert not shots.alike(0, 1, STEP_STOPS)
    assert shots.alike(1, 2, STEP_STOPS)


def test_clocks_without_fractions_may_be_off_by_a_second_and_others_by_a_third() -> None:
    fine = Shots([shot("a", 0.5), shot("b", 1)], NO_FRAMES, NO_FRAMES)
    coarse = Shots([shot("a", 0), shot("b", 1)], NO_FRAMES, NO_FRAMES)
    assert [fine.near(2 + off, 2) for off in (0.3, 0.4, 1.0)] == [True, False, False]
    assert [coarse.near(2 + off, 2) for off in (0.3, 1.0, 2.0)] == [True, True, False]
    assert not fine.near(2, None)
