"""What was surveyed, in words and small curves."""

from __future__ import annotations

from collections.abc import Sequence

from archive.errors import counted, shown
from archive.model.survey import Basis, LevellingReport, SequenceSurvey, Suggestions, SurveyReport
from archive.views.report import Report, local
from archive.views.sparkline import sparkline
from archive.views.tables import Column, Gives

_COLUMNS = 40
_MOST = 12


def tell_survey(report: Report, told: SurveyReport) -> None:
    """What a survey did."""
    held = f", {told.held} held already" if told.held else ""
    copied = f"; {told.copied} records brought to other volumes" if told.copied else ""
    report.say(f"{counted(told.measured, 'frame')} measured{held}{copied}.")
    for note in told.failed[:_MOST]:
        report.say(f"  {note.path}: {note.text}", "bold red")
    if len(told.failed) > _MOST:
        report.say(f"  … and {len(told.failed) - _MOST} more; --json lists all.")


def tell_surveyed(report: Report, told: SequenceSurvey) -> None:
    """One sequence: its curves from first frame to last, and what is notable in it."""
    report.say(shown(told.name), "bold")
    if told.unseen:
        report.say(f"  {counted(told.unseen, 'frame is', 'frames are')} not surveyed.", "yellow")
    if not told.lines:
        return
    lines = told.lines
    rows = [
        ("brightness, stops", *_curve([line.brightness for line in lines], "+.1f")),
        ("scene, stops", *_curve([line.scene for line in lines], "+.1f")),
        ("green", *_curve([line.green for line in lines], ".3g")),
        ("red", *_curve([line.red for line in lines], ".3g")),
        ("sharpness", *_curve([line.sharpness for line in lines], ".2f")),
    ]
    report.table([("", ""), ("least", "right"), ("first to last frame", ""), ("most", "right")], rows)
    for finding in told.findings:
        taken = next(line.taken for line in lines if line.position == finding.position)
        when = f"{local(taken, told.zone):%H:%M:%S}"
        report.say(f"  #{finding.position} {when}  {finding.text}", "yellow")
    if not told.findings:
        report.say("  Nothing notable: no dew, no bump, nothing clipped.")


def tell_suggestions(report: Report, told: Suggestions) -> None:
    """Frames worth a still, the strongest first, each with its reasons."""
    columns = [Column("#", right=True), Column("file"), Column("why", gives=Gives.LINES, least=20)]
    rows = [[str(each.position), shown(each.name), "; ".join(each.why)] for each in told.found]
    report.table(columns, rows)
    tell_basis(report, told.basis)


def tell_basis(report: Report, basis: Basis) -> None:
    """That an answer rests on a part of the frames only: on how many, what the others lack, what to do."""
    left = [
        f"{counted(count, one, many)}"
        for count, one, many in (
            (basis.unseen, "is not surveyed", "are not surveyed"),
            (basis.unusable, "has no sound preview or slice", "have no sound preview or slice"),
            (basis.unlike, "has a preview of another size", "have previews of another size"),
        )
        if count
    ]
    if not left:
        return
    report.say(f"Only {basis.used} of {counted(basis.frames, 'frame')}: {', '.join(left)}.", "yellow")
    if basis.unseen or basis.unusable:
        report.say(
            f"`noctuary survey {shown(basis.name)}` measures them and makes what is missing.", "yellow"
        )


def tell_levelling(report: Report, told: LevellingReport, *, dry_run: bool) -> None:
    """What levelling found, and whether it counts now."""
    jumps = f", {len(told.jumps)} changes of settings bridged" if told.jumps else ""
    report.say(
        f"{shown(told.name)}: {counted(told.frames, 'frame')}, flicker of {told.flicker:.3f} stops{jumps}; "
        f"at most {told.largest:+.2f} stops are added."
    )
    if told.entry:
        report.say("  Stated: it counts in sets and movies from now on, never in stills.")
    elif dry_run:
        report.say("  Nothing was stated.")
    else:
        report.say("  It is levelled so already; nothing was stated.")


def _curve(values: Sequence[float | None], form: str) -> tuple[str, str, str]:
    """Least value, a line of small bars, greatest value; a gap where nothing is known."""
    known = [value for value in values if value is not None]
    if not known:
        return "–", "", "–"
    low, high = min(known), max(known)
    return format(low, form), sparkline(values, _COLUMNS), format(high, form)
