"""Commands for the journal itself: what was decided and what is odd about it, and uniting two archives."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, Running, ended, opened
from archive.views.journalreport import journal_told, unite_told
from archive.views.plain import print_json
from archive.views.report import Report


def journal(
    newest: Annotated[
        int, typer.Option("--newest", metavar="N", min=0, help="How many entries to list.")
    ] = 20,
    faults: Annotated[
        bool, typer.Option("--faults", help="Tell only what is odd: damaged, lost, newer, doubled entries.")
    ] = False,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """The newest decisions, in words, and everything that is odd about the journal.

    Each has an id; `noctuary take-back ID` states again what stood before it.

    Example: noctuary journal --newest 5
    """
    with opened(archive) as workspace:
        view = workspace.custody.journal(newest=0 if faults else newest)
    print_json(view) if as_json else journal_told(Report(), view)
    ended(view.exit_code)


def unite(
    other: Annotated[Path, typer.Argument(help="The other copy of this archive, or the other archive.")],
    different: Annotated[
        bool,
        typer.Option(
            "--different", help="Take in an archive that was begun apart; without it, only look at it."
        ),
    ] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make two copies of an archive alike: each gets the decisions that only the other holds.

    Masters are not copied; rolls that are only there are listed.

    Example: noctuary unite /media/LAPTOP/NightArchive
    """
    with opened(archive, person=person) as workspace, Running(quiet=as_json):
        report = workspace.unite(other, different=different)
    print_json(report) if as_json else unite_told(Report(), report)
    ended(report.exit_code)


def add_to(app: typer.Typer) -> None:
    app.command()(journal)
    app.command()(unite)
