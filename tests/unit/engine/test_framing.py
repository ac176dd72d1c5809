"""Which part is shown, how large, and where it lies on the sensor."""

import numpy as np
import pytest

from archive.engine import framing
from archive.engine.framing import View
from archive.engine.operators.framing import Crop, Straighten
from archive.errors import ArchiveError
from archive.model.product import PixelSpec


def view(
    width: int = 6000,
    height: int = 4000,
    *,
    fit: tuple[int, int] | None = None,
    orientation: int = 1,
    aspect: float = 1.0,
    even: bool = False,
    straighten: Straighten | None = None,
    crop: Crop | None = None,
) -> View:
    return framing.view_of(
        width, height, aspect=aspect, orientation=orientation, straighten=straighten, crop=crop,
        pixels=PixelSpec(fit=fit, even=even),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("fit", "orientation", "expected"),
    [
        ((1920, 1920), 1, (1920, 1280)),
        ((1920, 1080), 1, (1620, 1080)),
        ((1920, 1920), 6, (1280, 1920)),
        ((9000, 9000), 1, (6000, 4000)),
        (None, 8, (4000, 6000)),
        ((1, 1), 1, (1, 1)),
    ],
)
def test_pictures_fit_the_box_and_are_never_enlarged(
    fit: tuple[int, int] | None, orientation: int, expected: tuple[int, int]
) -> None:
    made = view(fit=fit, orientation=orientation)
    assert (made.columns, made.rows) == expected


def test_even_sides_lose_one_pixel_not_their_scale() -> None:
    odd, even = view(4928, 3264, fit=(1000, 665)), view(4928, 3264, fit=(1000, 665), even=True)
    assert (odd.columns, odd.rows) == (1000, 662)
    square = view(999, 999, even=True)
    assert (square.columns, square.rows, square.scale) == (998, 998, 1.0)
    assert even.scale == pytest.approx(odd.scale, rel=1e-9)


def test_samples_that_are_not_square_are_stretched() -> None:
    made = view(848, 976, aspect=1.5345911949685533)
    assert (made.columns, made.rows) == (1301, 976)


def test_a_straightened_picture_keeps_its_shape_and_lies_inside_the_frame() -> None:
    made = view(straighten=Straighten(angle=10))
    assert made.width / made.height == pytest.approx(1.5, rel=1e-3)
    for x in (made.left, made.left + made.width):
        for y in (made.top, made.top + made.height):
            across = x * np.cos(made.angle) + y * np.sin(made.angle)
            down = y * np.cos(made.angle) - x * np.sin(made.angle)
            assert abs(across) <= 3001
            assert abs(down) <= 2001


def test_crops_are_shares_of_the_sides_and_shapes_are_cut_from_the_middle() -> None:
    made = view(crop=Crop(left=0.1, top=0.2))
    assert (made.columns, made.rows) == (5400, 3200)
    assert (made.left, made.top) == (-2400, -1200)
    square = view(crop=Crop(aspect=1.0))
    assert (square.columns, square.rows, square.left, square.top) == (4000, 4000, -2000, -2000)
    wide = view(crop=Crop(aspect=3.0))
    assert (wide.columns, wide.rows, wide.top) == (6000, 2000, -1000)


def test_impossible_boxes_are_refused() -> None:
    with pytest.raises(ArchiveError, match="0 × 5"):
        view(fit=(0, 5))
    with pytest.raises(ArchiveError, match="leaves nothing"):
        view(crop=Crop(left=0.5, right=0.5))
    with pytest.raises(ArchiveError, match="2 × 2"):
        view(3, 1, even=True)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turning_agrees_with_exif(orientation: int) -> None:
    stored = np.arange(6, dtype=np.float32).reshape(1, 2, 3)
    expected = {
        1: [[0, 1, 2], [3, 4, 5]], 2: [[2, 1, 0], [5, 4, 3]], 3: [[5, 4, 3], [2, 1, 0]],
        4: [[3, 4, 5], [0, 1, 2]],
        5: [[0, 3], [1, 4], [2, 5]], 6: [[3, 0], [4, 1], [5, 2]],
        7: [[5, 2], [4, 1], [3, 0]], 8: [[2, 5], [1, 4], [0, 3]],
    }  # fmt: skip
    assert framing.upright(stored, orientation)[0].tolist() == expected[orientation]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_rectangle_of_the_upright_frame_is_found_on_the_sensor(orientation: int) -> None:
    stored = np.arange(48, dtype=np.float32).reshape(1, 6, 8)
    turned = framing.upright(stored, orientation)
    height, width = turned.shape[1:]
    left, top, right, bottom = framing.on_sensor(0.25, 0.5, 0.75, 1.0, orientation)
    part = stored[:, round(top * 6) : round(bottom * 6), round(left * 8) : round(right * 8)]
    wanted = turned[:, height // 2 :, width // 4 : 3 * width // 4]
    if height % 2 == 0 and width % 4 == 0:
        assert np.array_equal(framing.upright(part, orientation), wanted)
    else:
        assert left < right
        assert top < bottom
