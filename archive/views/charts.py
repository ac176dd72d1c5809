"""Charts drawn to PNG and SVG files: dark on white, quiet, axes labelled with their units."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import matplotlib
import matplotlib.dates
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import MaxNLocator

from archive.errors import UsageError, counted, shown
from archive.model.editing import RampLine, RampSheet

_dates: Any = matplotlib.dates
INK, QUIET, FAINT = "#23262d", "#6d727c", "#d9dce1"
CURVE, CAMERA, OWN = "#1f4e79", "#7a7f88", "#a8480d"
_FONT: Any = {"font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"], "svg.fonttype": "path",
         "svg.hashsalt": "noctuary", "axes.unicode_minus": True}  # fmt: skip
_DPI = 144


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A place on a curve that is marked, with its value in words."""

    moment: datetime
    value: float
    words: str


@dataclass(frozen=True, kw_only=True)
class Strip:
    """One curve over time in a strip of its own; None where there is no value.

    ``label`` names it, ``unit`` its axis; ``least`` is the smallest span of values that the axis shows;
    ``ticks`` are moments that are ticked at its foot, ``ticked`` says what they mean.
    """

    label: str
    unit: str
    values: Sequence[float | None]
    marks: Sequence[Mark] = ()
    colour: str = CURVE
    least: float = 0.0
    detail: str = ""
    ticks: Sequence[datetime] = ()
    ticked: str = ""


def write_ramps(found: RampSheet, to: Path) -> None:
    """Draw the ramps of a run below its brightness, or its camera's exposure if that was not surveyed.

    It becomes a PNG or SVG file.

    Raises
    ------
    UsageError : for another kind of file, or one that is there already.
    """
    camera = Strip(
        label="camera exposure",
        unit="stops",
        values=found.exposure,
        colour=CAMERA,
        least=2.0,
        detail="log₂(t · ISO/100 / N²), t in seconds",
    )
    brightness = Strip(
        label="brightness as surveyed",
        unit="stops",
        values=found.brightness,
        colour=CAMERA,
        least=2.0,
        detail="log₂ of mean green light, 0 all clipped",
    )
    strips = [brightness if found.surveyed else camera]
    strips += [_ramp_strip(line, found.taken) for line in found.ramps]
    shared = [strip for strip in strips if any(value is not None for value in strip.values)]
    write_strips(shared, found.taken, title=found.title, zone=found.zone, to=to)


def _ramp_strip(line: RampLine, taken: Sequence[datetime]) -> Strip:
    marks = [Mark(moment=a.taken, value=a.value, words=_short(a.words)) for a in line.anchors]
    return Strip(
        label=line.parameter,
        unit=line.unit,
        values=line.values,
        marks=marks,
        least=1.0 if line.unit == "stops" else 0.0,
        detail=f"{line.rule}, {counted(len(line.anchors), 'anchor')}",
        ticks=[taken[place] for place in line.overridden],
        ticked=counted(len(line.overridden), "frame has", "frames have") + " own values instead",
    )


def write_strips(
    strips: Sequence[Strip], moments: Sequence[datetime], *, title: str, zone: str | None, to: Path
) -> None:
    """Draw curves over one time axis, each in a strip of its own, one above the other.

    Raises
    ------
    UsageError : for another kind of file than PNG or SVG, one that is there already, or nothing to draw.
    ArchiveError : when no file may or can lie there.
    """
    ending = to.suffix.lower()
    if ending not in (".png", ".svg"):
        raise UsageError(f"{shown(to.name)} is no chart file.", hint="Name it .png or .svg.")
    # Not before a chart is asked for: the workspace loads databases.
    from archive.workspace import check_target, write_target

    check_target(to)
    if not strips or not moments:
        raise UsageError("There is nothing to draw.", hint="Nothing was written.")
    with matplotlib.rc_context(_FONT):
        figure = _figure(strips, moments, title, zone)
        options: dict[str, Any] = {"facecolor": "white"}
        if ending == ".svg":
            FigureCanvasSVG(figure)
            # No date, so that the same ramps give the same file.
            options["metadata"] = {"Date": None, "Creator": "Noctuary"}
        else:
            FigureCanvasAgg(figure)
            options |= {"dpi": _DPI, "metadata": {"Software": "Noctuary"}}
        drawn = io.BytesIO()
        figure.savefig(drawn, format=ending[1:], **options)
    write_target(to, drawn.getvalue())


