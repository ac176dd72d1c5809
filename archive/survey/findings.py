"""What a row of measures says: dew on the lens, a bumped tripod, clipped and dark frames, aurora."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from archive.engine.excess import green_excess, red_excess
from archive.engine.measure import shift
from archive.model.capture import Frame
from archive.model.survey import Finding, Measures, SurveyLine
from archive.survey.courses import gain_stops

_NOTABLE_CLIPPED, _NOTABLE_DARK = 0.01, 0.6
_WINDOW = 9
_LOST, _LOSING = 0.7, 0.88
_LEAST_JUMP = 3.0
_UNIT = 1e6


def survey_lines(frames: Sequence[tuple[Frame, Measures]]) -> tuple[SurveyLine, ...]:
    """Frames in order, each with its measures and what its settings explain."""
    lines = []
    before: Measures | None = None
    gains = [gain_stops(frame.facts) for frame, _ in frames]
    reds = red_excess([measures.cells for _, measures in frames], gains) if frames else []
    for position, ((frame, measures), gain, red) in enumerate(zip(frames, gains, reds, strict=True), 1):
        green = green_excess(measures.cells)
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
                red=round(_UNIT * red, 4),
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
    """Where stars begin to spread and do not come back: dew, frost, or a focus that slipped.

    Where they are gone altogether they count as spread out, unless the sky grew light and hides them.
    """
    dark = median([line.scene for line in lines] or [0.0]) + 1.0
    known = [line for line in lines if line.sharpness is not None or line.scene < dark]
    if len(known) < 2 * _WINDOW or sum(line.sharpness is not None for line in known) < 2 * _WINDOW:
        return []
    smooth = _smoothed([line.sharpness or 0.0 for line in known])
    sharpest = sorted(smooth[: max(_WINDOW, len(smooth) // 2)])[-_WINDOW // 2]
    if smooth[-1] >= _LOST * sharpest or sharpest <= 0:
        return []
    last_good = max((index for index, value in enumerate(smooth) if value >= _LOSING * sharpest), default=0)
    line = known[min(last_good + 1, len(known) - 1)]
    left = 100 * smooth[-1] / sharpest
    how = (
        f"spread from here on, to {left:.0f} % of their sharpness"
        if left
        else "spread from here on and vanish"
    )
    return [Finding(kind="dew", position=line.position, text=f"stars {how}: dew, or focus that slipped")]


def _bumps(lines: Sequence[SurveyLine], measures: Sequence[Measures]) -> list[Finding]:
    """Frames at which the view jumps and stays: somebody touched the tripod.

    One direction is enough: upright rays make columns move as they like, and rows tell it alone.
    """
    found: list[Finding] = []
    for index in range(1, len(lines)):
        if found and lines[index].position - found[-1].position <= 2:
            continue
        size = math.hypot(*(_jumped(lines, measures, index, axis) for axis in (0, 1)))
        if size >= _LEAST_JUMP:
            text = f"the view moved by {size:.0f} preview pixels: the tripod was bumped, or turned"
            found.append(Finding(kind="bump", position=lines[index].position, text=text))
    return found


def _jumped(lines: Sequence[SurveyLine], measures: Sequence[Measures], index: int, axis: int) -> float:
    """How far the view jumped along one axis before a frame, and stayed; 0 where it did not."""
    around = range(max(1, index - 6), min(len(lines), index + 7))
    usual = median([lines[other].moved[axis] for other in around if other != index] or [0.0])
    jump = lines[index].moved[axis] - usual
    if abs(jump) < _LEAST_JUMP:
        return 0.0
    # What moves in the picture moves on or comes back; a view that was turned stays where it is.
    pairs = [(index - a, index - 1 + b) for a, b in ((1, 2), (2, 1), (2, 2), (3, 1), (1, 3), (3, 3))]
    away = []
    for first, last in pairs:
        if first >= 0 and last < len(lines):
            before, after = (_outline(measures[each], axis) for each in (first, last))
            away.append(abs(shift(before, after) - usual - jump))
    stays = len(away) >= 2 and max(away) <= max(1.0, 0.25 * abs(jump))
    return jump if stays else 0.0


def _outline(measures: Measures, axis: int) -> bytes:
    return measures.down if axis else measures.across


def _smoothed(values: Sequence[float]) -> list[float]:
    half = _WINDOW // 2
    return [median(values[max(0, index - half) : index + half + 1]) for index in range(len(values))]
