"""Commands about house recipes: kept under a name, started from, passed on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.errors import shown
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
from archive.views.recipereport import tell_house, tell_saved
from archive.views.report import Report

HouseArgument = Annotated[str, typer.Argument(metavar="HOUSE-RECIPE", help="Its name.")]


def house_list(archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List the house recipes with what they do.

    Example: noctuary recipe house list
    """
    with opened(archive) as workspace:
        found = workspace.recipes.house.all()
    print_json(found) if as_json else tell_house(Report(), found)


def house_save(
    name: FrameArgument,
    under: HouseArgument,
    about: Annotated[str, typer.Option("--about", help="What it is for, in a sentence.")] = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep a frame's recipe under a name, to start from.

    Example: noctuary recipe house save 2026-03-18/north/1#58 "Quiet arc" --about "faint aurora, no moon"
    """
    with opened(archive, person=person) as workspace:
        entry = workspace.recipes.house.save(name, under, about=about)
    if as_json:
        print_json({"entry": entry, "name": under})
    else:
        Report().say(
            f"{shown(under)} is kept." if entry else "Nothing changed: it is kept like that already."
        )


def house_add(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="House recipe documents (JSON).")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep house recipes that documents hold, as those in examples/.

    Example: noctuary recipe house add examples/house-recipes/faint-arc.json
    """
    with opened(archive, person=person) as workspace:
        added = [workspace.recipes.house.add(path) for path in files]
    if as_json:
        print_json([{"name": recipe.name, "entry": entry} for recipe, entry in added])
        return
    for recipe, entry in added:
        Report().say(f"{shown(recipe.name)} {'is kept.' if entry else 'is kept like that already.'}")


def house_write(
    name: HouseArgument,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="A new file.")],
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a house recipe as a document that any archive can add.

    Example: noctuary recipe house write "Quiet arc" --to quiet-arc.json
    """
    with opened(archive) as workspace:
        recipe = workspace.recipes.house.write(name, to)
    print_json(recipe) if as_json else Report().say(f"Written: {shown(str(to))}")


def house_remove(
    name: HouseArgument,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a house recipe off the list; frames that started from it keep what they have.

    Example: noctuary recipe house remove "Quiet arc"
    """
    with opened(archive, person=person) as workspace:
        entry = workspace.recipes.house.remove(name)
    print_json({"entry": entry}) if as_json else Report().say(f"{shown(name)} is off the list.")


def house_start(
    name: FrameArgument,
    house_recipe: HouseArgument,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Start from a house recipe: its operators become the frame's own, others stay as they are.

    Example: noctuary recipe house start 2026-03-18/north/1#58 "Quiet arc"
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.house.start(name, house_recipe, shared=shared, note=note)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def add_to(recipe: typer.Typer) -> None:
    house = Commands(
        help="House recipes: kept under a name, to start from.\n\nExample: noctuary recipe house list"
    )
    house.command("list")(house_list)
    house.command("save")(house_save)
    house.command("add")(house_add)
    house.command("write")(house_write)
    house.command("remove")(house_remove)
    house.command("start")(house_start)
    recipe.add_typer(house, name="house")
