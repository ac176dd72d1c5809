"""Commands that prove what is held, and make the catalogue anew."""

from __future__ import annotations

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
)
from archive.views.plain import print_json
from archive.views.report import Report


def audit(
    also: AlsoOption = None,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Re-read every master, entry and derivative, and compare it with what was recorded.

    Example: noctuary audit --also /media/BLUE/NightArchive
    """
    with opened(archive, also=also, person=person) as workspace, Running(quiet=as_json) as running:
        report = workspace.custody.audit(running)
    print_json(report) if as_json else Report().audit(report)
    ended(report.exit_code)


def mend(
    also: AlsoOption = None,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Mend damaged surveys and Kp files from a volume that holds them sound. Masters are not touched.

    Example: noctuary mend --also /media/BLUE/NightArchive
    """
    with opened(archive, also=also, person=person) as workspace:
        report = workspace.custody.mend_records()
    if as_json:
        print_json(report)
    else:
        told = Report()
        told.say(f"{counted(len(report.mended), 'file')} mended, {len(report.failed)} could not be.")
        for note in report.mended:
            told.say(f"  {shown(note.volume)}: {shown(note.path)} {note.text}; it is sound again")
        for note in report.failed:
            told.say(f"  {shown(note.volume)}: {shown(note.path)} {note.text}", "bold red")
    ended(report.exit_code)


def rebuild(archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """Make the catalogue anew from journal and hash lists; no master is opened.

    Example: noctuary rebuild
    """
    with opened(archive, anew=True) as workspace, Running(quiet=as_json) as running:
        report = workspace.custody.rebuild(running)
    print_json(report) if as_json else Report().rebuild(report)
    ended(report.exit_code)


def add_to(app: typer.Typer) -> None:
    app.command()(audit)
    app.command()(mend)
    app.command()(rebuild)
