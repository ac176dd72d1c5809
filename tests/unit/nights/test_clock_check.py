from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from support.skycurves import curve, restless

from archive.model.clocks import CurvePoint, Sureness
from archive.nights.clock_check import clock_shift

BEGIN = datetime(2026, 3, 18, 21, 30, tzinfo=UTC)


@pytest.mark.parametrize("slow", [0, 72, -72, 3600, -3600, 9000])
def test_a_wrong_clock_is_found_to_a_second_by_what_two_cameras_saw(slow: int) -> None:
    sky = restless(7)
    first = curve(sky, begin=BEGIN, cadence_s=10)
    second = curve(
        sky, begin=BEGIN + timedelta(seconds=95), cadence_s=13, count=120, slow_s=slow, seed=2, noise=0.1
    )
    found = clock_shift(first, second)
    assert found.sureness == Sureness.SURE
    assert found.seconds == pytest.approx(slow, abs=2)
    assert found.error is not None and found.error < 4
    back = clock_shift(second, first)
    assert back.seconds == pytest.approx(-slow, abs=2)


def test_another_lens_level_and_view_do_not_hide_the_shift() -> None:
    sky, elsewhere = restless(7), restless(8)
    first = curve(sky, begin=BEGIN)
    mixed = curve(
        lambda at: 0.6 * sky(at) + 0.2 * elsewhere(at) + at / 4000 % 7, begin=BEGIN, slow_s=72, seed=2
    )
    found = clock_shift(first, mixed)
    assert found.sureness != Sureness.UNTOLD
    assert found.seconds == pytest.approx(72, abs=4)


def test_lamps_in_single_frames_and_gaps_do_not_mislead() -> None:
    sky, random_ = restless(7), random.Random(4)
    first = [
        replace(point, stops=point.stops + (6 if random_.random() < 0.04 else 0))
        for point in curve(sky, begin=BEGIN)
        if not 400 < point.at - BEGIN.timestamp() < 560
    ]
    found = clock_shift(first, curve(sky, begin=BEGIN, slow_s=72, seed=2))
    assert found.sureness == Sureness.SURE
    assert found.seconds == pytest.approx(72, abs=4)


def test_unlike_skies_are_seldom_likely_and_never_sure() -> None:
    told = [
        clock_shift(curve(restless(seed), begin=BEGIN), curve(restless(seed + 500), begin=BEGIN)).sureness
        for seed in range(16)
    ]
    assert told.count(Sureness.SURE) == 0
    assert told.count(Sureness.LIKELY) <= 1


def test_skies_that_do_not_change_and_rows_that_are_short_tell_nothing() -> None:
    still = [CurvePoint(at=10.0 * step, stops=-9.0) for step in range(100)]
    assert clock_shift(still, still).reason == "the sky did not change while both measured it"
    short = curve(restless(1), begin=BEGIN, count=14)
    assert "fewer than 24" in clock_shift(short, short).reason
    assert clock_shift([], still).sureness == Sureness.UNTOLD


def test_frames_of_one_moment_count_once() -> None:
    first, second = curve(restless(7), begin=BEGIN), curve(restless(7), begin=BEGIN, slow_s=72)
    assert clock_shift(first + first, second + second) == clock_shift(first, second)


@pytest.mark.slow
@pytest.mark.parametrize("slow", [72, 3600])
def test_the_simulated_night_gives_its_slow_clock_away(slow: int) -> None:
    # Two cameras look 55° apart; their auroras are one show, and no more.
    from archive.demo import night, truth

    curves = []
    for camera, behind in (("north", 0), ("river", slow)):
        light = truth.activity(camera, frames=96).mean
        shots = [shot for shot in night.exposures(truth.plan_of(camera), 96) if shot.slot is not None]
        curves.append(
            [
                CurvePoint(at=shot.middle.timestamp() - behind, stops=math.log2(value + 0.02))
                for shot, value in zip(shots, light, strict=True)
            ]
        )
    found = clock_shift(*curves)
    assert found.sureness != Sureness.UNTOLD
    assert found.seconds is not None and found.error is not None
    assert abs(found.seconds - slow) < 2.5 * found.error < 30
