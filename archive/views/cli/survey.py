"""Commands of the survey: measure, and look at what was measured."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.views.cli.options import AlsoOption, ArchiveOption, JsonOption, Running, ended, opened
from archive.views.plain import print_json
from archive.views.report import Report
from archive.views.surveyreport import tell_survey, tell_surveyed

WhichArgument = Annotated[
    str | None, typer.Argument(metavar="[WHICH]", help="A night, a camera in it, or a sequence; else all.")
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


def add_to(app: typer.Typer) -> None:
    app.command()(survey)
