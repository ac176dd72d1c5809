"""What a row of measures says: dew on the lens, a bumped tripod, clipped and dark frames, aurora."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from archive.engine.measure import shift
from archive.model.capture import Frame
from archive.model.survey import Cells, Finding, Measures, SurveyLine
from archive.survey.courses import gain_stops

_NOTABLE_CLIPPED, _NOTABLE_DARK = 0.01, 0.6
_WINDOW = 9
_LOST, _LOSING = 0.7, 0.88
_LEAST_JUMP = 3.0
_UNIT = 1e6


def excess(cells: Cells) -> tuple[float, float]:
    """How much greener, and how much redder, than the mean of the other two colours; mean over all cells.

    The green line at 557.7 nm and the red one at 630.0 nm are the aurora's; nothing else at night is so
    green. Cells that are less so than grey count as nothing.
    """
    green = red = 0.0
    for r, g, b in zip(cells.red, cells.green, cells.blue, strict=True):
        green += max(0.0, g - (r + b) / 2)
        red += max(0.0, r - (g + b) / 2)
    count = len(cells.green)
    return green / count, red / count


def survey_lines(frames: Sequence[tuple[Frame, Measures]]) -> tuple[SurveyLine, ...]:
    """Frames in order, each with its measures and what its settings explain."""
    lines = []
    before: Measures | None = None
    for position, (frame, measures) in enumerate(frames, 1):
        gain = gain_stops(frame.facts)
        green, red = excess(measures.cells)
        moved = (0.0, 0.0)
        if before is not None:
            moved = shift(before.across, measures.across), shift(before.down, measures.down)
        lines.append(
            SurveyLine(
                frame=frame.id,
                position=frame.index or position,
                name=frame.name,
                taken=frame.taken,
                brightness=measures.brightness,
                scene=round(measures.brightness - gain, 4),
                clipped=measures.clipped,
                dark=measures.dark,
                sharpness=measures.sharpness,
                green=round(_UNIT * green / 2**gain, 4),
                red=round(_UNIT * red / 2**gain, 4),
                moved=(round(moved[0], 2), round(moved[1], 2)),
            )
        )
        before = measures
    return tuple(lines)


def findings(lines: Sequence[SurveyLine], measures: Sequence[Measures]) -> tuple[Finding, ...]:
    """Everything notable in a sequence, in order of its frames."""
    found = [*_bumps(lines, measures), *_dew(lines)]
    for kind, share, limit, words in (
        ("clipped", [line.clipped for line in lines], _NOTABLE_CLIPPED, "of the picture is clipped"),
        ("dark", [line.dark for line in lines], _NOTABLE_DARK, "of the picture is more than 11 stops down"),
    ):
        worst = max(range(len(lines)), key=lambda index: share[index], default=None)
        if worst is not None and share[worst] > limit:
            count = sum(value > limit for value in share)
            text = f"{count} frames; at the worst {100 * share[worst]:.1f} % {words}"
            found.append(Finding(kind=kind, position=lines[worst].position, text=text))
    return tuple(sorted(found, key=lambda finding: (finding.position, finding.kind)))


def _dew(lines: Sequence[SurveyLine]) -> list[Finding]:
    """Where stars begin to spread and do not come back: dew, frost, or a focus that slipped."""
    known = [line for line in lines if line.sharpness is not None]
    if len(known) < 2 * _WINDOW:
        return []
    smooth = _smoothed([line.sharpness or 0.0 for line in known])
    sharpest = sorted(smooth[: max(_WINDOW, len(smooth) // 2)])[-_WINDOW // 2]
    if smooth[-1] >= _LOST * sharpest or sharpest <= 0:
        return []
    last_good = max((index for index, value in enumerate(smooth) if value >= _LOSING * sharpest), default=0)
    line = known[min(last_good + 1, len(known) - 1)]
    left = 100 * smooth[-1] / sharpest
    text = f"stars spread from here on, to {left:.0f} % of their sharpness: dew, or focus that slipped"
    return [Finding(kind="dew", position=line.position, text=text)]


def _bumps(lines: Sequence[SurveyLine], measures: Sequence[Measures]) -> list[Finding]:
    """Frames at which the view jumps and stays: somebody touched the tripod."""
    found: list[Finding] = []
    for index in range(1, len(lines)):
        around = range(max(1, index - 6), min(len(lines), index + 7))
        usual = [
            median([lines[other].moved[axis] for other in around if other != index] or [0.0])
            for axis in (0, 1)
        ]
        jump = [lines[index].moved[axis] - usual[axis] for axis in (0, 1)]
        size = math.hypot(*jump)
        if size < _LEAST_JUMP or (found and lines[index].position - found[-1].position <= 2):
            continue
        # What moves in the picture moves on or comes back; a view that was turned stays where it is.
        pairs = [(index - a, index - 1 + b) for a, b in ((1, 2), (2, 1), (2, 2), (3, 1), (1, 3), (3, 3))]
        inside = [(first, last) for first, last in pairs if first >= 0 and last < len(lines)]
        away = []
        for first, last in inside:
            before, after = measures[first], measures[last]
            told = shift(before.across, after.across), shift(before.down, after.down)
            away.append(math.hypot(*(told[axis] - usual[axis] - jump[axis] for axis in (0, 1))))
        if len(away) >= 2 and max(away) <= max(1.0, 0.25 * size):
            text = f"the view moved by {size:.0f} preview pixels: the tripod was bumped, or turned"
            found.append(Finding(kind="bump", position=lines[index].position, text=text))
    return found


def _smoothed(values: Sequence[float]) -> list[float]:
    half = _WINDOW // 2
    return [median(values[max(0, index - half) : index + half + 1]) for index in range(len(values))]
