"""Commands about a recipe's finish: an ordered list of steps, each on or off."""

from __future__ import annotations

from typing import Annotated

import typer

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
from archive.views.plain import print_json
from archive.views.recipereport import tell_finish, tell_saved
from archive.views.report import Report

ItemArgument = Annotated[str, typer.Argument(metavar="ITEM", help="An item's id, as `finish list` shows it.")]
SettingsArgument = Annotated[
    list[str] | None, typer.Argument(metavar="PARAMETER=VALUE…", help="Its values; the others are neutral.")
]


def finish_list(name: FrameArgument, archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List the finish that speaks for a frame, in its order.

    Example: noctuary recipe finish list 2026-03-18/north/1#58
    """
    with opened(archive) as workspace:
        items = workspace.recipes.finish.items(name)
    print_json(items) if as_json else tell_finish(Report(), items)


def finish_add(
    name: FrameArgument,
    operator: Annotated[str, typer.Argument(help="An operator that can be a finish step.")],
    settings: SettingsArgument = None,
    at: Annotated[
        int | None, typer.Option("--at", metavar="N", help="Its place, 1 is the first; by default last.")
    ] = None,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a step to the finish; an operator may come again.

    Example: noctuary recipe finish add 2026-03-18/north/1#58 sharpness amount=0.6 radius=0.25
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.finish.add(name, operator, settings or [], at=at, shared=shared, note=note)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def finish_adjust(
    name: FrameArgument,
    item: ItemArgument,
    settings: SettingsArgument = None,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Set values of an item of the finish.

    Example: noctuary recipe finish adjust 2026-03-18/north/1#58 sharpness-1 amount=0.4
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.finish.adjust(name, item, settings or [], shared=shared, note=note)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def finish_move(
    name: FrameArgument,
    item: ItemArgument,
    to: Annotated[int, typer.Option("--to", metavar="N", help="Its new place; 1 is the first.")],
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Move an item of the finish to another place in the order.

    Example: noctuary recipe finish move 2026-03-18/north/1#58 sharpness-1 --to 1
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.finish.move(name, item, to, shared=shared, note=note)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def finish_switch(
    name: FrameArgument,
    item: ItemArgument,
    on: Annotated[bool, typer.Option("--on/--off", help="On or off.")] = True,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Switch an item of the finish on or off; its values stay.

    Example: noctuary recipe finish switch 2026-03-18/north/1#58 sharpness-1 --off
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.finish.switch(name, item, on=on, shared=shared, note=note)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def finish_remove(
    name: FrameArgument,
    item: ItemArgument,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take an item out of the finish.

    Example: noctuary recipe finish remove 2026-03-18/north/1#58 sharpness-1
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.finish.remove(name, item, shared=shared, note=note)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def add_to(recipe: typer.Typer) -> None:
    finish = Commands(
        help="The finish: ordered steps after the base, each switched on or off.\n\n"
        "Example: noctuary recipe finish list 2026-03-18/north/1#58"
    )
    finish.command("list")(finish_list)
    finish.command("add")(finish_add)
    finish.command("adjust")(finish_adjust)
    finish.command("move")(finish_move)
    finish.command("switch")(finish_switch)
    finish.command("remove")(finish_remove)
    recipe.add_typer(finish, name="finish")
