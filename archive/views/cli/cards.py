"""Commands about archives, sites and cards: new, site, ingest."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.errors import Exit
from archive.model.results import IngestReport
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


def new(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")],
    name: Annotated[
        str | None, typer.Option("--name", help="What you call this volume; its folder's name by default.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make an archive in a new or empty folder.

    Example: noctuary new NightArchive --name BLUE
    """
    from archive.workspace import new_archive

    volume = new_archive(folder, name)
    if as_json:
        print_json({"root": volume.root, "archive": volume.mark.archive, "volume": volume.id})
    else:
        Report().say(f"{volume.root} is an archive now. START-HERE.html in it explains it to anyone.")


def site_add(
    name: Annotated[str, typer.Argument(help="What you call the place.")],
    latitude: Annotated[float, typer.Option("--latitude", help="Degrees, north positive.")],
    longitude: Annotated[float, typer.Option("--longitude", help="Degrees, east positive.")],
    zone: Annotated[str, typer.Option("--zone", help="Time zone, such as Europe/Oslo.")],
    elevation: Annotated[float, typer.Option("--elevation", help="Metres above the sea.")] = 0.0,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Name a place, so that nights and times of frames taken there can be told.

    Example: noctuary site add "River bend" --latitude 69.2 --longitude 20.1 --zone Europe/Oslo
    """
    with opened(archive, person=person) as workspace:
        site = workspace.statements.add_site(name, latitude, longitude, elevation, zone)
    if as_json:
        print_json(site)
    else:
        Report().say(f"{site.name}: {site.latitude:g}°, {site.longitude:g}°, {site.zone}.")


def site_list(archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List the places known.

    Example: noctuary site list
    """
    with opened(archive) as workspace:
        sites = workspace.books.catalogue.sites()
    if as_json:
        print_json(sites)
        return
    columns = [
        ("site", ""),
        ("latitude", "right"),
        ("longitude", "right"),
        ("elevation", "right"),
        ("zone", ""),
    ]
    Report().table(
        columns,
        [
            [s.name, f"{s.latitude:.4f}°", f"{s.longitude:.4f}°", f"{s.elevation_m:g} m", s.zone]
            for s in sites
        ],
    )


def ingest(
    sources: Annotated[list[Path], typer.Argument(metavar="SOURCE…", help="Cards, or any folders.")],
    site: Annotated[str | None, typer.Option("--site", help="Where the frames were taken.")] = None,
    also: AlsoOption = None,
    card: Annotated[str | None, typer.Option("--card", help="What is written on the card.")] = None,
    camera: Annotated[
        str | None, typer.Option("--camera", help="A short name for the camera, if it is new here.")
    ] = None,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take everything off a card, verified, onto every volume named; the card is not changed.

    Run it again after any interruption: it goes on where it stopped. Files held already are not copied again.

    Example: noctuary ingest /media/CARD --site "River bend" --also /media/BLUE/NightArchive
    """
    with opened(archive, also=also, person=person) as workspace, Running(quiet=as_json) as running:
        place = workspace.statements.site_named(site) if site else None

        def tell(report: IngestReport) -> None:
            running.pause()
            if not as_json:
                Report().ingest(report)

        reports = workspace.ingest.take(
            sources, site=place, card=card, camera_name=camera, progress=running, told=tell
        )
    if as_json:
        print_json(reports)
    ended(max((report.exit_code for report in reports), default=Exit.DONE))


def add_to(app: typer.Typer) -> None:
    app.command()(new)
    sites = typer.Typer(help="Places where frames are taken.", no_args_is_help=True, rich_markup_mode=None)
    sites.command("add")(site_add)
    sites.command("list")(site_list)
    app.add_typer(sites, name="site")
    app.command()(ingest)
