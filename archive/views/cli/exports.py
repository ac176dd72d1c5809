"""Commands that make pictures and movies, and find what they were made of."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.errors import Exit
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, Running, ended, opened
from archive.views.plain import print_json
from archive.views.report import Report


def export(
    name: Annotated[str, typer.Argument(metavar="WHICH", help="A frame, or a sequence or a part of it.")],
    spec: Annotated[str, typer.Option("--spec", "-s", help="What to make; `noctuary specs` lists them.")],
    strict: Annotated[
        bool, typer.Option("--strict", help="Refuse where two recipe versions are both current.")
    ] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a still, a frame set or a movie. Interrupted, run it again: it goes on.

    Example: noctuary export 2026-03-18/north/1 --spec movie-hd
    """
    with opened(archive, person=person) as workspace, Running(quiet=as_json) as running:
        report = workspace.exports.export(name, spec, strict=strict, progress=running)
    print_json(report) if as_json else Report().export(report)
    ended(report.exit_code)


def specs(as_json: JsonOption = False) -> None:
    """List the export specs there are.

    Example: noctuary specs
    """
    from archive.workspace import list_specs

    found = list_specs()
    if as_json:
        print_json(found)
        return
    columns = [("spec", ""), ("makes", ""), ("file", ""), ("size", ""), ("bits", "right"), ("rate", "")]
    rows = []
    for spec in found:
        fit = spec.pixels.fit
        size = f"within {fit[0]}×{fit[1]}" if fit else "full"
        rate = f"{float(spec.rate):g}/s" if spec.rate else ""
        rows.append([spec.name, spec.product, spec.container, size, str(spec.pixels.bits), rate])
    Report().table(columns, rows)


def lineage(
    asked: Annotated[
        str, typer.Argument(metavar="WHAT", help="Any file from anywhere, a frame, or a sequence.")
    ],
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Find the master and recipe behind a file, or what was made of a frame.

    A renamed or moved file is found by its bytes, a re-saved one by the id inside it.

    Example: noctuary lineage ~/Downloads/that-picture.jpg
    """
    with opened(archive) as workspace:
        answer = workspace.exports.lineage(asked)
    print_json(answer) if as_json else Report().lineage(answer)


def stale(archive: ArchiveOption = None, as_json: JsonOption = False) -> None:
    """List what is no longer as the present recipes would make it, and why.

    Example: noctuary stale
    """
    with opened(archive) as workspace:
        lines = workspace.exports.stale()
    print_json(lines) if as_json else Report().stale(lines)
    ended(Exit.ATTENTION if lines else Exit.DONE)


def regenerate(
    names: Annotated[
        list[str] | None,
        typer.Argument(metavar="[FILE…]", help="Derivatives; without, all that are missing (or stale)."),
    ] = None,
    current: Annotated[
        bool, typer.Option("--current", help="With the present recipes, beside the old ones.")
    ] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make derivatives again: the exact old ones, or with --current as they would be now.

    Example: noctuary regenerate --current
    """
    with opened(archive, person=person) as workspace, Running(quiet=as_json) as running:
        reports = workspace.exports.regenerate(names or [], current=current, progress=running)
    if as_json:
        print_json(reports)
    elif not reports:
        Report().say("Nothing to make again.")
    else:
        for report in reports:
            Report().export(report)
    ended(max((report.exit_code for report in reports), default=Exit.DONE))


def add_to(app: typer.Typer) -> None:
    for command in (export, specs, lineage, stale, regenerate):
        app.command()(command)
