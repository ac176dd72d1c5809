"""The contact strip is one picture of rows that fit each other."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from archive.demo import strip


@pytest.mark.slow
def test_the_strip_shows_every_frame_in_two_equal_rows() -> None:
    with Image.open(io.BytesIO(strip.contact_strip(height=60))) as picture:
        pixels = np.asarray(picture.convert("RGB")).astype(int)
    height, width, _ = pixels.shape
    assert height == 2 * 60 + 3 * 8
    assert width == 3 * 90 + 40 + 5 * 8
    # Every frame has aurora: something much greener than the paper in each.
    for row, frames in enumerate(strip.ROWS):
        left = 8
        for camera, _ in frames:
            wide = 90 if camera == "north" else 40
            frame = pixels[8 + row * 68 : 68 + row * 68, left : left + wide]
            assert (frame[..., 1] - frame[..., 0]).max() > 25
            left += wide + 8
