"""Commands about dark frames and lenses."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.errors import UsageError
from archive.views.cli.helping import Commands
from archive.views.cli.nights import FrameArgument
from archive.views.cli.options import (
    ArchiveOption,
    JsonOption,
    NoteOption,
    PersonOption,
    SharedOption,
    opened,
)
from archive.views.opticsreport import tell_darks, tell_fall_off, tell_lens
from archive.views.plain import print_json
from archive.views.recipereport import tell_saved
from archive.views.report import Report


def darks(
    name: FrameArgument,
    frames: Annotated[
        list[str] | None,
        typer.Argument(metavar="[DARK…]", help="The dark frames: names, or a sequence of them."),
    ] = None,
    find: Annotated[
        bool, typer.Option("--find", help="Look for dark frames that fit, in this night or the nearest one.")
    ] = False,
    take: Annotated[bool, typer.Option("--take", help="Use what --find finds.")] = False,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Let a recipe subtract dark frames: frames of the same camera and settings with the lens covered.

    With --find, frames that fit are looked for among those that were surveyed.

    Example: noctuary darks 2026-03-18/north/1#58 2026-03-18/north/2
    """
    if find == bool(frames) or (take and not find):
        raise UsageError(
            "Name the dark frames, or let them be looked for with --find.",
            hint="Nothing was changed. `noctuary darks FRAME --find --take` uses those it finds.",
        )
    with opened(archive, person=person) as workspace:
        found = workspace.survey.find_darks(name) if find else None
        chosen: list[str] = [*frames] if frames else []
        if found is not None and take:
            chosen = [frame.id for frame in found.frames]
        saved = workspace.optics.use_darks(name, chosen, shared=shared, note=note) if chosen else None
    if as_json:
        print_json(saved if found is None else {"found": found, "saved": saved})
        return
    if found is not None:
        tell_darks(Report(), found, taken=saved is not None)
    if saved is not None:
        tell_saved(Report(), saved)


def match(
    name: FrameArgument,
    take: Annotated[
        int | None, typer.Option("--take", metavar="NUMBER", help="This candidate is the lens.")
    ] = None,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Offer the lenses that a frame's own words may mean; nothing is used before one is taken.

    Example: noctuary lens match 2026-03-18/north/1#58 --take 1
    """
    with opened(archive, person=person) as workspace:
        answer = workspace.optics.lens(name, take=take)
    print_json(answer) if as_json else tell_lens(Report(), answer)


def apply(
    name: FrameArgument,
    shared: SharedOption = False,
    focal: Annotated[
        float | None,
        typer.Option(
            "--focal", metavar="MM", min=1, max=5000, help="Focal length, where frames tell none or several."
        ),
    ] = None,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the values of the lens that was taken into a recipe: distortion, lateral colour, fall-off.

    Example: noctuary lens apply 2026-03-18/north/1 --shared
    """
    with opened(archive, person=person) as workspace:
        applied = workspace.optics.apply_lens(name, shared=shared, focal_mm=focal, note=note)
    if as_json:
        print_json(applied)
        return
    tell_saved(Report(), applied.saved)
    for remark in applied.remarks:
        Report().say(remark)


def measure(
    flats: Annotated[
        list[str], typer.Argument(metavar="FLAT…", help="Raw frames of an evenly lit, blank surface.")
    ],
    into: Annotated[
        str | None, typer.Option("--into", metavar="WHICH", help="Write it into the recipe of these frames.")
    ] = None,
    shared: SharedOption = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Measure how a lens loses light towards the corners, from frames of an even surface.

    Example: noctuary lens measure 2026-03-18/north/3 --into 2026-03-18/north/1 --shared
    """
    with opened(archive, person=person) as workspace:
        found, saved = workspace.optics.measure_lens(flats, into=into, shared=shared)
    if as_json:
        print_json({"measure": found, "saved": saved})
        return
    tell_fall_off(Report(), found)
    if saved is not None:
        tell_saved(Report(), saved)


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    app.command()(darks)
    lens = Commands(
        help="Lenses: match, apply, measure.\n\nExample: noctuary lens match 2026-03-18/north/1#58"
    )
    lens.command()(match)
    lens.command()(apply)
    lens.command()(measure)
    app.add_typer(lens, name="lens")
