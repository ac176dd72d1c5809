"""Commands about what is written on frames, what was decided, and taking it back."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, ended, opened
from archive.views.plain import print_json
from archive.views.recipereport import tell_taken_back
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
        Report().say(_told(said, len(frames)))


def _told(said: dict[str, str], frames: int) -> str:
    """What became of texts, some of them perhaps empty, on so many frames."""
    if not frames:
        return "Nothing changed: that is so already."
    written = ", ".join(name for name, text in said.items() if text.strip())
    off = ", ".join(name for name, text in said.items() if not text.strip())
    told = "; ".join([*([f"{written} written"] if written else []), *([f"{off} taken off"] if off else [])])
    return f"{told}: {frames} frame{'' if frames == 1 else 's'}."


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
    app.command("take-back")(take_back)
