from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.generated_nights import generated_night

from archive.nights.sequences import MIN_FRAMES, find_sequences
from archive.nights.shots import Shot

EVENING = datetime(2026, 3, 18, 20, 0, 0, tzinfo=UTC)


def shots_at(seconds: list[float], *, first: int = 0, **given: object) -> list[Shot]:
    values: dict[str, object] = {"exposure_s": 8.0, "iso": 1600, "f_number": 2.8, "focal_mm": 20.0}
    return [
        Shot(
            frame=f"f{number:04d}",
            start=EVENING + timedelta(seconds=second),
            name=f"NOCT{number:04d}.DNG",
            **(values | given),  # type: ignore[arg-type]
        )
        for number, second in enumerate(seconds, first)
    ]


def steady(count: int, cadence: float, *, begin: float = 0.0) -> list[float]:
    return [begin + cadence * index for index in range(count)]


def names(first: int, last: int) -> tuple[str, ...]:
    return tuple(f"f{number:04d}" for number in range(first, last))


def test_eight_second_exposures_with_two_second_pauses_are_a_ten_second_cadence() -> None:
    """450 frames span 75 minutes and play for 18 s at 25 frames/s (common practice)."""
    (run,) = find_sequences(shots_at(steady(450, 10)))
    assert (len(run.frames), run.cadence_s, run.missed, run.span_s) == (450, 10.0, 0, 75 * 60)
    assert run.plays_s(Fraction(25)) == 18


def test_the_order_given_does_not_matter() -> None:
    shots = shots_at(steady(20, 10))
    (run,) = find_sequences(random.Random(1).sample(shots, len(shots)))
    assert run.frames == names(0, 20)


def test_missed_frames_stay_inside_and_are_counted() -> None:
    times = [time for time in steady(40, 10) if time not in (100, 200, 210, 220)]
    (run,) = find_sequences(shots_at(times))
    assert (len(run.frames), run.missed, run.cadence_s, run.span_s) == (36, 4, 10.0, 400)


def test_a_gap_of_more_than_a_few_cadences_breaks() -> None:
    times = steady(10, 10) + steady(10, 10, begin=90 + 60)
    first, second = find_sequences(shots_at(times))
    assert (first.frames, second.frames) == (names(0, 10), names(10, 20))


def test_a_stalled_buffer_stays_inside_though_its_gap_is_off_the_beat() -> None:
    times = steady(10, 10) + steady(10, 10, begin=90 + 25)
    (run,) = find_sequences(shots_at(times))
    assert (run.frames, run.missed) == (names(0, 20), 1)


def test_a_gap_off_the_beat_breaks_where_another_cadence_follows() -> None:
    times = steady(10, 10) + steady(10, 18, begin=90 + 25)
    assert [run.missed for run in find_sequences(shots_at(times))] == [0, 0]


def test_settings_that_jump_over_missed_frames_break_where_another_cadence_follows() -> None:
    shots = shots_at(steady(10, 10))
    shots += shots_at(steady(10, 25, begin=130), first=10, exposure_s=20.0, iso=3200)
    assert [run.frames for run in find_sequences(shots)] == [names(0, 10), names(10, 20)]


def test_boundaries_of_two_hundred_invented_nights_are_found_and_no_frame_is_lost() -> None:
    """Right boundaries, of those that are there or were found: at least 99 %."""
    true, found, right, frames, lost = 0, 0, 0, 0, 0
    for seed in range(200):
        for night in generated_night(seed):
            shots = []
            for shot in night.shots:
                clocks = [clock for clock in night.clocks if clock.covers(shot.start)]
                shots.append(replace(shot, start=clocks[-1].corrected(shot.start)) if clocks else shot)
            runs = find_sequences(random.Random(seed).sample(shots, len(shots)))
            placed = [frame for run in runs for frame in run.frames]
            assert len(placed) == len(set(placed))
            truly = {(run[0], "begins") for run in night.runs} | {(run[-1], "ends") for run in night.runs}
            told = {(run.frames[0], "begins") for run in runs} | {(run.frames[-1], "ends") for run in runs}
            true, found, right = true + len(truly), found + len(told), right + len(truly & told)
            frames += len(shots)
            # Inside a run that was found as it is, every frame is in its place.
            whole = {run.frames for run in runs}
            assert all(run in whole for run in night.runs if {(run[0], "begins"), (run[-1], "ends")} <= told)
            lost += sum(frame not in set(placed) for run in night.runs for frame in run)
    assert frames > 100_000
    assert lost == 0
    assert right / (true + found - right) >= 0.99