def _figure(strips: Sequence[Strip], moments: Sequence[datetime], title: str, zone: str | None) -> Figure:
    place = ZoneInfo(zone) if zone else ZoneInfo("UTC")
    times = [moment.astimezone(place) for moment in moments]
    engine: Any = ConstrainedLayoutEngine(h_pad=0.06, w_pad=0.08)
    figure = Figure(figsize=(8.4, 0.9 + 1.75 * len(strips)), layout=engine)
    axes: Any = figure.subplots(len(strips), 1, sharex=True, squeeze=False)[:, 0]
    for strip, axis in zip(strips, axes, strict=True):
        _draw(axis, strip, times, place)
    figure.suptitle(title, x=0.012, ha="left", fontsize=11, color=INK, fontweight="bold")
    last = axes[-1]
    locator = _dates.AutoDateLocator(tz=place, minticks=4, maxticks=9)
    last.xaxis.set_major_locator(locator)
    short = (times[-1] - times[0]).total_seconds() < 240
    last.xaxis.set_major_formatter(_dates.DateFormatter("%H:%M:%S" if short else "%H:%M", tz=place))
    last.set_xlabel(f"local time, {times[0]:%Z}, {times[0]:%Y-%m-%d}", fontsize=8.5, color=QUIET, labelpad=6)
    if len(times) > 1:
        margin = (times[-1] - times[0]) * 0.015
        last.set_xlim(times[0] - margin, times[-1] + margin)
    return figure


def _draw(axis: Any, strip: Strip, times: Sequence[datetime], place: ZoneInfo) -> None:
    values = [float("nan") if value is None else value for value in strip.values]
    axis.plot(times, values, color=strip.colour, linewidth=1.6, solid_capstyle="round", zorder=3)
    if strip.marks:
        moments = [mark.moment.astimezone(place) for mark in strip.marks]
        axis.plot(moments, [mark.value for mark in strip.marks], linestyle="none", marker="o", markersize=6,
                  markerfacecolor="white", markeredgecolor=strip.colour, markeredgewidth=1.5, zorder=4,
                  clip_on=False)  # fmt: skip
    _limits(axis, strip)
    if strip.ticks:
        _ticks(axis, strip, place)
    for index, mark in enumerate(strip.marks) if len(strip.marks) <= 12 else ():
        beside = [
            other.value
            for other in (*strip.marks[max(0, index - 1) : index], *strip.marks[index + 1 : index + 2])
        ]
        _label(axis, mark, times, place, above=any(mark.value >= value for value in beside) or not beside)
    axis.set_title(strip.label, loc="left", fontsize=9.5, color=INK, pad=5)
    if strip.detail:
        axis.set_title(strip.detail, loc="right", fontsize=7.5, color=QUIET, pad=5)
    axis.set_ylabel(strip.unit, fontsize=8.5, color=QUIET)
    axis.yaxis.set_major_locator(MaxNLocator(nbins=4, steps=[1, 2, 2.5, 5, 10]))
    axis.tick_params(length=3, width=0.7, color=QUIET, labelcolor=INK, labelsize=8.5)
    axis.grid(visible=True, color=FAINT, linewidth=0.6)
    axis.set_axisbelow(True)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axis.spines[side].set_color(QUIET)
        axis.spines[side].set_linewidth(0.7)


def _limits(axis: Any, strip: Strip) -> None:
    """Room above and below the curve, and never so little that noise looks like a slope."""
    known = [value for value in strip.values if value is not None]
    known += [mark.value for mark in strip.marks]
    low, high = min(known), max(known)
    span = max(high - low, strip.least, 1e-6 + 0.02 * abs(high))
    middle = (low + high) / 2
    axis.set_ylim(middle - 0.82 * span, middle + 0.82 * span)


def _ticks(axis: Any, strip: Strip, place: ZoneInfo) -> None:
    """Short marks on the foot of a strip, and above its middle what they mean."""
    foot = axis.get_xaxis_transform()
    moments = [moment.astimezone(place) for moment in strip.ticks]
    (drawn,) = axis.plot(moments, [0.05] * len(moments), linestyle="none", marker="|", markersize=9,
                         markeredgewidth=1.4, color=OWN, transform=foot, zorder=3.5,
                         label=strip.ticked)  # fmt: skip
    axis.legend(handles=[drawn], loc="lower center", bbox_to_anchor=(0.5, 0.99), fontsize=7.5,
                frameon=False, handlelength=0.8, borderpad=0.25, labelcolor=INK)  # fmt: skip


def _label(axis: Any, mark: Mark, times: Sequence[datetime], place: ZoneInfo, *, above: bool) -> None:
    """The mark's value beside it, off the curve: below where it is lower than the marks around it."""
    moment = mark.moment.astimezone(place)
    whole = (times[-1] - times[0]).total_seconds() or 1.0
    share = (moment - times[0]).total_seconds() / whole
    side = "left" if share < 0.06 else "right" if share > 0.94 else "center"
    axis.annotate(mark.words, (moment, mark.value), xytext=(0, 6 if above else -6), fontsize=8, color=INK,
                  textcoords="offset points", ha=side, va="bottom" if above else "top", zorder=2.5,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2})  # fmt: skip


def _short(words: str) -> str:
    return words.removesuffix(" stops")
