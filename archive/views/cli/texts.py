"""Commands about what is written on frames, what was decided, and taking it back."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, ended, opened
from archive.views.plain import print_json
from archive.views.recipereport import tell_decisions, tell_taken_back
from archive.views.report import Report


def text(
    names: Annotated[list[str], typer.Argument(metavar="FRAME…", help="Frames, sequences or parts of them.")],
    title: Annotated[str | None, typer.Option("--title", help="A short name for the picture.")] = None,
    caption: Annotated[str | None, typer.Option("--caption", help="What it shows, in sentences.")] = None,
    note: Annotated[
        str | None, typer.Option("--note", help="For yourself; it leaves with no picture.")
    ] = None,
    creator: Annotated[str | None, typer.Option("--creator", help="Who made it.")] = None,
    rights: Annotated[str | None, typer.Option("--rights", help="The copyright notice.")] = None,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write title, caption, note, creator or rights of frames; an empty text takes one off.

    Example: noctuary text 2026-03-18/north/1#58 --title "Ice and arc" --creator "Ingrid"
    """
    given = {"title": title, "caption": caption, "note": note, "creator": creator, "rights": rights}
    said = {name: value for name, value in given.items() if value is not None}
    with opened(archive, person=person) as workspace:
        frames = workspace.texts.write(names, said)
    if as_json:
        print_json({"frames": [frame.id for frame in frames], "texts": said})
    else:
        Report().say(f"{', '.join(said)} written on {len(frames)} frames.")


def decisions(
    kind: Annotated[
        list[str] | None, typer.Option("--kind", help="Only of this kind, as rating or recipe.")
    ] = None,
    most: Annotated[int, typer.Option("--most", help="How many.", min=1, max=1000)] = 20,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the newest decisions, each with the id to take it back by.

    Example: noctuary decisions --kind rating --most 5
    """
    with opened(archive) as workspace:
        found = workspace.decisions.newest(most=most, kinds=kind or ())
    print_json(found) if as_json else tell_decisions(Report(), found)


def take_back(
    entry: Annotated[str, typer.Argument(metavar="ENTRY", help="The start of an entry's id.")],
    even_so: Annotated[
        bool, typer.Option("--even-so", help="Overrule what later entries changed about the same.")
    ] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a decision back: what stood before it is stated again. Nothing is erased.

    Example: noctuary take-back 8f2c1a90
    """
    with opened(archive, person=person) as workspace:
        taken = workspace.taking_back.take_back(entry, even_so=even_so)
    print_json(taken) if as_json else tell_taken_back(Report(), taken)
    ended(taken.exit_code)


def add_to(app: typer.Typer) -> None:
    app.command()(text)
    app.command()(decisions)
    app.command("take-back")(take_back)
