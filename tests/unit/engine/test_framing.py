"""Which part is shown, how large, and where it lies on the sensor."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.recipes import frame, picture, recipe

from archive.engine import framing
from archive.engine.framing import View
from archive.engine.kernels.rows import Rows
from archive.engine.lensmodel import NO_LENS
from archive.engine.operators.framing import Crop, Straighten
from archive.engine.pipeline import render
from archive.engine.sampling import sampled
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


def shares() -> st.SearchStrategy[float]:
    """What people cut from a side, in steps of half a percent, or any share."""
    return st.one_of(st.integers(0, 90).map(lambda step: step / 200), st.floats(0, 0.45))


@settings(deadline=None, max_examples=100)
@given(
    sides=st.tuples(st.integers(2, 130), st.integers(2, 130)),
    crop=st.builds(
        Crop,
        left=shares(),
        top=shares(),
        right=shares(),
        bottom=shares(),
        aspect=st.sampled_from([0.0, 1.0, 1.7778]),
    ),
    fit=st.one_of(st.none(), st.tuples(st.integers(2, 140), st.integers(2, 140))),
    even=st.booleans(),
    orientation=st.integers(1, 8),
    aspect=st.sampled_from([1.0, 1.0, 1.5346, 0.7]),
    mosaic=st.booleans(),
)
@example(sides=(91, 60), crop=Crop(left=0.5), fit=None, even=True, orientation=1, aspect=1.0, mosaic=False)
@example(sides=(100, 60), crop=Crop(left=0.715), fit=None, even=False, orientation=3, aspect=1.0, mosaic=True)
def test_a_picture_is_as_large_as_its_view(
    sides: tuple[int, int], crop: Crop, fit: tuple[int, int] | None, even: bool, orientation: int,
    aspect: float, mosaic: bool,
) -> None:  # fmt: skip
    try:
        view = framing.view_of(
            *sides, aspect=aspect, orientation=orientation, straighten=None, crop=crop,
            pixels=PixelSpec(fit=fit, even=even),
        )  # fmt: skip
    except ArchiveError:
        assert even
        return
    width, height = sides
    decoded = frame(np.zeros((height, width), np.uint16)) if mosaic else picture(np.zeros((height, width, 3)))
    with Rows(1) as rows:
        made = sampled(
            replace(decoded, orientation=orientation, aspect=aspect),
            view,
            NO_LENS,
            np.ones(3, np.float32),
            rows,
        )
    assert made.shape == (3, view.rows, view.columns)
    assert not even or (view.rows % 2, view.columns % 2) == (0, 0)


@pytest.mark.parametrize(("side", "left", "right"), [(91, 0.5, 0.0), (100, 0.715, 0.0), (4500, 0.285, 0.295)])
def test_a_crop_that_ends_between_pixels_stays_inside_the_frame(side: int, left: float, right: float) -> None:
    """Edge and size, each rounded by itself, would together reach beyond the frame."""
    made = view(side, 60, crop=Crop(left=left, right=right))
    assert made.columns == round(side * (1 - left - right))
    first = made.left + side / 2
    assert first == round(first)
    assert abs(first - left * side) <= 1
    assert first + made.columns <= side
    for pixels in (PixelSpec(fit=None), PixelSpec(fit=None, even=True)):
        light = np.zeros((60, side, 3), np.float32)
        shape = render(picture(light), recipe(f"crop.left={left}", f"crop.right={right}"), pixels).shape
        assert shape == (60, made.columns - (made.columns % 2 if pixels.even else 0), 3)


@pytest.mark.parametrize("aspect", [1e-147, 1e-9, 0.04])
def test_a_shape_without_width_is_refused_and_takes_no_memory(aspect: float) -> None:
    """A recipe that was recorded with one took all memory there was, or ended the program."""
    crop = Crop(left=0.05, top=0.3, aspect=aspect)
    with pytest.raises(ArchiveError, match="no picture is narrower"):
        framing.view_of(
            600, 400, aspect=1.0, orientation=1, straighten=None, crop=crop, pixels=PixelSpec(fit=(23, 31))
        )
