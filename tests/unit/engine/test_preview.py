"""Before and after."""

from typing import Any

import numpy as np
import pytest

from archive.engine.preview import side_by_side
from archive.errors import ArchiveError

BEFORE = np.full((200, 300, 3), 40, np.uint8)
AFTER = np.full((200, 300, 3), 90, np.uint8)


def test_both_pictures_are_there_beside_a_divider() -> None:
    made = side_by_side(BEFORE, AFTER)
    assert made.shape == (200, 601, 3)
    assert (made[:100, :300] == 40).all()
    assert (made[:100, 301:] == 90).all()
    assert (made[:100, 300] > 200).all()
    assert (made[100:, :300] != 40).any()


def test_wide_pictures_are_stacked() -> None:
    assert side_by_side(BEFORE[:80], AFTER[:80]).shape == (161, 300, 3)


def test_a_cropped_after_is_brought_to_the_size_of_before() -> None:
    made = side_by_side(BEFORE, AFTER[:, :150])
    assert made.shape == (200, 601, 3)
    assert (made[50, 301 + 75 : 301 + 225] == 90).all()
    assert (made[50, 301 : 301 + 70] == 0).all()


def test_other_pixels_are_refused() -> None:
    deep: Any = BEFORE.astype(np.uint16)
    with pytest.raises(ArchiveError, match="uint16"):
        side_by_side(deep, AFTER)
