"""Commands about the sky over a site: twilight, moon, activity."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.views.cli.helping import Commands
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, opened
from archive.views.plain import print_json
from archive.views.report import Report, local
from archive.views.skyreport import tell_sky

activity = Commands(
    name="activity",
    help="Keep the published index of magnetic activity, Kp.\n\n"
    "Example: noctuary activity import Kp_ap_2026.txt",
)


def sky(
    night: Annotated[str, typer.Argument(metavar="NIGHT", help="The evening's date; held already or not.")],
    site: Annotated[
        str | None, typer.Option("--site", help="The site; by default where the night was taken.")
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell when a night is dark, where the moon is, and how disturbed the magnetic field was.

    Example: noctuary sky 2026-03-18
    """
    with opened(archive) as workspace:
        place = workspace.statements.site_named(site) if site else None
        told = workspace.skies.night(night, place)
    print_json(told) if as_json else tell_sky(Report(), told)


@activity.command("import")
def import_activity(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A published file of Kp, Hp60 or Hp30.")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in a published file of the planetary index; nights and frames then tell their activity.

    Example: noctuary activity import Kp_ap_since_1932.txt
    """
    with opened(archive, person=person) as workspace:
        told = workspace.skies.activity.take_in(file)
    if as_json:
        print_json(told)
    else:
        first, last = (f"{local(moment, None):%Y-%m-%d}" for moment in (told.first, told.last))
        Report().say(
            f"{told.path}: {told.intervals} intervals, {first} to {last}, Kp up to {told.highest:.1f}."
        )


def add_to(app: typer.Typer) -> None:
    app.command()(sky)
    app.add_typer(activity)
