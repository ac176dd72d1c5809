"""Commands about archives, sites and cards: new, site, ingest."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from archive.errors import Exit, UsageError
from archive.model.results import IngestReport
from archive.views.cli.helping import Commands
from archive.views.cli.options import (
    AlsoOption,
    ArchiveOption,
    JsonOption,
    PersonOption,
    Running,
    ended,
    opened,
    span_of,
)
from archive.views.erasing import tell_erasing
from archive.views.plain import print_json
from archive.views.report import Report
from archive.views.signing import places_for, write_report
from archive.views.taking import tell_closing, tell_ingest


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
    latitude: Annotated[
        float, typer.Option("--latitude", metavar="DEGREES", help="Degrees, north positive.")
    ],
    longitude: Annotated[
        float, typer.Option("--longitude", metavar="DEGREES", help="Degrees, east positive.")
    ],
    zone: Annotated[str, typer.Option("--zone", help="Time zone, such as Europe/Oslo.")],
    elevation: Annotated[
        float, typer.Option("--elevation", metavar="METRES", help="Metres above the sea.")
    ] = 0.0,
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
    sources: Annotated[
        list[Path] | None, typer.Argument(metavar="SOURCE…", help="Cards, or any folders.")
    ] = None,
    site: Annotated[str | None, typer.Option("--site", help="Where the frames were taken.")] = None,
    also: AlsoOption = None,
    card: Annotated[str | None, typer.Option("--card", help="What is written on the card.")] = None,
    camera: Annotated[
        str | None, typer.Option("--camera", help="A short name for the camera, if it is new here.")
    ] = None,
    report_to: Annotated[
        Path | None,
        typer.Option(
            "--report",
            metavar="FILE",
            help="Write a page to sign (FILE.html), the same as JSON (FILE.json), or both into a folder.",
        ),
    ] = None,
    close_unfinished: Annotated[
        bool,
        typer.Option(
            "--close-unfinished",
            help="Without a SOURCE: end interrupted ingests whose cards are gone; "
            "what lies sound is listed, the rest told.",
        ),
    ] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take everything off a card, verified, onto every volume named; the card is not changed.

    Run it again after any interruption: it goes on where it stopped. Files held already are not copied again.

    Example: noctuary ingest /media/CARD --site "River bend" --also /media/BLUE/NightArchive
    """
    if close_unfinished == bool(sources):
        raise UsageError(
            "Name a card to take in, or --close-unfinished without one.", hint="Nothing was changed."
        )
    if not sources:
        with opened(archive, also=also, person=person) as workspace, Running(quiet=as_json) as running:
            answer = workspace.ingest.close_unfinished(progress=running)
        print_json(answer) if as_json else tell_closing(answer, Report())
        ended(answer.exit_code)
        return
    places = places_for(report_to, f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}") if report_to else None
    with opened(archive, also=also, person=person) as workspace, Running(quiet=as_json) as running:
        place = workspace.statements.site_named(site) if site else None

        def tell(report: IngestReport) -> None:
            running.pause()
            if not as_json:
                tell_ingest(report, Report())

        reports = workspace.ingest.take(
            sources, site=place, card=card, camera_name=camera, progress=running, told=tell
        )
    if as_json:
        print_json(reports)
    for path in write_report(reports, places) if places else []:
        if not as_json:
            Report().say(f"Written: {path}")
    ended(max((report.exit_code for report in reports), default=Exit.DONE))


def may_erase(
    source: Annotated[Path, typer.Argument(metavar="SOURCE", help="The card, or any folder.")],
    copies: Annotated[
        int, typer.Option("--copies", metavar="N", help="How many different devices must hold each file.")
    ] = 2,
    within: Annotated[
        str, typer.Option("--within", metavar="SPAN", help="How old an audit may be to count: 30d, 12h, 2w.")
    ] = "30d",
    also: AlsoOption = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say whether a card may be erased: every file proven on enough different devices. Erases nothing.

    The card is read again, and every copy that can be reached; copies on volumes that are not here count if
    an audit proved them lately. Only a plain yes ends with code 0.

    Example: noctuary may-erase /media/CARD --copies 2 --within 30d
    """
    span = span_of(within)
    with opened(archive, also=also) as workspace, Running(quiet=as_json) as running:
        answer = workspace.may_erase(source, copies=copies, within=span, progress=running)
    print_json(answer) if as_json else tell_erasing(answer, Report())
    ended(answer.exit_code)


def volume_device(
    volume: Annotated[str, typer.Argument(help="The volume's name, or the start of its id.")],
    device: Annotated[str, typer.Argument(help="What you call the drive or machine it lies on.")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say on which physical thing a volume lies: copies on one device are lost together and count once.

    Example: noctuary volume device BLUE "grey 4 TB drive"
    """
    with opened(archive, person=person) as workspace:
        volume_id = workspace.custody.declare_device(volume, device)
    if as_json:
        print_json({"volume": volume_id, "device": device.strip()})
    else:
        Report().say(f"{volume} lies on {device.strip()}.")


def add_to(app: typer.Typer) -> None:
    app.command()(new)
    sites = Commands(help="Places where frames are taken.\n\nExample: noctuary site list")
    sites.command("add")(site_add)
    sites.command("list")(site_list)
    app.add_typer(sites, name="site")
    app.command()(ingest)
    app.command("may-erase")(may_erase)
    volumes = Commands(help='Folders that hold copies.\n\nExample: noctuary volume device BLUE "grey drive"')
    volumes.command("device")(volume_device)
    app.add_typer(volumes, name="volume")
