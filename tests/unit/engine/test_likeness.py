"""Prints of what a picture shows."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image
from support.invented_sky import Moment, light

from archive.engine.likeness import distance, luminance, print_of

Picture = npt.NDArray[np.uint8]


def shown(moment: Moment, gain: float = 4.0) -> Picture:
    """A moment as an 8-bit picture."""
    encoded = np.clip(light(moment) * gain, 0, 1) ** (1 / 2.2)
    return np.asarray((encoded * 255).round(), np.uint8)


@pytest.fixture(scope="module")
def night() -> Picture:
    return shown(Moment(green=0.05))


def test_luminance_is_that_of_the_standard() -> None:
    """IEC 61966-2-1: code 128 is 0.21586050; white is 1."""
    grey = np.full((1, 2, 3), 128, np.uint8)
    grey[0, 1] = 255
    assert luminance(grey)[0] == pytest.approx([0.21586050, 1.0], abs=1e-8)


def test_a_picture_is_its_own_likeness_and_a_print_has_64_digits(night: Picture) -> None:
    assert len(print_of(night)) == 64
    assert distance(print_of(night), print_of(night)) == 0


def test_smaller_recompressed_and_brighter_it_is_found_again(night: Picture) -> None:
    smaller = np.asarray(Image.fromarray(night).resize((300, 200), Image.Resampling.LANCZOS))
    stream = io.BytesIO()
    Image.fromarray(night).save(stream, "JPEG", quality=60)
    recompressed = np.asarray(Image.open(stream))
    brighter = shown(Moment(green=0.05), gain=8.0)
    for other in (smaller, recompressed, brighter):
        assert distance(print_of(night), print_of(other)) < 30


def test_another_moment_and_another_picture_are_further_away(night: Picture) -> None:
    noise = np.random.default_rng(1).integers(0, 256, night.shape).astype(np.uint8)
    assert distance(print_of(night), print_of(noise)) > 90
    assert distance(print_of(night), print_of(np.ascontiguousarray(night[::-1]))) > 60


@pytest.mark.parametrize("shape", [(1, 1, 3), (3, 200, 3), (64, 64, 3)])
def test_pictures_of_any_size_have_a_print(shape: tuple[int, int, int]) -> None:
    assert len(print_of(np.zeros(shape, np.uint8))) == 64
