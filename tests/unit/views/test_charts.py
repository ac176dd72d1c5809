"""Charts as files: what they show, and that the same figures give the same file."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from support.rampsheets import MOMENTS, sheet

from archive.errors import UsageError
from archive.views.charts import Strip, write_ramps, write_strips


def test_a_drawn_ramp_is_dark_on_white_with_a_strip_for_each_curve(tmp_path: Path) -> None:
    write_ramps(sheet(), tmp_path / "two.png")
    write_ramps(sheet(ramps=()), tmp_path / "one.png")
    with Image.open(tmp_path / "two.png") as two, Image.open(tmp_path / "one.png") as one:
        assert two.width == one.width
        assert two.height > 1.4 * one.height
        pixels = np.asarray(two.convert("L"))
    assert (pixels == 255).mean() > 0.85
    assert pixels.min() < 80


def test_axes_are_labelled_with_units_and_the_sites_own_time(tmp_path: Path) -> None:
    import matplotlib

    with matplotlib.rc_context():
        from archive.views import charts

        figure = charts._figure(
            [charts._ramp_strip(sheet().ramps[0], MOMENTS)], MOMENTS, "title", "Europe/Oslo"
        )
    (axis,) = figure.axes
    assert axis.get_ylabel() == "stops"
    assert axis.get_xlabel() == "local time, CET, 2026-03-18"
    assert axis.get_title(loc="left") == "exposure.stops"
    assert axis.get_title(loc="right") == "linear, 2 anchors"
    assert [text.get_text() for text in axis.texts] == ["+0.50", "−0.50"]
    low, high = axis.get_ylim()
    assert low < -0.5 < 0.5 < high


def test_the_same_figures_give_the_same_svg(tmp_path: Path) -> None:
    for name in ("a.svg", "b.svg"):
        write_ramps(sheet(), tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert b"<dc:date>" not in (tmp_path / "a.svg").read_bytes()


def test_frames_without_values_leave_a_gap_and_one_frame_is_drawn(tmp_path: Path) -> None:
    line = sheet().ramps[0]
    gaps = replace(line, values=(*line.values[:20], *([None] * 20), *line.values[40:]))
    write_ramps(sheet(ramps=(gaps,), exposure=(None,) * 60), tmp_path / "gap.png")
    alone = replace(line, values=(0.5,), anchors=line.anchors[:1])
    one = sheet(frames=("a",), taken=MOMENTS[:1], exposure=(6.0,), ramps=(alone,))
    write_ramps(one, tmp_path / "one.png")
    assert (tmp_path / "one.png").stat().st_size > 1000


def test_other_files_taken_names_and_nothing_are_refused(tmp_path: Path) -> None:
    (tmp_path / "taken.png").write_text("mine")
    for path, words in (("chart.pdf", "is no chart file"), ("taken.png", "is there already")):
        with pytest.raises(UsageError, match=words):
            write_ramps(sheet(), tmp_path / path)
    with pytest.raises(UsageError, match="nothing to draw"):
        write_ramps(sheet(ramps=(), exposure=(None,) * 60), tmp_path / "none.png")
    strip = Strip(label="x", unit="y", values=())
    with pytest.raises(UsageError, match="nothing to draw"):
        write_strips([strip], [], title="t", zone=None, to=tmp_path / "none.png")
    assert [path.name for path in tmp_path.iterdir()] == ["taken.png"]
    assert (tmp_path / "taken.png").read_text() == "mine"


def drawn(strip: Strip) -> Any:
    import matplotlib

    with matplotlib.rc_context():
        from archive.views import charts

        (axis,) = charts._figure([strip], MOMENTS, "title", None).axes
    return axis


def test_values_stand_on_white_above_the_grid_and_below_the_curve() -> None:
    from archive.views import charts

    axis = drawn(charts._ramp_strip(sheet().ramps[0], MOMENTS))
    curve = max(line.get_zorder() for line in axis.lines)
    for text in axis.texts:
        assert text.get_bbox_patch().get_facecolor() == (1, 1, 1, 1)
        assert axis.get_axisbelow() is True and text.get_zorder() < curve


def test_frames_with_values_of_their_own_are_ticked_and_the_ticks_explained() -> None:
    from archive.views import charts

    line = replace(sheet().ramps[0], overridden=(3, 14))
    axis = drawn(charts._ramp_strip(line, MOMENTS))
    (ticks,) = [each for each in axis.lines if each.get_marker() == "|"]
    assert [moment.astimezone(UTC) for moment in ticks.get_xdata()] == [MOMENTS[3], MOMENTS[14]]
    assert [text.get_text() for text in axis.get_legend().get_texts()] == ["2 frames have own values instead"]
    single = charts._ramp_strip(replace(line, overridden=(3,)), MOMENTS)
    assert single.ticked == "1 frame has own values instead"
    assert drawn(charts._ramp_strip(sheet().ramps[0], MOMENTS)).get_legend() is None


def test_ramps_stand_below_the_surveyed_brightness_or_else_the_exposure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from archive.views import charts

    labels: list[list[str]] = []
    monkeypatch.setattr(
        charts, "write_strips", lambda strips, *_a, **_k: labels.append([s.label for s in strips])
    )
    write_ramps(sheet(), tmp_path / "a.png")
    write_ramps(sheet(brightness=(None,) * 60), tmp_path / "a.png")
    write_ramps(sheet(brightness=(None, *(-3.0,) * 59)), tmp_path / "a.png")
    exposure, bright = ["camera exposure", "exposure.stops"], ["brightness as surveyed", "exposure.stops"]
    assert labels == [exposure, exposure, bright]
