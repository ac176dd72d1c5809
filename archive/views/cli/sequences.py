"""Commands that say where sequences break, what belongs together, and what they are called."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.views.cli.helping import Commands
from archive.views.cli.nights import FrameArgument
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, opened
from archive.views.nightreport import tell_sequences
from archive.views.plain import print_json
from archive.views.report import Report

sequence = Commands(
    name="sequence",
    help="Say where a sequence breaks, what it joins, its title.\n\n"
    "Example: noctuary sequence break 2026-03-18/north/1#200",
)


@sequence.command("break")
def break_before(
    name: FrameArgument,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Let a sequence begin anew with a frame. The part behind it gets a number of its own.

    Example: noctuary sequence break 2026-03-18/north/1#200
    """
    with opened(archive, person=person) as workspace:
        lines = workspace.sequencing.break_before(name)
    print_json(lines) if as_json else tell_sequences(Report(), lines)


@sequence.command("join")
def join(
    name: Annotated[
        str, typer.Argument(metavar="WHICH", help="The frame, or the sequence, that comes second.")
    ],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Hold a frame together with the one before it, or a sequence with the sequence before it.

    Example: noctuary sequence join 2026-03-18/north/2
    """
    with opened(archive, person=person) as workspace:
        lines = workspace.sequencing.join(name)
    print_json(lines) if as_json else tell_sequences(Report(), lines)


@sequence.command("title")
def title(
    name: Annotated[str, typer.Argument(metavar="SEQUENCE", help="NIGHT/CAMERA/NUMBER.")],
    text: Annotated[str, typer.Argument(metavar="TITLE", help='What it is called; "" takes it back.')],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Give a sequence a title.

    Example: noctuary sequence title 2026-03-18/north/1 "First light over the bend"
    """
    with opened(archive, person=person) as workspace:
        line = workspace.sequencing.title(name, text)
    print_json(line) if as_json else tell_sequences(Report(), [line])


def add_to(app: typer.Typer) -> None:
    app.add_typer(sequence)