@pytest.mark.parametrize("odd", [float("nan"), float("inf"), -8.0])
def test_a_setting_that_is_no_number_counts_as_unknown(odd: float) -> None:
    for setting in ("exposure_s", "f_number", "focal_mm"):
        shots = [replace(shot, **{setting: odd}) for shot in shots_at(steady(10, 10))]
        (run,) = find_sequences(shots)
        assert (run.frames, run.cadence_s) == (names(0, 10), 10.0)
        shots[4] = replace(shots[4], **{setting: 8.0})
        assert len(find_sequences(shots)) == 1


@pytest.mark.parametrize("bracket", [(1.0, 4.0, 16.0), (8.0, 0.5), (2.0, 0.25, 30.0, 2.0, 8.0)])
def test_a_bracket_that_comes_again_and_again_is_a_sequence(bracket: tuple[float, ...]) -> None:
    shots = [
        replace(shot, exposure_s=bracket[at % len(bracket)])
        for at, shot in enumerate(shots_at(steady(30, 40)))
    ]
    (run,) = find_sequences(shots)
    assert run.frames == names(0, 30)
    # Exposed one right after the other, the pause is what is steady.
    moment, times = 0.0, []
    for at in range(30):
        times.append(moment)
        moment += bracket[at % len(bracket)] + 2.0
    paused = [replace(shot, exposure_s=bracket[at % len(bracket)]) for at, shot in enumerate(shots_at(times))]
    assert len(find_sequences(paused)[0].frames) >= 28


def test_settings_that_jump_back_and_forth_without_order_are_no_bracket() -> None:
    exposures = [1.0, 8.0, 1.0, 30.0, 8.0, 0.1, 30.0, 1.0, 0.1, 8.0, 0.5, 30.0]
    shots = [replace(s, exposure_s=e) for s, e in zip(shots_at(steady(12, 40)), exposures, strict=True)]
    assert find_sequences(shots) == []


@pytest.mark.parametrize("before", [[0.0], [0.0, 37.0], [0.0, 3.0, 30.0], [70.0], [80.0]])
def test_test_shots_before_a_sequence_are_not_in_it(before: list[float]) -> None:
    shots = shots_at(before + steady(20, 10, begin=100))
    (run,) = find_sequences(shots)
    assert run.frames == names(len(before), len(before) + 20)
    assert run.missed == 0


def test_test_shots_with_other_settings_are_not_in_it() -> None:
    tests = shots_at([80.0, 90.0], exposure_s=1.0)
    (run,) = find_sequences(tests + shots_at(steady(20, 10, begin=100), first=2))
    assert run.frames == names(2, 22)


def test_a_look_at_the_result_after_a_pause_is_not_in_it() -> None:
    (run,) = find_sequences(shots_at([*steady(20, 10), 220.0]))
    assert (run.frames, run.missed) == (names(0, 20), 0)


@pytest.mark.parametrize("cadence", [3.0, 5.3, 10.4, 12.5, 31.7])
def test_times_cut_to_whole_seconds_keep_the_sequence_and_its_cadence(cadence: float) -> None:
    (run,) = find_sequences(shots_at([float(int(time)) for time in steady(200, cadence)]))
    assert len(run.frames) == 200
    assert run.cadence_s == pytest.approx(cadence, abs=0.02)
    assert run.missed == 0


def test_times_that_jitter_by_a_second_keep_the_sequence() -> None:
    chance = random.Random(7)
    (run,) = find_sequences(shots_at([time + chance.choice((-1, 0, 1)) for time in steady(300, 10)]))
    assert (len(run.frames), run.missed) == (300, 0)
    assert run.cadence_s == pytest.approx(10, abs=0.1)


def test_a_ramp_from_day_to_night_changes_exposure_and_interval_in_one_sequence() -> None:
    shots, time, exposure, iso = [], 0.0, 1 / 1000, 100
    for number in range(400):
        shots += shots_at([time], first=number, exposure_s=exposure, iso=iso)
        time += max(4 + 16 * number / 400, exposure + 1)
        if number % 8 == 7:
            exposure = min(exposure * 2 ** (1 / 3), 15.0)
        if number > 300 and number % 10 == 0:
            iso = min(round(iso * 2 ** (1 / 3)), 3200)
    (run,) = find_sequences(shots)
    assert len(run.frames) == 400
    assert run.missed == 0


def test_continuous_shooting_follows_its_exposure_when_that_grows_by_a_stop() -> None:
    shots = shots_at(steady(20, 8.5), exposure_s=8.0)
    shots += shots_at(steady(20, 16.5, begin=20 * 8.5), first=20, exposure_s=16.0)
    (run,) = find_sequences(shots)
    assert (len(run.frames), run.missed) == (40, 0)


def test_two_regimes_are_two_sequences() -> None:
    shots = shots_at(steady(30, 10))
    shots += shots_at(steady(30, 25, begin=300), first=30, exposure_s=20.0, iso=3200)
    first, second = find_sequences(shots)
    assert (first.frames, first.cadence_s) == (names(0, 30), 10.0)
    assert (second.frames, second.cadence_s) == (names(30, 60), 25.0)


