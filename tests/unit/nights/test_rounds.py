from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest

from archive.nights.rounds import MIN_ROUNDS, rounds_from
from archive.nights.sequences import find_sequences
from archive.nights.shots import Shot, Shots

EVENING = datetime(2026, 1, 15, 20, tzinfo=UTC)
NO_FRAMES: frozenset[str] = frozenset()


def rounds(
    exposures: tuple[float, ...],
    begins: list[float],
    pause: float = 1.0,
    *,
    coarse: bool = False,
    first: int = 0,
) -> list[Shot]:
    """Frames of equal rounds that begin at these seconds, a pause between the exposures of each."""
    shots = []
    for begin in begins:
        second = begin
        for exposure in exposures:
            number = first + len(shots)
            start = EVENING + timedelta(seconds=int(second) if coarse else second)
            name = f"f{number:04d}"
            shots.append(
                Shot(
                    frame=name,
                    start=start,
                    exposure_s=exposure,
                    iso=800,
                    f_number=2.8,
                    focal_mm=20.0,
                    name=f"{name}.DNG",
                )
            )
            second += exposure + pause
    return shots


def every(seconds: float, count: int, begin: float = 0.0) -> list[float]:
    return [begin + seconds * index for index in range(count)]


@pytest.mark.parametrize("coarse", [False, True])
@pytest.mark.parametrize(
    ("exposures", "seconds", "pause"),
    [
        ((2.0, 8.0, 0.5), 30, 1.0),
        ((4.0, 15.0, 1.0), 30, 0.5),
        ((8.0, 15.0, 4.0), 35, 1.0),
        ((1.0, 4.0, 15.0), 30, 0.5),
        ((10.0, 10.0, 10.0), 60, 1.0),
        ((8.0, 8.0), 60, 1.0),
        ((1 / 60, 1 / 15, 1 / 250), 10, 0.2),
        ((1 / 30, 1 / 125, 1 / 8, 1 / 500, 1 / 2), 20, 0.3),
    ],
)
def test_brackets_and_groups_on_an_interval_timer_were_told_as_many_sequences_or_none(
    exposures: tuple[float, ...], seconds: float, pause: float, coarse: bool
) -> None:
    shots = rounds(exposures, every(seconds, 60), pause, coarse=coarse)
    (run,) = find_sequences(random.Random(1).sample(shots, len(shots)))
    assert run.frames == tuple(shot.frame for shot in shots)
    assert run.missed == 0
    assert run.cadence_s == pytest.approx(seconds / len(exposures), abs=0.02)


@pytest.mark.parametrize("exposures", [(2.0, 8.0, 0.5), (1.0, 4.0, 15.0), (4.0, 15.0, 1.0)])
def test_brackets_by_hand_two_by_two_were_sequences_with_a_frame_missed(
    exposures: tuple[float, ...],
) -> None:
    """(2, 8, 0.5) s at pauses of 18 s were."""
    chance = random.Random(4)
    for _ in range(20):
        begins = [0.0]
        for _ in range(20):
            begins.append(begins[-1] + chance.uniform(50, 70))
        assert find_sequences(rounds(exposures, begins)) == []
    assert find_sequences(rounds((2.0, 8.0, 0.5), every(30, 2))) == []


def test_bursts_by_hand_that_a_person_repeats_as_well_as_a_person_can_stay_apart() -> None:
    chance, begins = random.Random(5), [0.0]
    for _ in range(20):
        begins.append(begins[-1] + chance.uniform(50, 70))
    runs = find_sequences(rounds((1 / 30, 1 / 125, 1 / 8, 1 / 500, 1 / 2), begins, 0.3))
    assert [len(run.frames) for run in runs] == [5] * 21


def test_fewer_rounds_than_show_a_timer_are_no_sequence() -> None:
    for count, found in ((MIN_ROUNDS - 1, 0), (MIN_ROUNDS, 1)):
        assert len(find_sequences(rounds((1.0, 4.0, 15.0), every(30, count)))) == found


def test_rounds_and_frames_that_were_missed_are_counted() -> None:
    shots = rounds((2.0, 8.0, 0.5), every(30, 40))
    # Two whole rounds, the middle of one round and the last of another.
    gone = {*range(30, 36), 61, 83}
    (run,) = find_sequences([shot for number, shot in enumerate(shots) if number not in gone])
    assert (len(run.frames), run.missed, run.cadence_s, run.span_s) == (112, 8, 10.0, 39 * 30 + 12 + 10)


