"""Commands about recipes: set, look back, compare, carry, settle; and the operators there are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.errors import UsageError, shown
from archive.views.cli import finish, house, lines, ramps
from archive.views.cli.helping import Commands
from archive.views.cli.nights import FrameArgument
from archive.views.cli.options import (
    ArchiveOption,
    JsonOption,
    NoteOption,
    PersonOption,
    SharedOption,
    opened,
    region_of,
)
from archive.views.cli.pictures import show_curve
from archive.views.plain import plain, print_json
from archive.views.recipereport import (
    tell_carried,
    tell_comparison,
    tell_contests,
    tell_history,
    tell_newer,
    tell_saved,
    tell_sources,
)
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
        bool | None,
        typer.Option(
            "--in-sequence/--still-only",
            help="Let this frame's own values into sets and movies too, or not; as before if unsaid.",
        ),
    ] = None,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Save a new version of a frame's recipe. The master is not touched, older versions stay.

    Example: noctuary recipe set 2026-03-18/north/1#58 exposure.stops=0.5 contrast.amount=0.2
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.set(
            name, settings or [], drop=drop or [], in_sequence=in_sequence, shared=shared, note=note
        )
    print_json(saved) if as_json else tell_saved(Report(), saved)


def recipe_show(
    name: FrameArgument,
    why: Annotated[bool, typer.Option("--why", help="Say where each value comes from.")] = False,
    in_sequence: Annotated[
        bool, typer.Option("--in-sequence", help="As it is in sets and movies, not as a still.")
    ] = False,
    curve: Annotated[
        bool, typer.Option("--curve", help="Draw how its tone operators answer to light.")
    ] = False,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Write the curve as a chart, .png or .svg.")
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what a frame is developed with.

    Example: noctuary recipe show 2026-03-18/north/1#58 --why
    """
    if curve or to is not None:
        show_curve(name, archive, in_sequence=in_sequence, to=to, as_json=as_json)
        return
    with opened(archive) as workspace:
        frame = workspace.frame(name)
        effective = workspace.recipes.effective(frame, in_sequence=in_sequence)
        sources = workspace.recipes.why(frame, in_sequence=in_sequence)
        contested = workspace.recipes.standing(frame).contested
        newer = workspace.recipes.renewing.pending(name)
    if as_json:
        print_json({"effective": effective, "sources": sources, "contested": contested, "newer": newer})
        return
    report = Report()
    tell_sources(report, sources, why=why)
    tell_newer(report, newer)
    if contested:
        report.say("Contested: two versions claim to be current, the newest is shown. "
                   "`noctuary recipe settle FRAME --show` lists both.", "yellow")  # fmt: skip


def recipe_history(
    name: FrameArgument,
    line: Annotated[str | None, typer.Option("--line", metavar="NAME", help="Only of this line.")] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """List a frame's recipe versions, newest first; * marks the current ones.

    Example: noctuary recipe history 2026-03-18/north/1#58
    """
    with opened(archive) as workspace:
        _, found = workspace.recipes.history(name, line=line)
    print_json(found) if as_json else tell_history(Report(), found)


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
        return
    report = Report()
    for text in words or ("The two say the same.",):
        report.say(text)


def recipe_compare(
    name: FrameArgument,
    first: Annotated[
        str,
        typer.Argument(metavar="STATE", help="A version's id, a line, a house recipe, `plain` or `now`."),
    ],
    second: Annotated[str, typer.Argument(metavar="[STATE]", help="Another; `now` by default.")] = "now",
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="FILE", help="Write both and the map of their difference (JPEG, PNG)."),
    ] = None,
    size: Annotated[
        int, typer.Option("--size", metavar="PIXELS", help="Longer side of each picture, in pixels.")
    ] = 900,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Develop two states of a frame and tell how far apart they are.

    Example: noctuary recipe compare 2026-03-18/north/1#58 8f2c1a90 now --to compared.png
    """
    with opened(archive) as workspace:
        found = workspace.compare(name, first, second, to=to, size=size)
    print_json(found) if as_json else tell_comparison(Report(), found)


def recipe_reinstate(
    name: FrameArgument,
    version: Annotated[str, typer.Argument(metavar="VERSION", help="The start of a version's id.")],
    shared: SharedOption = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make an older version's values the present ones again, as a new version.

    Example: noctuary recipe reinstate 2026-03-18/north/1#58 8f2c1a90
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.reinstate(name, version, shared=shared)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def recipe_note(
    name: FrameArgument,
    version: Annotated[str, typer.Argument(metavar="VERSION", help="The start of a version's id.")],
    text: Annotated[str, typer.Argument(metavar="TEXT", help="The note; empty takes it off.")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a note on a version that was saved before.

    Example: noctuary recipe note 2026-03-18/north/1#58 8f2c1a90 "the one the calendar took"
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.note(name, version, text)
    print_json(saved) if as_json else tell_saved(Report(), saved)


def recipe_carry(
    name: FrameArgument,
    to: Annotated[str, typer.Option("--to", metavar="SEQUENCE", help="A sequence, or a part of one.")],
    only: Annotated[
        str | None,
        typer.Option("--only", metavar="NAMES", help="Only these operators or families, or the finish."),
    ] = None,
    leave: Annotated[str | None, typer.Option("--except", metavar="NAMES", help="All but these.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would happen.")] = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Carry a frame's recipe over a whole sequence, in one entry.

    Example: noctuary recipe carry 2026-03-18/north/1#58 --to 2026-03-18/north/1 --except crop
    """
    with opened(archive, person=person) as workspace:
        carried = workspace.recipes.carry(
            name, to, only=_listed(only), leave=_listed(leave), dry_run=dry_run, note=note
        )
    print_json(carried) if as_json else tell_carried(Report(), carried, dry_run=dry_run)