def test_a_cadence_twice_as_slow_is_another_regime_not_frames_missed() -> None:
    times = steady(30, 10) + steady(30, 20, begin=310)
    first, second = find_sequences(shots_at(times))
    assert (first.missed, second.missed) == (0, 0)
    assert (first.cadence_s, second.cadence_s) == (10.0, 20.0)


@pytest.mark.parametrize("change", [{"exposure_s": 2.0}, {"iso": 200}, {"f_number": 8.0}, {"focal_mm": 35.0}])
def test_a_jump_of_settings_breaks(change: dict[str, float]) -> None:
    shots = shots_at(steady(10, 10)) + shots_at(steady(10, 10, begin=100), first=10, **change)
    assert [run.frames for run in find_sequences(shots)] == [names(0, 10), names(10, 20)]


def test_settings_nobody_knows_do_not_break() -> None:
    shots = shots_at(steady(20, 10))
    shots[7] = replace(shots[7], exposure_s=None, iso=None, f_number=None, focal_mm=0.0)
    (run,) = find_sequences(shots)
    assert len(run.frames) == 20


def test_a_burst_is_a_sequence_of_its_own() -> None:
    times = steady(20, 0.125) + steady(20, 10, begin=60)
    burst, slow = find_sequences(shots_at(times, exposure_s=0.01))
    assert (len(burst.frames), burst.cadence_s) == (20, 0.125)
    assert (len(slow.frames), slow.cadence_s) == (20, 10.0)


def test_a_burst_without_sub_seconds_is_kept_in_the_order_of_its_names() -> None:
    (run,) = find_sequences(shots_at([float(int(time)) for time in steady(24, 0.125)], exposure_s=0.01))
    assert run.frames == names(0, 24)
    assert run.missed == 0


def test_single_pictures_are_no_sequence() -> None:
    chance = random.Random(3)
    times, time = [], 0.0
    for _ in range(60):
        time += chance.uniform(5, 900) * chance.choice((1, 3))
        times.append(time)
    assert find_sequences(shots_at(times)) == []
    assert find_sequences([]) == []


@pytest.mark.parametrize(("count", "found"), [(MIN_FRAMES - 1, 0), (MIN_FRAMES, 1)])
def test_five_frames_are_enough_and_four_are_not(count: int, found: int) -> None:
    assert len(find_sequences(shots_at(steady(count, 10)))) == found


def test_a_person_breaks_and_joins() -> None:
    shots = shots_at(steady(20, 10))
    first, second = find_sequences(shots, breaks=frozenset({"f0012"}))
    assert (first.frames, second.frames) == (names(0, 12), names(12, 20))
    apart = shots_at(steady(10, 10) + steady(10, 25, begin=1000))
    assert len(find_sequences(apart)) == 2
    (run,) = find_sequences(apart, joins=frozenset({"f0010"}))
    assert (run.frames, run.missed) == (names(0, 20), 0)
    assert len(find_sequences(apart, joins=frozenset({"f0010"}), breaks=frozenset({"f0010"}))) == 2


@pytest.mark.slow
@given(
    gaps=st.lists(
        st.one_of(st.sampled_from([0.0, 1.0, 10.0, 10.0, 10.0, 20.0, 25.0]), st.floats(0, 4000)), max_size=80
    ),
    exposures=st.lists(st.sampled_from([None, 0.0, 0.001, 1.0, 8.0, 8.0, 8.0]), min_size=81, max_size=81),
    marks=st.sets(st.integers(0, 80), max_size=6),
    shuffle=st.randoms(use_true_random=False),
)
def test_no_frame_is_lost_or_doubled_and_order_is_kept(
    gaps: list[float], exposures: list[float | None], marks: set[int], shuffle: random.Random
) -> None:
    times = [0.0]
    for gap in gaps:
        times.append(times[-1] + gap)
    shots = [
        replace(shot, exposure_s=exposure) for shot, exposure in zip(shots_at(times), exposures, strict=False)
    ]
    order = [shot.frame for shot in sorted(shots, key=lambda shot: (shot.start, shot.name))]
    breaks = frozenset(f"f{mark:04d}" for mark in marks if mark % 2)
    joins = frozenset(f"f{mark:04d}" for mark in marks if not mark % 2)
    runs = find_sequences(shuffle.sample(shots, len(shots)), breaks=breaks, joins=joins)
    at = 0
    for run in runs:
        begin = order.index(run.frames[0], at)
        assert tuple(order[begin : begin + len(run.frames)]) == run.frames
        assert len(run.frames) >= MIN_FRAMES
        assert not breaks & set(run.frames[1:])
        assert run.missed >= 0
        assert run.cadence_s >= 0
        at = begin + len(run.frames)
    assert runs == find_sequences(shots, breaks=breaks, joins=joins)
