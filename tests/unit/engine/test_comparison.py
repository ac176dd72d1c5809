"""Differences of colours against the published data, and the sheet that shows them."""

from __future__ import annotations

import colour as reference
import numpy as np
import pytest

from archive.engine.comparison import ciede2000, comparison_sheet, difference, difference_map
from archive.errors import ArchiveError

# Some of the 34 pairs of table 1 of Sharma, Wu and Dalal 2005, "The CIEDE2000 color-difference
# formula"; values from memory, held against an independent implementation below.
PUBLISHED = (
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0009), 7.1792),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
    ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
)


@pytest.mark.parametrize(("first", "second", "expected"), PUBLISHED)
def test_published_pairs_have_their_published_difference(
    first: tuple[float, ...], second: tuple[float, ...], expected: float
) -> None:
    found = ciede2000(np.array([first, second]), np.array([second, first]))
    assert found == pytest.approx([expected, expected], abs=5e-5)


def test_any_colours_differ_as_an_independent_implementation_says() -> None:
    random = np.random.default_rng(7)
    low, high = np.array([0, -100, -100]), np.array([100, 100, 100])
    first, second = random.uniform(low, high, (500, 3)), random.uniform(low, high, (500, 3))
    expected = reference.delta_E(first, second, method="CIE 2000")
    assert np.allclose(ciede2000(first, second), expected, atol=1e-6)


def night(seed: int = 1, height: int = 130, width: int = 90) -> np.ndarray:  # type: ignore[type-arg]
    return np.random.default_rng(seed).integers(0, 90, (height, width, 3)).astype(np.uint8)


def test_equal_pictures_do_not_differ_and_one_pixel_is_found() -> None:
    first = night()
    same = difference(first, first.copy())
    assert (same.mean, same.largest, same.changed, same.any_changed) == (0, 0, 0, 0)
    other = first.copy()
    other[100, 40] = (255, 255, 255)
    found = difference(first, other)
    assert np.argwhere(found.each > 0).tolist() == [[100, 40]]
    assert found.any_changed == pytest.approx(1 / (130 * 90))
    assert found.mean == pytest.approx(found.largest / (130 * 90), rel=1e-5)


def test_pixels_differ_as_their_srgb_colours_do() -> None:
    first, second = night(1), night(2)
    found = difference(first, second)
    lab = [
        reference.XYZ_to_Lab(reference.sRGB_to_XYZ(each / 255.0), reference.CCS_ILLUMINANTS[
            "CIE 1931 2 Degree Standard Observer"]["D65"])
        for each in (first, second)
    ]  # fmt: skip
    expected = reference.delta_E(lab[0], lab[1], method="CIE 2000")
    assert np.abs(found.each - expected).max() < 0.02
    assert found.changed == pytest.approx(float((found.each >= 1).mean()))


def test_the_map_is_paper_where_nothing_differs_and_darker_the_more_does() -> None:
    first = np.zeros((1, 5, 3), np.uint8)
    second = first + np.array([0, 4, 12, 40, 200], np.uint8)[None, :, None]
    drawn = difference_map(difference(first, second)).astype(int).sum(axis=2)[0]
    assert drawn[0] == 750
    assert (np.diff(drawn) < 0).all()


@pytest.mark.parametrize(("height", "width"), [(130, 90), (80, 200)])
def test_the_sheet_shows_both_pictures_untouched_and_the_map(height: int, width: int) -> None:
    first, second = night(1, height, width), night(2, height, width)
    sheet = comparison_sheet(first, second, difference(first, second), ("before", "after"))
    for picture in (first, second, difference_map(difference(first, second))):
        windows = np.lib.stride_tricks.sliding_window_view(sheet[..., 0], (1, width))
        rows = np.argwhere((windows[:, :, 0] == picture[0, :, 0]).all(axis=2))
        assert any(
            np.array_equal(sheet[top : top + height, left : left + width], picture) for top, left in rows
        )


def test_what_is_no_8_bit_picture_is_refused() -> None:
    with pytest.raises(ArchiveError, match="uint16"):
        difference(night(), night().astype(np.uint16))
