"""The frames of a sequence that are worth a still, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from archive.model.survey import Suggestion, SurveyLine

_APART = 0.06
_CLIPPED = 0.004


def suggest(lines: Sequence[SurveyLine], count: int = 5) -> tuple[Suggestion, ...]:
    """The strongest frames, at most ``count``, well apart from one another; the strongest first.

    Strong is much aurora, above what the sequence usually shows; sharp stars; nothing clipped; a view that
    stood still. Where there is no aurora the sharpest and darkest frames win.
    """
    if not lines:
        return ()
    light = [line.green + line.red for line in lines]
    usual = max(median(light), 1e-9)
    sharp = sorted(line.sharpness for line in lines if line.sharpness is not None)
    best_sharp = sharp[int(0.9 * (len(sharp) - 1))] if sharp else None
    scored = [
        (_score(line, value / usual, best_sharp), index)
        for index, (line, value) in enumerate(zip(lines, light, strict=True))
    ]
    apart = max(1, round(_APART * len(lines)))
    chosen: list[tuple[float, int]] = []
    for score, index in sorted(scored, key=lambda each: (-each[0], each[1])):
        if len(chosen) == count:
            break
        if all(abs(index - other) >= apart for _, other in chosen):
            chosen.append((score, index))
    ranks = {index: rank for rank, index in enumerate(sorted(range(len(lines)), key=lambda i: -light[i]), 1)}
    return tuple(
        Suggestion(
            position=lines[index].position,
            frame=lines[index].frame,
            name=lines[index].name,
            taken=lines[index].taken,
            score=round(score, 3),
            why=_why(lines[index], light[index] / usual, ranks[index], best_sharp),
        )
        for score, index in chosen
    )


def _score(line: SurveyLine, times_usual: float, best_sharp: float | None) -> float:
    score = math.log2(max(times_usual, 1 / 16))
    if best_sharp and line.sharpness is not None:
        score += 1.5 * math.log2(max(line.sharpness / best_sharp, 1 / 8))
    elif best_sharp:
        score -= 0.5
    score -= min(3.0, 60 * max(0.0, line.clipped - _CLIPPED))
    return score - min(1.5, 0.1 * max(0.0, math.hypot(*line.moved) - 3))


def _why(line: SurveyLine, times_usual: float, rank: int, best_sharp: float | None) -> tuple[str, ...]:
    why = []
    if rank == 1:
        why.append("the most green and red light of the sequence")
    if times_usual >= 1.3:
        why.append(f"{times_usual:.1f} times the usual green and red light")
    if line.red > 0.5 * line.green:
        why.append("strong red")
    if best_sharp and line.sharpness is not None and line.sharpness >= 0.92 * best_sharp:
        why.append("stars as sharp as any here")
    if line.clipped > _CLIPPED:
        why.append(f"but {100 * line.clipped:.1f} % of it is clipped")
    elif not why:
        why.append("nothing clipped, steady view")
    return tuple(why)
