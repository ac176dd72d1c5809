"""Histograms and tone responses, drawn with characters for a terminal or as a chart for a file."""

from __future__ import annotations

import io
import math
from pathlib import Path
from typing import Any

from rich.text import Text

from archive.errors import UsageError, shown
from archive.model.levels import ChannelLevels, Levels, ToneResponse

_BARS = " ▁▂▃▄▅▆▇█"
_COLOURS = {"red": "red", "green": "green", "blue": "blue"}
_TITLES = {
    "raw": "Raw, in stops below clipping",
    "picture": "Picture, in shares of white",
}
_HIGH, _WIDE = 14, 64
CHARTS = (".png", ".svg")
"""Kinds of file that a chart can be written as."""


def levels_lines(levels: Levels) -> Text:
    """A histogram as lines: one row of bars a channel, its axis, and what is clipped and black."""
    text = Text()
    text.append(_TITLES[levels.of] + "\n", "bold")
    # Square roots, so that small shares stay visible; inner bins only, as the ends would dwarf them.
    tallest = max((max(channel.counts[1:-1], default=0) for channel in levels.channels), default=0) or 1
    for channel in levels.channels:
        bars = "".join(_bar(count, tallest) for count in channel.counts)
        text.append(f"{channel.name:>6} ")
        text.append(bars + "\n", _COLOURS.get(channel.name, ""))
    bins = len(levels.channels[0].counts) if levels.channels else 0
    text.append(" " * 7 + _axis(levels, bins) + "\n", "dim")
    for word in ("clipped", "black"):
        shares = (f"{each.name} {_share(each, getattr(each, word))}" for each in levels.channels)
        text.append(f"{word:>7}  {' · '.join(shares)}\n")
    return text


def _bar(count: int, tallest: int) -> str:
    if not count:
        return _BARS[0]
    return _BARS[max(1, min(8, round(8 * math.sqrt(count / tallest))))]


def _share(channel: ChannelLevels, count: int) -> str:
    if not count or not channel.samples:
        return "none"
    share = 100 * count / channel.samples
    digits = max(0, 1 - math.floor(math.log10(share)))
    return f"{count} ({share:.{digits}f} %)"


def _axis(levels: Levels, bins: int) -> str:
    line = [" "] * (bins + 6)
    for step in range(5):
        value = levels.low + (levels.high - levels.low) * step / 4
        label = f"{value:+.3g}".replace("-", "−") if levels.of == "raw" and value else f"{value:g}"
        at = min(round(bins * step / 4), bins + 6 - len(label))
        line[at : at + len(label)] = label
    return "".join(line).rstrip()


def tone_lines(tone: ToneResponse) -> Text:
    """A tone response as a chart of characters: ● with the recipe, · without, from black to white."""
    grid = [[" "] * _WIDE for _ in range(_HIGH)]
    low, high = tone.points[0].stops, tone.points[-1].stops
    for mark, part in (("·", "untouched"), ("●", "shown")):
        for point in tone.points:
            column = round((point.stops - low) / (high - low) * (_WIDE - 1))
            row = round((1 - getattr(point, part)) * (_HIGH - 1))
            grid[row][column] = mark
    text = Text()
    names = ", ".join(tone.operators) or "no tone operator"
    text.append(f"Tone response of {names}\n", "bold")
    for row, line in enumerate(grid):
        label = {0: "white", _HIGH - 1: "black"}.get(row, "")
        text.append(f"{label:>6} │")
        for character in line:
            text.append(character, "bold cyan" if character == "●" else "dim")
        text.append("\n")
    text.append(" " * 7 + "└" + "─" * _WIDE + "\n")
    marks = [" "] * (_WIDE + 2)
    for stops in range(math.ceil(low), 1, 2):
        label = f"{stops:+d}".replace("-", "−") if stops else "0"
        at = min(round((stops - low) / (high - low) * (_WIDE - 1)), _WIDE + 2 - len(label))
        marks[at : at + len(label)] = label
    text.append(" " * 8 + "".join(marks).rstrip() + "\n")
    text.append(" " * 8 + "light in stops below clipping   ● with the recipe   · without\n", "dim")
    return text


def tone_chart(tone: ToneResponse, to: Path) -> bytes:
    """The bytes of a chart of a tone response, PNG or SVG as the file's name says.

    Raises
    ------
    UsageError : the name ends otherwise.
    """
    kind = to.suffix.lower()
    if kind not in CHARTS:
        raise UsageError(
            f"{shown(str(to))} is no kind of chart that can be written.",
            hint=f"Nothing was written. Let the name end in {' or '.join(CHARTS)}.",
        )
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    # Without this, drawings would be named at random and no two files would be alike.
    with matplotlib.rc_context({"svg.hashsalt": "noctuary", "svg.fonttype": "path"}):
        figure: Any = Figure(figsize=(6.4, 4.6), layout="constrained")
        axes = figure.add_subplot()
        stops = [point.stops for point in tone.points]
        axes.plot(stops, [p.untouched for p in tone.points], color="0.6", linewidth=1.2, label="without")
        axes.plot(
            stops, [p.shown for p in tone.points], color="#1c5d99", linewidth=2.0, label="with the recipe"
        )
        axes.axhline(0.4613, color="0.85", linewidth=0.8, zorder=0)
        axes.set(
            xlim=(stops[0], stops[-1]), ylim=(0, 1.01), xlabel="light on the sensor, stops below clipping",
            ylabel="shown, share of white (sRGB)", title=", ".join(tone.operators) or "no tone operator",
        )  # fmt: skip
        axes.text(stops[0] + 0.15, 0.47, "18 % grey", color="0.5", fontsize=8)
        axes.grid(True, color="0.93", linewidth=0.6)
        axes.legend(frameon=False)
        out = io.BytesIO()
        when = {"Date": None} if kind == ".svg" else {"Software": "Noctuary"}
        figure.savefig(out, format=kind[1:], dpi=150, metadata=when)
    return out.getvalue()
