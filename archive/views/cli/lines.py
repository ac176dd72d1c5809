"""Commands about lines: named lines of states beside the main one."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.views.cli.helping import Commands
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, SharedOption, opened
from archive.views.plain import print_json
from archive.views.recipereport import tell_lines, tell_saved
from archive.views.report import Report

WhichArgument = Annotated[str, typer.Argument(metavar="FRAME", help="A frame, a sequence, or a part of one.")]
NameArgument = Annotated[str, typer.Argument(metavar="LINE", help="The line's name.")]


def line_list(name: WhichArgument, archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List the lines of a frame or a sequence; * marks the one that exports use.

    Example: noctuary recipe line list 2026-03-18/north/1#58
    """
    with opened(archive) as workspace:
        states = workspace.recipes.lines.of(name)
    print_json(states) if as_json else tell_lines(Report(), states)


def line_start(
    name: WhichArgument,
    line: NameArgument,
    version: Annotated[
        str | None,
        typer.Option("--from", metavar="VERSION", help="Begin with this version, not the present."),
    ] = None,
    aside: Annotated[bool, typer.Option("--aside", help="Leave the present line the current one.")] = False,
    shared: SharedOption = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Start a line from what speaks now, or from a version; edits and exports go on there.

    Example: noctuary recipe line start 2026-03-18/north/1#58 "for print" --from 8f2c1a90
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.lines.start(name, line, version=version, shared=shared, aside=aside)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def line_use(
    name: WhichArgument,
    line: NameArgument,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a line the current one: exports use it, and edits go on there.

    Example: noctuary recipe line use 2026-03-18/north/1#58 main
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.lines.use(name, line)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def line_rename(
    name: WhichArgument,
    line: NameArgument,
    to: Annotated[str, typer.Option("--to", metavar="NAME", help="Its new name.")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Call a line something else.

    Example: noctuary recipe line rename 2026-03-18/north/1#58 "for print" --to "calendar 2027"
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.lines.rename(name, line, to)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def add_to(recipe: typer.Typer) -> None:
    lines = Commands(
        help="Lines: other ways to develop the same frame, side by side, under names.\n\n"
        "Example: noctuary recipe line list 2026-03-18/north/1#58"
    )
    lines.command("list")(line_list)
    lines.command("start")(line_start)
    lines.command("use")(line_use)
    lines.command("rename")(line_rename)
    recipe.add_typer(lines, name="line")
