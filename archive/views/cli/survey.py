"""Commands of the survey: measure, and look at what was measured."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from archive.errors import counted, shown
from archive.views.cli.options import (
    AlsoOption,
    ArchiveOption,
    JsonOption,
    PersonOption,
    Running,
    ended,
    opened,
    region_of,
)
from archive.views.clocks import tell_clock_check
from archive.views.plain import print_json
from archive.views.report import Report
from archive.views.surveyreport import (
    tell_basis,
    tell_levelling,
    tell_suggestions,
    tell_survey,
    tell_surveyed,
)

WhichArgument = Annotated[
    str | None, typer.Argument(metavar="[WHICH]", help="A night, a camera in it, or a sequence; else all.")
]


SequenceArgument = Annotated[
    str, typer.Argument(metavar="WHICH", help="A sequence, a part of one, or one camera's night.")
]


def survey(
    which: WhichArgument = None,
    archive: ArchiveOption = None,
    also: AlsoOption = None,
    as_json: JsonOption = False,
) -> None:
    """Measure what was not measured yet: previews, brightness, sharpness, aurora; then tell what is notable.

    Example: noctuary survey 2026-03-18
    """
    with opened(archive, also=also) as workspace, Running(quiet=as_json) as running:
        report = workspace.survey.run(which, progress=running)
        told = workspace.survey.told(which) if which else ()
    if as_json:
        print_json({"report": report, "surveyed": told})
    else:
        tell_survey(Report(), report)
        for each in told:
            tell_surveyed(Report(), each)
    ended(report.exit_code)


def keogram(
    which: SequenceArgument,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE.png", help="Where to write it; here by default.")
    ] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Only the columns, a pixel for each step.")] = False,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a keogram: the middle column of every frame, side by side, each where its time puts it.

    Example: noctuary keogram 2026-03-18/north/1 --to night.png
    """
    from archive.workspace import check_target, write_target

    target = to or Path(_file_name(which, "keogram.png"))
    check_target(target)
    with opened(archive) as workspace:
        made = workspace.survey.keogram(which, plain=plain)
    write_target(target, made.data)
    if as_json:
        print_json({"path": target, "steps": made.steps, "gaps": made.gaps, "basis": made.basis})
    else:
        gaps = f", {made.gaps} of them without a frame" if made.gaps else ""
        Report().say(f"Written: {shown(str(target))}, {counted(made.steps, 'step')}{gaps}.")
        tell_basis(Report(), made.basis)
    ended(made.basis.exit_code)


def rush(
    which: SequenceArgument,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE.mp4", help="Where to write it; here by default.")
    ] = None,
    rate: Annotated[int, typer.Option("--rate", metavar="N", min=1, max=120, help="Frames a second.")] = 25,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a quick movie of a sequence from its previews, without any recipe. It may flash: look first.

    Example: noctuary rush 2026-03-18/north/1
    """
    from archive.workspace import check_target

    target = to or Path(_file_name(which, "rush.mp4"))
    check_target(target)
    with opened(archive) as workspace:
        basis = workspace.rush(which, target, rate)
    if as_json:
        print_json({"path": target, "frames": basis.used, "basis": basis})
    else:
        report = Report()
        report.say(
            f"Written: {shown(str(target))}, {counted(basis.used, 'frame')}, {basis.used / rate:.1f} s."
        )
        tell_basis(report, basis)
    ended(basis.exit_code)


def suggest(
    which: SequenceArgument,
    count: Annotated[
        int, typer.Option("--count", metavar="N", min=1, max=50, help="At most so many frames.")
    ] = 5,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Name the strongest frames of a sequence for a still, and say why.

    Example: noctuary suggest 2026-03-18/north/1
    """
    with opened(archive) as workspace:
        told = workspace.survey.suggest(which, count)
    print_json(told) if as_json else tell_suggestions(Report(), told)
    ended(told.basis.exit_code)


def level(
    which: SequenceArgument,
    region: Annotated[
        str | None,
        typer.Option("--region", metavar="L,T,R,B", help="The steady part, as shares 0 to 1 of the picture."),
    ] = None,
    drop: Annotated[bool, typer.Option("--drop", help="Take its levelling off instead.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only tell what would be added.")] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Level a sequence: take out flicker and jumps of the settings in its movies and sets, never in stills.

    Light that comes and goes in minutes, alike in sky, land and all colours, passes for flicker in part.

    Example: noctuary level 2026-03-18/north/1 --region 0,0.8,1,1
    """
    with opened(archive, person=person) as workspace:
        if drop:
            entry = workspace.levelling.drop(which)
            if as_json:
                print_json({"dropped": which, "entry": entry})
            else:
                Report().say(f"{shown(which)} is not levelled any more.")
            return
        told = workspace.level(which, region=region_of(region) if region else None, dry_run=dry_run)
    print_json(told) if as_json else tell_levelling(Report(), told, dry_run=dry_run)


def clock_check(
    night: Annotated[
        str | None, typer.Argument(metavar="[NIGHT]", help="The night to look at; the last one held, else.")
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Find wrong camera clocks by the sky: cameras against each other, each against dusk and dawn.

    It needs a survey of the night, changes nothing, and says how sure it is and what to type.

    Example: noctuary clock-check 2026-03-18
    """
    with opened(archive) as workspace:
        told = workspace.survey.check_clocks(night)
    print_json(told) if as_json else tell_clock_check(Report(), told)


def _file_name(which: str, ending: str) -> str:
    return "-".join(re.findall(r"[\w.]+", which)) + f"-{ending}"


def add_to(app: typer.Typer) -> None:
    for command in (survey, keogram, rush, suggest, level):
        app.command()(command)
    app.command("clock-check")(clock_check)
