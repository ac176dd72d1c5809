"""Histograms and curves as characters and charts."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.errors import UsageError
from archive.model.levels import ChannelLevels, Levels, TonePoint, ToneResponse
from archive.views.tonechart import levels_lines, tone_chart, tone_lines

TONE = ToneResponse(
    points=tuple(
        TonePoint(stops=-12 + 12 * n / 63, shown=n / 63, untouched=(n / 63) ** 2) for n in range(64)
    ),
    operators=("exposure",),
)


def levels(of: str = "raw") -> Levels:
    counts = (0, *range(1, 54), 9000, 40)
    red = ChannelLevels(name="red", counts=counts, clipped=40, black=0)
    blue = ChannelLevels(name="blue", counts=(10, *[0] * 55), clipped=0, black=10)
    low, high = (-14.0, 0.0) if of == "raw" else (0.0, 1.0)
    return Levels(of=of, unit="stops", low=low, high=high, channels=(red, blue))


@pytest.mark.parametrize("of", ["raw", "picture"])
def test_a_histogram_fits_a_terminal_of_80_columns(of: str) -> None:
    assert max(map(len, levels_lines(levels(of)).plain.splitlines())) <= 80


def test_a_histogram_has_a_bar_for_every_bin_that_holds_anything() -> None:
    lines = levels_lines(levels()).plain.splitlines()
    red, blue = lines[1], lines[2]
    assert red.startswith("   red  ")
    assert red[7 + 54] == "█"
    assert " " not in red[8 : 7 + 56]
    assert blue[7] != " "
    assert blue[8:].strip() == ""


def test_clipped_and_black_samples_are_told_per_channel() -> None:
    text = levels_lines(levels()).plain
    assert "clipped  red 40 (0.38 %) · blue none" in text
    assert "black  red none · blue 10 (1e+02 %)" not in text
    assert "black  red none · blue 10 (100 %)" in text


def test_the_axis_runs_from_its_low_to_its_high_end() -> None:
    axis = levels_lines(levels()).plain.splitlines()[3]
    assert axis.split() == ["−14", "−10.5", "−7", "−3.5", "0"]


def test_the_curve_rises_from_black_to_white_with_both_lines() -> None:
    lines = tone_lines(TONE).plain.splitlines()
    assert lines[0] == "Tone response of exposure"
    assert lines[1].rstrip().endswith("●")
    assert lines[14].startswith(" black │●")
    assert any("·" in line for line in lines[1:15])
    assert max(map(len, lines)) <= 80


def test_charts_are_pictures_of_the_asked_kind_and_the_same_every_time(tmp_path: Path) -> None:
    png = tone_chart(TONE, tmp_path / "curve.PNG")
    svg = tone_chart(TONE, tmp_path / "curve.svg")
    assert png.startswith(b"\x89PNG")
    assert b"<svg" in svg[:600]
    assert svg == tone_chart(TONE, tmp_path / "curve.svg")


def test_another_kind_of_chart_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no kind of chart"):
        tone_chart(TONE, tmp_path / "curve.txt")
