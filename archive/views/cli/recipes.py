"""Commands about recipes: set, show, look back, compare, reinstate, carry; and the operators there are."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.errors import shown
from archive.model.identity import short
from archive.views.cli.nights import FrameArgument
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, opened
from archive.views.plain import print_json
from archive.views.report import Report


def recipe_set(
    name: FrameArgument,
    settings: Annotated[
        list[str] | None, typer.Argument(metavar="OPERATOR.PARAMETER=VALUE…", help="What to set.")
    ] = None,
    drop: Annotated[
        list[str] | None, typer.Option("--drop", metavar="OPERATOR", help="Take an operator out again.")
    ] = None,
    in_sequence: Annotated[
        bool, typer.Option("--in-sequence", help="Let this frame's own values into sets and movies too.")
    ] = False,
    note: Annotated[str, typer.Option("--note", help="Why, in a few words.")] = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Save a new version of a frame's recipe. The master is not touched, older versions stay.

    Example: noctuary recipe set 2026-03-18/north/1#58 exposure.stops=0.5 contrast.amount=0.2
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.set(
            name, settings or [], drop=drop or [], in_sequence=in_sequence, note=note
        )
    if as_json:
        print_json(saved)
        return
    report = Report()
    if saved.entry is None:
        report.say("Nothing changed: the recipe says that already.")
        return
    report.say(f"{shown(saved.frame.name)}: version {short(saved.entry)}", "bold")
    for words in saved.words:
        report.say(f"  {words}")


def recipe_show(
    name: FrameArgument,
    why: Annotated[bool, typer.Option("--why", help="Say where each value comes from.")] = False,
    in_sequence: Annotated[
        bool, typer.Option("--in-sequence", help="As it is in sets and movies, not as a still.")
    ] = False,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what a frame is developed with.

    Example: noctuary recipe show 2026-03-18/north/1#58 --why
    """
    with opened(archive) as workspace:
        frame = workspace.frame(name)
        effective = workspace.recipes.effective(frame, in_sequence=in_sequence)
        rows = workspace.recipe_rows(frame, in_sequence=in_sequence)
    print_json(effective) if as_json else Report().recipe(rows, why=why)


def recipe_history(name: FrameArgument, archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List a frame's recipe versions, newest first; * marks the current ones.

    Example: noctuary recipe history 2026-03-18/north/1#58
    """
    with opened(archive) as workspace:
        _, lines = workspace.recipes.history(name)
    print_json(lines) if as_json else Report().history(lines)


def recipe_changes(
    name: FrameArgument,
    older: Annotated[str, typer.Argument(metavar="VERSION", help="The start of a version's id.")],
    newer: Annotated[
        str | None, typer.Argument(metavar="[VERSION]", help="Another; the current one by default.")
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what differs between two versions of a frame's recipe.

    Example: noctuary recipe changes 2026-03-18/north/1#58 8f2c1a90
    """
    with opened(archive) as workspace:
        words = workspace.recipes.changes(name, older, newer)
    if as_json:
        print_json(words)
    else:
        for line in words or ("Nothing differs.",):
            Report().say(line)


def recipe_reinstate(
    name: FrameArgument,
    version: Annotated[str, typer.Argument(metavar="VERSION", help="The start of the version's id.")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take an older version's values up again, as a new version.

    Example: noctuary recipe reinstate 2026-03-18/north/1#58 8f2c1a90
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.reinstate(name, version)
    if as_json:
        print_json(saved)
    elif saved.entry is None:
        Report().say("Nothing changed: those are the present values.")
    else:
        Report().say(f"{shown(saved.frame.name)}: version {short(saved.entry)}; " + "; ".join(saved.words))


def recipe_carry(
    name: FrameArgument,
    to: Annotated[str, typer.Option("--to", metavar="WHICH", help="A sequence, or a part of one.")],
    only: Annotated[str | None, typer.Option("--only", help="Only these operators, with commas.")] = None,
    leave: Annotated[str | None, typer.Option("--except", help="All but these, with commas.")] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would happen; change nothing.")
    ] = False,
    note: Annotated[str, typer.Option("--note", help="Why, in a few words.")] = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Carry one frame's recipe to a whole sequence, in one entry.

    Example: noctuary recipe carry 2026-03-18/north/1#58 --to 2026-03-18/north/1 --except crop
    """
    with opened(archive, person=person) as workspace:
        carried = workspace.recipes.carry(
            name, to, only=_listed(only), leave=_listed(leave), dry_run=dry_run, note=note
        )
    if as_json:
        print_json(carried)
        return
    report = Report()
    verb = "would be carried" if dry_run else "carried" if carried.entry else "shared already by"
    report.say(f"{', '.join(carried.operators)}: {verb} {'to ' if carried.entry or dry_run else ''}"
               f"{carried.frames} frames.")  # fmt: skip
    for frame, operators in carried.masked[:12]:
        report.say(f"  {shown(frame)} keeps its own {', '.join(operators)} in sequences")


def operators(
    name: Annotated[str | None, typer.Argument(metavar="[OPERATOR]", help="Only this one.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the operators that recipes are made of, with units, ranges and neutral values.

    Example: noctuary operators exposure
    """
    from archive.workspace import describe_operators

    described = describe_operators(name)
    if as_json:
        print_json(described)
        return
    report = Report()
    for operator in described:
        report.say(f"{operator.name}  {operator.summary}", "bold")
        for parameter in operator.parameters:
            report.say(f"  {operator.name}.{parameter.name}  {parameter.range}")
            report.say(f"      {parameter.help}")


def _listed(text: str | None) -> list[str]:
    return [word.strip() for word in (text or "").split(",") if word.strip()]


def add_to(app: typer.Typer) -> None:
    recipe = typer.Typer(
        help="How frames are developed: versions that never touch a master.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    recipe.command("set")(recipe_set)
    recipe.command("show")(recipe_show)
    recipe.command("history")(recipe_history)
    recipe.command("changes")(recipe_changes)
    recipe.command("reinstate")(recipe_reinstate)
    recipe.command("carry")(recipe_carry)
    app.add_typer(recipe, name="recipe")
    app.command()(operators)
