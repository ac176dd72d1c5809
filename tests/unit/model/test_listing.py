"""What a sequence's line says about time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from archive.model.listing import SequenceLine


def line(frames: int, missed: int, cadence_s: float) -> SequenceLine:
    first = datetime(2026, 3, 18, 22, 0, tzinfo=UTC)
    return SequenceLine(
        address="2026-03-18/north/1",
        key="2026-03-18/camera:1/1",
        night="2026-03-18",
        camera="north",
        number=1,
        first=first,
        last=first + timedelta(seconds=cadence_s * (frames + missed - 1)),
        frames=frames,
        missed=missed,
        cadence_s=cadence_s,
        zone="Europe/Oslo",
    )


def test_450_frames_of_a_10_s_cadence_span_75_minutes_and_play_for_18_s() -> None:
    sequence = line(450, 0, 10.0)
    assert sequence.span_s == 75 * 60
    assert sequence.plays_s() == 18.0
    assert sequence.plays_s(30.0) == 15.0


def test_missed_frames_count_in_the_time_covered_and_not_in_the_movie() -> None:
    sequence = line(448, 2, 10.0)
    assert sequence.span_s == 75 * 60
    assert sequence.plays_s(28.0) == 16.0
