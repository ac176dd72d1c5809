"""Ramps on a terminal: a small chart of each curve in 80 columns, and its anchors."""

from __future__ import annotations

from collections.abc import Sequence

from archive.errors import counted, shown
from archive.model.editing import RampLine, RampSheet, Saved
from archive.views.recipereport import tell_saved
from archive.views.report import Report, local
from archive.views.textchart import Curve, draw

WIDTH = 78


def tell_ramp_saved(report: Report, saved: Saved, found: RampSheet) -> None:
    """What a change of a ramp did, and how the ramps run now."""
    tell_saved(report, saved)
    if saved.entry is not None:
        for line in found.ramps:
            _tell_line(report, found, line, height=5)
        _tell_outside(report, found)


def tell_ramps(report: Report, found: RampSheet) -> None:
    """Brightness along a run, or exposure where it was not surveyed, and below it each ramp by itself."""
    report.say(f"{found.title}: {counted(len(found.frames), 'frame')}", "bold")
    if found.surveyed:
        report.say("brightness as surveyed, stops (log2 of mean green light, 0 all clipped)")
        _chart(report, found, Curve(values=found.brightness), height=5)
    elif any(value is not None for value in found.exposure):
        report.say("camera exposure, stops (log2 of t · ISO/100 / N², in seconds)")
        _chart(report, found, Curve(values=found.exposure), height=5)
    if not found.ramps:
        report.say("Nothing ramps here. `noctuary recipe ramp add` begins a ramp.")
    for line in found.ramps:
        _tell_line(report, found, line, height=6)
    _tell_outside(report, found)


def _tell_line(report: Report, found: RampSheet, line: RampLine, *, height: int) -> None:
    unit = f", {line.unit}" if line.unit and line.unit != "stops" else ""
    report.say(f"{line.parameter}{unit}  ({line.rule})", "bold")
    marks = {name: index for index, name in enumerate(found.frames)}
    at = tuple(marks[anchor.frame] for anchor in line.anchors if anchor.frame in marks)
    _chart(report, found, Curve(values=line.values, marks=at), height=height)
    told = [f"#{anchor.position} {anchor.words}" for anchor in line.anchors]
    report.say("anchors  " + "   ".join(told) if told else "anchors  none among these frames")
    if line.overridden:
        count, some = len(line.overridden), [shown(found.frames[i]) for i in line.overridden]
        report.say(
            f"{counted(count, 'frame has', 'frames have')} own values in sequences instead "
            f"({', '.join(_first(some))})",
            "yellow",
        )


def _chart(report: Report, found: RampSheet, curve: Curve, *, height: int) -> None:
    seconds = [(moment - found.taken[0]).total_seconds() for moment in found.taken]
    ends = (f"{local(found.taken[0], found.zone):%H:%M}", f"{local(found.taken[-1], found.zone):%H:%M %Z}")
    for text in draw(curve, seconds, ends=ends, width=WIDTH, height=height):
        report.say(text)


def _tell_outside(report: Report, found: RampSheet) -> None:
    if found.outside:
        some = ", ".join(shown(name) for name in _first(found.outside))
        report.say(
            f"{counted(len(found.outside), 'frame is', 'frames are')} reached by no ramp ({some}). "
            "`noctuary recipe ramp extend` takes them in.",
            "yellow",
        )


def _first(names: Sequence[str]) -> list[str]:
    return [*names[:3], *(["…"] if len(names) > 3 else [])]
