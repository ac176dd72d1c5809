"""Previews, middle columns and slices."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from support.invented_sky import Moment, frame

from archive.engine.output import encode_jpeg
from archive.engine.surveyor import SIDE, look, middle_column, read_picture, slices_png
from archive.errors import DamagedFileError


def test_a_preview_is_upright_and_no_larger_than_its_side() -> None:
    seen = look(frame(Moment(), orientation=6))
    assert seen.size == (320, 480)
    assert Image.open(io.BytesIO(seen.preview)).size == (320, 480)
    assert SIDE == 1024
    assert seen.column.shape == (480, 3)


def test_of_an_even_width_the_middle_column_is_right_of_the_centre() -> None:
    picture = np.random.default_rng(1).integers(0, 256, (5, 8, 3)).astype(np.uint8)
    assert np.array_equal(middle_column(picture), picture[:, 4])
    assert np.array_equal(middle_column(picture[:, :7]), picture[:, 3])


def test_slices_come_back_bit_for_bit() -> None:
    columns = [np.random.default_rng(n).integers(0, 256, (33, 3)).astype(np.uint8) for n in range(9)]
    picture = read_picture(slices_png(columns), None, 33, "slices")
    assert all(np.array_equal(picture[:, at], column) for at, column in enumerate(columns))


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"\xff\xd8\xff\xe0 cut"])
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(DamagedFileError, match="no picture that can be used"):
        read_picture(data, 8, 8, "preview")


def test_a_picture_of_another_size_is_refused() -> None:
    data = encode_jpeg(np.zeros((8, 8, 3), np.uint8))
    assert read_picture(data, 8, 8, "preview").shape == (8, 8, 3)
    with pytest.raises(DamagedFileError, match="8 × 8"):
        read_picture(data, 9, 8, "preview")
