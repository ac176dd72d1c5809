"""A curve over time as text: dots of braille cells under a scale, in a given number of columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Bits of a braille cell (Unicode 2800 and on), by row from the top and by column."""


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Values in order, None where there is none; ``marks`` are places in it that are shown below."""

    values: Sequence[float | None]
    marks: Sequence[int] = ()


def draw(
    curve: Curve, xs: Sequence[float], *, ends: tuple[str, str], width: int = 78, height: int = 6
) -> list[str]:
    """The lines of a chart at most ``width`` columns wide; ``xs`` rise, ``ends`` name the first and last."""
    known = [value for value in curve.values if value is not None]
    if not known:
        return []
    low, high = min(known), max(known)
    labels = (_figure(high), _figure(low))
    margin = max(len(label) for label in labels)
    columns = width - margin - 2
    cells = [[0] * columns for _ in range(height)]
    span = (xs[-1] - xs[0]) or 1.0
    across, down = 2 * columns - 1, 4 * height - 1
    held = None
    for x, value in zip(xs, curve.values, strict=True):
        if value is None:
            held = None
            continue
        column = round((x - xs[0]) / span * across)
        row = 4 * (height // 2) + 1 if high == low else round((high - value) / (high - low) * down)
        for step_column, step_row in _between(held, (column, row)):
            cells[step_row // 4][step_column // 2] |= _DOTS[step_row % 4][step_column % 2]
        held = (column, row)
    lines = []
    for index, cells_of_row in enumerate(cells):
        flat = high == low
        top = height // 2 if flat else 0
        label = labels[0] if index == top else labels[1] if index == height - 1 and not flat else ""
        drawn = "".join(chr(0x2800 + bits) if bits else " " for bits in cells_of_row)
        lines.append(f"{label:>{margin}} │{drawn}".rstrip())
    rule = ["─"] * columns
    for mark in curve.marks:
        rule[round((xs[mark] - xs[0]) / span * (columns - 1))] = "▲"
    lines.append(f"{'':>{margin}} └{''.join(rule)}")
    room = columns - len(ends[0]) - len(ends[1])
    lines.append(f"{'':>{margin}}  {ends[0]}{' ' * max(1, room)}{ends[1]}")
    return lines


def _between(start: tuple[int, int] | None, end: tuple[int, int]) -> list[tuple[int, int]]:
    """The dots from one place to the next, without gaps, the start left out."""
    if start is None:
        return [end]
    steps = max(abs(end[0] - start[0]), abs(end[1] - start[1]), 1)
    return [
        (
            round(start[0] + (end[0] - start[0]) * step / steps),
            round(start[1] + (end[1] - start[1]) * step / steps),
        )
        for step in range(1, steps + 1)
    ]


def _figure(value: float) -> str:
    text = (
        f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}" if 0 < abs(value) < 0.1 else f"{value:.2f}"
    )
    return text.replace("-", "−")
