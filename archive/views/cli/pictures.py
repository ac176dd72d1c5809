"""Commands for looking: a frame before and after its recipe, and the gallery of what operators do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from archive.errors import Exit, UsageError, shown
from archive.views.cli.nights import FrameArgument
from archive.views.cli.options import ArchiveOption, JsonOption, Running, ended, opened
from archive.views.plain import print_json
from archive.views.report import Report
from archive.views.tonechart import levels_lines, tone_chart, tone_lines


def preview(
    name: FrameArgument,
    to: Annotated[
        Path, typer.Option("--to", metavar="FILE", help="Where to write the picture (JPEG, PNG).")
    ] = Path("preview.jpg"),
    size: Annotated[
        int,
        typer.Option(
            "--size",
            metavar="PIXELS",
            help="Longer side in pixels; of two pictures, each is half of it wide at most.",
        ),
    ] = 1600,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="OPERATOR", help="Leave out all other operators of the recipe."),
    ] = None,
    before: Annotated[bool, typer.Option("--before", help="Only the frame without its recipe.")] = False,
    alone: Annotated[bool, typer.Option("--alone", help="Only the developed picture.")] = False,
    histogram: Annotated[
        bool, typer.Option("--histogram", help="Also show the levels of raw and picture.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the file that is there, as when looking again.")
    ] = False,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a picture of a frame before and after its recipe, side by side.

    Example: noctuary preview 2026-03-18/north/1#58 --only shadow_lift --to look.jpg
    """
    if before and alone:
        raise UsageError("--before and --alone exclude each other.", hint="Without either, both are shown.")
    from archive.workspace import check_target, write_target

    check_target(to, replace=replace)
    with opened(archive) as workspace:
        viewing = workspace.exports.viewing
        data = viewing.preview(
            name, size=size, before=not alone, after=not before, only=only or (), file=to.name
        )
        levels = viewing.levels(name) if histogram else ()
        fine = None if before else viewing.too_fine(name, size=size, beside=not alone, only=only or ())
        idle = () if before else viewing.idle(name, only=only or ())
        contested = not before and workspace.recipes.standing(workspace.frame(name)).contested
    write_target(to, data, replace=replace)
    if as_json:
        told = {"path": to, "bytes": len(data), "contested": contested, "too_fine": fine, "idle": idle}
        print_json(told | ({"levels": levels} if histogram else {}))
        return
    report = Report()
    report.say(f"Written: {shown(str(to))}")
    if fine:
        report.say(f"Hardly visible at this size: sharpness, on detail of {fine.pixels:.2g} pixels here. "
                   f"{_way_to_see(fine.size)}", "yellow")  # fmt: skip
    for each in idle:
        report.say(f"Takes no part in this frame: {each.operator}, {each.why}.", "yellow")
    if contested:
        report.say("Contested: two versions claim to be current, the newest is shown. "
                   "`noctuary recipe settle FRAME --show` lists both.", "yellow")  # fmt: skip
    for level in levels:
        report.console.print(levels_lines(level))


def gallery(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder for the pages and pictures.")],
    samples: Annotated[
        Path | None,
        typer.Option("--samples", metavar="FOLDER", help="Raw files to show as well, also in folders of it."),
    ] = None,
    size: Annotated[
        int, typer.Option("--size", metavar="PIXELS", help="Longer side of the pictures in pixels.")
    ] = 1200,
    as_json: JsonOption = False,
) -> None:
    """Show what every operator does: pages of pictures, each before, after, and low, mid and high.

    Interrupted, run it again: it goes on.

    Example: noctuary gallery ~/noctuary-gallery --samples ~/raws
    """
    from archive.demo.gallery import make_gallery

    if samples is not None and not samples.is_dir():
        raise UsageError(f"{shown(str(samples))} is no folder.", hint="Name a folder of raw files.")
    with Running(quiet=as_json) as running:
        made = make_gallery(
            folder, samples=samples, size=size,
            progress=lambda name, done, total: running(f"Developing {name}", done, total),
        )  # fmt: skip
    if as_json:
        print_json(made)
    else:
        report = Report()
        report.say(f"{made.pictures} pictures of {made.frames} frames: {made.index}", "bold")
        for note in made.failed:
            report.say(f"  {note.path}  {note.text}")
    ended(Exit.ATTENTION if made.failed else Exit.DONE)


def show_curve(name: str, archive: Path | None, *, in_sequence: bool, to: Path | None, as_json: bool) -> None:
    """Draw the tone response of a frame's recipe, on the terminal or as a chart in a file."""
    from archive.workspace import check_target, write_target

    if to is not None:
        check_target(to)
    with opened(archive) as workspace:
        tone = workspace.exports.viewing.tone(name, in_sequence=in_sequence)
    if to is not None:
        write_target(to, tone_chart(tone, to))
    if as_json:
        print_json(tone)
        return
    report = Report()
    if to is None:
        report.console.print(tone_lines(tone))
    else:
        report.say(f"Written: {shown(str(to))}")


def _way_to_see(size: int | None) -> str:
    if size is None:
        return "This frame has no pixels fine enough to show it, so that a larger sharpness.radius is needed."
    return f"Look with --size {size} or more, or at an export of full size."


def add_to(app: typer.Typer) -> None:
    for command in (preview, gallery):
        app.command()(command)