def test_a_round_that_came_late_stays_where_the_timer_goes_on_behind_it() -> None:
    (run,) = find_sequences(rounds((2.0, 8.0, 0.5), every(30, 10) + every(30, 10, begin=270 + 52)))
    assert (len(run.frames), run.missed) == (60, 0)
    (run,) = find_sequences(rounds((2.0, 8.0, 0.5), every(30, 10) + every(30, 10, begin=270 + 75)))
    assert (len(run.frames), run.missed) == (60, 3)
    apart = find_sequences(rounds((2.0, 8.0, 0.5), every(30, 10) + every(30, 10, begin=270 + 190)))
    assert [len(run.frames) for run in apart] == [30, 30]


def test_a_bracket_tried_by_hand_before_its_timer_is_not_in_the_sequence() -> None:
    for pause in (47.0, 58.5, 61.0, 90.0):
        shots = rounds((2.0, 8.0, 0.5), [0.0, *every(30, 20, begin=pause)])
        (run,) = find_sequences(shots)
        assert run.frames == tuple(shot.frame for shot in shots[3:])


def test_exposures_that_follow_the_light_by_thirds_of_stops_keep_their_rounds() -> None:
    shots: list[Shot] = []
    for index in range(40):
        scale = 2 ** ((index // 4) / 3) / 64
        shots += rounds((scale, 4 * scale, scale / 4), [20.0 * index], first=3 * index)
    (run,) = find_sequences(shots)
    assert len(run.frames) == 120


def test_rounds_of_another_interval_are_another_sequence() -> None:
    shots = rounds((2.0, 8.0, 0.5), every(30, 12) + every(50, 12, begin=377))
    assert [(len(run.frames), run.cadence_s) for run in find_sequences(shots)] == [
        (36, 10.0),
        (36, pytest.approx(50 / 3, abs=0.001)),
    ]


def test_a_person_breaks_and_joins_rounds() -> None:
    shots = rounds((2.0, 8.0, 0.5), every(30, 20))
    runs = find_sequences(shots, breaks=frozenset({"f0030"}))
    assert [run.frames[0] for run in runs] == ["f0000", "f0030"]
    apart = rounds((2.0, 8.0, 0.5), every(30, 10) + every(30, 10, begin=5000))
    assert len(find_sequences(apart)) == 2
    (run,) = find_sequences(apart, joins=frozenset({"f0030"}))
    assert (len(run.frames), run.missed, run.cadence_s) == (60, 0, 10.0)


def test_cards_that_come_late_or_out_of_order_end_as_one_sequence() -> None:
    """What is known of half the frames never moves frames of the other: told anew, all are in one run."""
    shots = rounds((2.0, 8.0, 0.5), every(30, 40))
    whole = find_sequences(shots)
    for half in (shots[60:], shots[:60], shots[30:90]):
        (run,) = find_sequences(half)
        assert run.frames == tuple(shot.frame for shot in half)
    assert find_sequences(shots[60:] + shots[:60]) == whole
    assert len(whole) == 1


def test_a_steady_cadence_is_no_round() -> None:
    shots = [
        Shot(frame=f"f{number}", start=EVENING + timedelta(seconds=10 * number), exposure_s=8.0)
        for number in range(60)
    ]
    assert rounds_from(Shots(shots, NO_FRAMES, NO_FRAMES), 0).cadences == []


def test_whole_seconds_that_cut_a_cadence_to_two_and_four_are_no_round() -> None:
    times = [0, 2, 6, 8, 12, 14, 18, 20, 24, 26, 30, 32, 36]
    shots = [
        Shot(frame=f"f{number}", start=EVENING + timedelta(seconds=time), exposure_s=2.0)
        for number, time in enumerate(times)
    ]
    assert rounds_from(Shots(shots, NO_FRAMES, NO_FRAMES), 0).cadences == []


def test_rounds_that_keep_no_pause_cost_no_more_the_more_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each frame was tried as a first one to the end of all: 3600 frames took a minute."""
    asked = 0
    plain = Shots.near

    def counted(self: Shots, gap: float, expected: float | None, cadence: float | None = None) -> bool:
        nonlocal asked
        asked += 1
        return plain(self, gap, expected, cadence)

    monkeypatch.setattr(Shots, "near", counted)
    costs = []
    for count in (100, 400):
        chance, begins, asked = random.Random(1), [0.0], 0
        for _ in range(count - 1):
            begins.append(begins[-1] + 60 + chance.uniform(-1.4, 1.4))
        find_sequences(rounds((1.0, 4.0, 15.0), begins, 0.5))
        costs.append(asked)
    assert costs[1] < 6 * costs[0]
