"""Close looks: the very pixels, enlarged, of places worth it."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import closeups
from archive.demo.closeups import ENLARGED, HEIGHT, WIDTH


def _noise(height: int, width: int) -> np.ndarray:
    return np.random.default_rng(5).integers(60, 70, (height, width, 3), np.uint8)


def test_every_pixel_of_a_part_becomes_a_square_of_its_very_colour() -> None:
    picture = _noise(200, 300)
    part = closeups.cut(picture, (31, 47))
    assert part.shape == (HEIGHT * ENLARGED, WIDTH * ENLARGED, 3)
    for row in range(ENLARGED):
        for column in range(ENLARGED):
            every = part[row::ENLARGED, column::ENLARGED]
            assert np.array_equal(every, picture[31 : 31 + HEIGHT, 47 : 47 + WIDTH])


def test_a_picture_smaller_than_a_part_is_shown_whole() -> None:
    picture = _noise(20, 30)
    assert closeups.around(picture, 0.9, 0.9) == (0, 0)
    assert list(closeups.found(picture).values()) == [(0, 0)]
    assert list(closeups.far_out(picture[:1, :1]).values()) == [(0, 0)]
    assert closeups.cut(picture, (0, 0)).shape == (20 * ENLARGED, 30 * ENLARGED, 3)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (1.0, 1.0), (0.02, 0.735), (0.5, 0.5)])
def test_the_part_around_a_place_lies_in_the_picture_and_holds_the_place(x: float, y: float) -> None:
    top, left = closeups.around(_noise(400, 600), x, y)
    assert 0 <= top <= y * 400 <= top + HEIGHT <= 400
    assert 0 <= left <= x * 600 <= left + WIDTH <= 600


def test_detail_and_plain_grain_are_found_and_what_is_black_or_clipped_is_not() -> None:
    picture = np.zeros((3 * HEIGHT, 3 * WIDTH, 3), np.uint8)
    picture[HEIGHT:] = 255
    picture[HEIGHT : 2 * HEIGHT, :WIDTH] = _noise(HEIGHT, WIDTH)
    picture[-HEIGHT:, -WIDTH:][:, ::2] = 0
    assert closeups.found(picture) == {
        "the finest detail": (2 * HEIGHT, 2 * WIDTH),
        "the plainest part": (HEIGHT, 0),
    }


def test_a_star_far_out_is_found_rather_than_one_in_the_middle_or_a_glowing_pixel() -> None:
    picture = _noise(5 * HEIGHT, 5 * WIDTH)
    picture[:HEIGHT, -WIDTH:] = np.linspace(0, 250, WIDTH)[:, None]
    picture[2 * HEIGHT + 9 : 2 * HEIGHT + 12, 2 * WIDTH + 9 : 2 * WIDTH + 12] = 255
    picture[20, 20] = 255
    picture[4 * HEIGHT + 30 : 4 * HEIGHT + 32, 40:42] = 180
    assert list(closeups.far_out(picture).values()) == [(4 * HEIGHT, 0)]


def test_places_that_changed_most_come_first_and_none_where_nothing_changed() -> None:
    before = _noise(400, 600)
    after = before.copy()
    after[100, 300] += 40
    after[103, 310] += 30
    after[399, 0] += 20
    assert closeups.changed(before, [before, after]) == {
        "around row 100, column 300": (100 - HEIGHT // 2, 300 - WIDTH // 2),
        "around row 399, column 0": (400 - HEIGHT, 0),
    }
    assert closeups.changed(before, [before.copy()]) == {}
