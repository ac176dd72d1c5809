"""Ramps on a terminal of 80 columns."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

from rich.console import Console
from support.rampsheets import sheet

from archive.model.editing import RampSheet
from archive.views.rampreport import tell_ramps
from archive.views.report import Report


def said(found: RampSheet) -> str:
    out = StringIO()
    tell_ramps(Report(Console(file=out, width=80, highlight=False)), found)
    return out.getvalue()


def test_camera_exposure_and_each_ramp_are_told_with_units_and_local_time() -> None:
    text = said(sheet())
    for part in ("60 frames", "camera exposure, stops", "exposure.stops  (linear)", "22:30", "22:39 CET",
                 "anchors  #1 +0.50 stops   #60 −0.50 stops", " 0.50 │", "−0.50 │"):  # fmt: skip
        assert part in text, part
    assert max(map(len, text.splitlines())) <= 80


def test_what_no_ramp_reaches_and_a_run_without_ramps_are_told() -> None:
    text = said(sheet(outside=("a.DNG", "b.DNG", "c.DNG", "d.DNG")))
    assert "4 frames are reached by no ramp (a.DNG, b.DNG, c.DNG, …)" in text
    assert "Nothing ramps here" in said(sheet(ramps=()))


def test_surveyed_brightness_stands_in_the_place_of_exposure() -> None:
    text = said(sheet(brightness=tuple(-3 - n / 59 for n in range(60))))
    assert "brightness as surveyed, stops" in text and "camera exposure" not in text
    assert "−3.00 │" in text and "−4.00 │" in text


def test_frames_with_values_of_their_own_are_told() -> None:
    (line,) = sheet().ramps
    text = said(sheet(ramps=(replace(line, overridden=(4,)),)))
    assert "1 frame has own values in sequences instead (NOCT0005.DNG)" in text
    assert "own values" not in said(sheet())