def recipe_settle(
    name: Annotated[str, typer.Argument(metavar="FRAME", help="A frame, a sequence or a part of one.")],
    take: Annotated[
        str | None, typer.Option("--take", metavar="VERSION", help="The version to go on from.")
    ] = None,
    operators: Annotated[
        list[str] | None,
        typer.Option(
            "--operator", metavar="NAME=VERSION", help="Take an operator, or `finish`, from a version."
        ),
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Only show what is contested.")] = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Settle a contested recipe: take one version, or join them operator by operator.

    Example: noctuary recipe settle 2026-03-18/north/1#58 --take 8f2c1a90 --operator contrast=5d0e77b1
    """
    with opened(archive, person=person) as workspace:
        if show:
            contests = workspace.recipes.contests.of(name)
            print_json(contests) if as_json else tell_contests(Report(), contests)
            return
        chosen = dict(_pair(text) for text in operators or ())
        saved = workspace.recipes.contests.settle(name, take=take, operators=chosen, note=note)
    if as_json:
        print_json(saved)
        return
    for each in saved:
        tell_saved(Report(), each)


def recipe_renew(
    name: Annotated[str, typer.Argument(metavar="FRAME", help="A frame, a sequence or a part of one.")],
    show: Annotated[bool, typer.Option("--show", help="Only show what would change.")] = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring recipes of an older release to this one: newest operators, this engine. Pictures may change.

    Example: noctuary recipe renew 2026-03-18/north/1 --show
    """
    with opened(archive, person=person) as workspace:
        if show:
            newer = workspace.recipes.renewing.pending(name)
            print_json(newer) if as_json else tell_newer(Report(), newer, asked=True)
            return
        saved = workspace.recipes.renewing.renew(name, note=note)
    if as_json:
        print_json(saved)
        return
    for each in saved:
        tell_saved(Report(), each)
    if not saved:
        tell_newer(Report(), (), asked=True)


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
        older = ", ".join(map(str, operator.older))
        told = f"  (version {operator.version}; recipes may hold {older})" if older else ""
        report.say(f"{operator.name}  {operator.summary}{told}", "bold")
        for parameter in operator.parameters:
            report.say(f"  {operator.name}.{parameter.name}  {parameter.range}")
            report.say(f"      {parameter.help}")


def _listed(text: str | None) -> list[str]:
    return [word.strip() for word in (text or "").split(",") if word.strip()]


def _pair(text: str) -> tuple[str, str]:
    name, equals, version = text.partition("=")
    if not equals or not name.strip() or not version.strip():
        raise UsageError(
            f"{shown(text)} names no operator and version.",
            hint="Nothing was changed. Write NAME=VERSION, as exposure=8f2c1a90.",
        )
    return name.strip(), version.strip()


def recipe_neutral(
    name: FrameArgument,
    patch: Annotated[
        str,
        typer.Option("--patch", metavar="L,T,R,B", help="What is grey, as shares 0 to 1 of the whole frame."),
    ],
    in_sequence: Annotated[
        bool | None, typer.Option("--in-sequence/--still-only", help="As for `recipe set`.")
    ] = None,
    shared: SharedOption = False,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Balance a frame by something grey in it: snow under the moon, cloud, a card.

    Example: noctuary recipe neutral 2026-03-18/north/1#58 --patch 0.4,0.8,0.6,0.9
    """
    with opened(archive, person=person) as workspace:
        found = workspace.exports.viewing.neutral(name, region_of(patch))
        light = [f"balance.kelvin={found.kelvin:.1f}", f"balance.duv={found.duv:.5f}"]
        saved = workspace.recipes.set(name, light, in_sequence=in_sequence, shared=shared, note=note)
    if as_json:
        print_json(plain(saved) | {"clipped": found.clipped})
        return
    report = Report()
    tell_saved(report, saved)
    if found.clipped:
        report.say(f"  {100 * found.clipped:.2g} % of the patch is clipped and was left out.")


def add_to(app: typer.Typer) -> None:
    recipe = Commands(
        help="How frames are developed: versions that never touch a master.\n\n"
        "Example: noctuary recipe set 2026-03-18/north/1#58 exposure.stops=0.4"
    )
    recipe.command("set")(recipe_set)
    recipe.command("neutral")(recipe_neutral)
    recipe.command("show")(recipe_show)
    recipe.command("history")(recipe_history)
    recipe.command("changes")(recipe_changes)
    recipe.command("compare")(recipe_compare)
    recipe.command("reinstate")(recipe_reinstate)
    recipe.command("note")(recipe_note)
    recipe.command("carry")(recipe_carry)
    recipe.command("settle")(recipe_settle)
    recipe.command("renew")(recipe_renew)
    for part in (finish, ramps, lines, house):
        part.add_to(recipe)
    app.add_typer(recipe, name="recipe")
    app.command()(operators)
