"""Commands about ramps: values that change along a sequence, set at anchors that are frames."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.errors import shown
from archive.views.cli.helping import Commands
from archive.views.cli.options import ArchiveOption, JsonOption, NoteOption, PersonOption, opened
from archive.views.plain import print_json
from archive.views.rampreport import tell_ramp_saved, tell_ramps
from archive.views.report import Report

WhereArgument = Annotated[
    str,
    typer.Argument(metavar="SEQUENCE", help="The sequence, or the part of one, that the ramp runs along."),
]
ParameterArgument = Annotated[
    str, typer.Argument(metavar="OPERATOR.PARAMETER", help="What ramps, as exposure.stops.")
]
AnchorArgument = Annotated[
    str, typer.Argument(metavar="ANCHOR", help="Its frame: #NUMBER in the sequence, or a frame's name.")
]


def ramp_show(
    where: WhereArgument,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Draw the chart to a PNG or SVG file.")
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show the ramps along a sequence, below its surveyed brightness or else its camera's exposure.

    Example: noctuary recipe ramp show 2026-03-18/north/1 --to ramps.svg
    """
    with opened(archive) as workspace:
        found = workspace.recipes.ramps.of(where)
    if to is not None:
        # Drawing is loaded only where something is drawn.
        from archive.views.charts import write_ramps

        write_ramps(found, to)
    if as_json:
        print_json(found)
        return
    tell_ramps(Report(), found)
    if to is not None:
        Report().say(f"Written: {shown(str(to))}")


def ramp_add(
    where: WhereArgument,
    parameter: ParameterArgument,
    anchors: Annotated[
        list[str], typer.Argument(metavar="FRAME=VALUE…", help="Anchors, as '#40=0.5'; quote the #.")
    ],
    rule: Annotated[
        str | None, typer.Option("--rule", help="monotone-cubic (as it begins) or linear.")
    ] = None,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Set anchors of a ramp; the first ones begin it.

    Example: noctuary recipe ramp add 2026-03-18/north/1 exposure.stops '#1=0.5' '#450=-0.75'
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.ramps.add(where, parameter, anchors, rule=rule, note=note)
        found = workspace.recipes.ramps.of(where)
    print_json(saved) if as_json else tell_ramp_saved(Report(), saved, found)


def ramp_move(
    where: WhereArgument,
    parameter: ParameterArgument,
    anchor: AnchorArgument,
    to: Annotated[str, typer.Option("--to", metavar="FRAME", help="The frame it moves to.")],
    value: Annotated[str | None, typer.Option("--value", help="Its new value; as it was by default.")] = None,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Move an anchor to another frame.

    Example: noctuary recipe ramp move 2026-03-18/north/1 exposure.stops '#40' --to '#44'
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.ramps.move(where, parameter, anchor, to, value=value, note=note)
        found = workspace.recipes.ramps.of(where)
    print_json(saved) if as_json else tell_ramp_saved(Report(), saved, found)


def ramp_remove(
    where: WhereArgument,
    parameter: ParameterArgument,
    anchors: Annotated[list[str], typer.Argument(metavar="ANCHOR…", help="Frames whose anchors go.")],
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take anchors away.

    Example: noctuary recipe ramp remove 2026-03-18/north/1 exposure.stops '#40'
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.ramps.remove(where, parameter, anchors, note=note)
        found = workspace.recipes.ramps.of(where)
    print_json(saved) if as_json else tell_ramp_saved(Report(), saved, found)


def ramp_bend(
    where: WhereArgument,
    parameter: ParameterArgument,
    rule: Annotated[str, typer.Option("--rule", help="monotone-cubic or linear.")],
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Choose how a ramp runs between its anchors.

    Example: noctuary recipe ramp bend 2026-03-18/north/1 exposure.stops --rule linear
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.ramps.bend(where, parameter, rule, note=note)
        found = workspace.recipes.ramps.of(where)
    print_json(saved) if as_json else tell_ramp_saved(Report(), saved, found)


def ramp_drop(
    where: WhereArgument,
    parameter: ParameterArgument,
    value: Annotated[
        str | None, typer.Option("--value", help="The one value from now on; its first anchor's by default.")
    ] = None,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """End a ramp: the parameter has one value along the sequence again.

    Example: noctuary recipe ramp drop 2026-03-18/north/1 exposure.stops --value 0.25
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.ramps.drop(where, parameter, value=value, note=note)
        found = workspace.recipes.ramps.of(where)
    print_json(saved) if as_json else tell_ramp_saved(Report(), saved, found)


def ramp_extend(
    where: WhereArgument,
    note: NoteOption = "",
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take frames that came later into the ramps of their sequence.

    Example: noctuary recipe ramp extend 2026-03-18/north/1
    """
    with opened(archive, person=person) as workspace:
        saved = workspace.recipes.ramps.extend(where, note=note)
        found = workspace.recipes.ramps.of(where)
    print_json(saved) if as_json else tell_ramp_saved(Report(), saved, found)


def add_to(recipe: typer.Typer) -> None:
    ramps = Commands(
        help="Ramps: values that change along a sequence.\n\n"
        "Example: noctuary recipe ramp show 2026-03-18/north/1"
    )
    ramps.command("show")(ramp_show)
    ramps.command("add")(ramp_add)
    ramps.command("move")(ramp_move)
    ramps.command("remove")(ramp_remove)
    ramps.command("bend")(ramp_bend)
    ramps.command("drop")(ramp_drop)
    ramps.command("extend")(ramp_extend)
    recipe.add_typer(ramps, name="ramp")
