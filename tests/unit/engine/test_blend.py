"""Keograms: columns where their times put them."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt
from PIL import Image

from archive.engine.blend import Axis, keogram, keogram_page
from archive.engine.surveyor import middle_column

AXIS = Axis(first=datetime(2026, 3, 18, 21, 34, 8, tzinfo=UTC), step_s=10, offset_min=60, zone="CET")


def frames(count: int, width: int = 12) -> list[npt.NDArray[np.uint8]]:
    random = np.random.default_rng(4)
    return [random.integers(0, 256, (40, width, 3)).astype(np.uint8) for _ in range(count)]


def test_each_column_of_a_keogram_is_the_middle_column_of_its_frame_bit_for_bit() -> None:
    """Column ``width // 2``, time to the right, as the open reference code for all-sky imagers does it."""
    made = frames(30)
    picture, filled = keogram([middle_column(f) for f in made], [10.0 * n for n in range(30)], 10.0)
    assert picture.shape == (40, 30, 3)
    assert filled.all()
    for k, frame in enumerate(made):
        assert np.array_equal(picture[:, k], frame[:, 12 // 2])


def test_gaps_stay_gaps_and_columns_stand_by_time_not_by_index() -> None:
    made = frames(6)
    seconds = [0.0, 10.4, 19.7, 50.0, 60.0, 69.0]
    picture, filled = keogram([middle_column(f) for f in made], seconds, 10.0)
    assert list(np.flatnonzero(filled)) == [0, 1, 2, 5, 6, 7]
    assert np.array_equal(picture[:, 5], made[3][:, 6])
    assert not picture[:, 3:5].any()


def test_missing_and_misfitting_columns_are_gaps() -> None:
    made = [middle_column(f) for f in frames(4)]
    picture, filled = keogram([made[0], None, made[2][:20], made[3]], [0, 1, 2, 3], 1.0)
    assert list(filled) == [True, False, False, True]
    assert picture.shape == (40, 4, 3)
    empty, none = keogram([None], [0.0], 1.0)
    assert (empty.shape, list(none)) == ((1, 1, 3), [False])


def test_the_page_holds_the_columns_unchanged_and_hatches_gaps() -> None:
    made = frames(6)
    seconds = [0.0, 10.0, 20.0, 50.0, 60.0, 70.0]
    picture, filled = keogram([middle_column(f) for f in made], seconds, 10.0)
    data = keogram_page(picture, filled, AXIS, title="2026-03-18/north/1", label="vertical slice")
    page = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    # Steps are eight pixels wide; every frame's column is found eight times side by side.
    for at in np.flatnonzero(filled):
        strip = np.repeat(picture[:, at : at + 1], 8, axis=1)
        windows = np.lib.stride_tricks.sliding_window_view(page, (40, 8, 3))[:, :, 0]
        assert (windows == strip).all(axis=(2, 3, 4)).sum() == 1
    assert page.shape[0] > 40


def test_a_long_night_is_averaged_and_hours_are_ticked_on_the_local_clock() -> None:
    steps = 9000
    picture = np.full((30, steps, 3), 90, np.uint8)
    filled = np.ones(steps, np.bool_)
    filled[3000:4500] = False
    page = np.asarray(Image.open(io.BytesIO(keogram_page(picture, filled, AXIS, title="t", label="l"))))
    assert page.shape[1] < 4100
    assert (page == 90).all(axis=2).sum() == 30 * 2500
