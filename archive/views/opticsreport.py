"""Lenses as text."""

from __future__ import annotations

from archive.errors import counted, shown
from archive.model.lens import FallOffMeasure, LensAnswer, LensCandidate
from archive.model.survey import DarksFound
from archive.views.report import Report


def tell_lens(report: Report, answer: LensAnswer) -> None:
    """What a frame says of its lens, what was chosen, and what is offered."""
    said = shown(answer.lens) or "no lens named"
    focal = f", {answer.focal_mm:g} mm" if answer.focal_mm else ""
    report.say(f"{shown(answer.frame)}: {shown(answer.camera) or 'no camera named'}, {said}{focal}")
    if answer.chosen is not None:
        report.say(f"Chosen: {_named(answer.chosen)}. `noctuary lens apply` writes its values into a recipe.")
    if not answer.offered:
        report.say("The lens database has nothing for it. `noctuary lens measure` measures its fall-off.")
        return
    columns = [("", "right"), ("lens", ""), ("mm", ""), ("has", ""), ("", "")]
    rows = [
        [
            str(number), _named(each), _range(each), ", ".join(each.holds) or "nothing",
            "only resembles" if each.loose else "",
        ]
        for number, each in enumerate(answer.offered, 1)
    ]  # fmt: skip
    report.table(columns, rows)
    if answer.chosen is None:
        report.say("None of them is used unless you say which it is: --take NUMBER.")


def tell_darks(report: Report, found: DarksFound, *, taken: bool) -> None:
    """Dark frames that fit a frame, and how they are used."""
    if not found.frames:
        report.say(f"No dark frame of the settings of {shown(found.frame)} was found.")
    else:
        first, last = found.frames[0], found.frames[-1]
        names = f"{shown(first.name)} to {shown(last.name)}" if len(found.frames) > 1 else shown(first.name)
        report.say(f"{counted(len(found.frames), 'dark frame')} of the night {found.night}: {names}")
        if not taken:
            report.say("Nothing was changed. --take uses them.")
    if found.unseen:
        report.say(
            f"{counted(found.unseen, 'frame')} of the same settings not looked at; `noctuary survey` does so."
        )


def tell_fall_off(report: Report, found: FallOffMeasure) -> None:
    """A measured fall-off."""
    values = " ".join(f"fall_off.{key}={value:g}" for key, value in found.values.items())
    frames = f"{found.frames} frame{'' if found.frames == 1 else 's'}"
    report.say(f"From {frames}: {values}")
    report.say(
        f"The corners get {found.corner:.0%} of the middle's light; {found.left:.2%} of unevenness is left."
    )


def _named(lens: LensCandidate) -> str:
    return f"{shown(lens.make)} {shown(lens.model)}"


def _range(lens: LensCandidate) -> str:
    if lens.shortest_mm == lens.longest_mm:
        return f"{lens.shortest_mm:g}"
    return f"{lens.shortest_mm:g}–{lens.longest_mm:g}"
