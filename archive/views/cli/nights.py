"""Commands that look at what is held, and say what people think of it."""

from __future__ import annotations

from typing import Annotated

import typer

from archive.errors import UsageError, counted
from archive.views.cli.options import ArchiveOption, JsonOption, PersonOption, opened
from archive.views.clocks import correction_in_words
from archive.views.nightreport import tell_frames, tell_nights, tell_sequences, tell_story
from archive.views.plain import plain, print_json
from archive.views.recipereport import text_rows
from archive.views.report import Report
from archive.views.skyreport import frame_sky_rows, night_columns
from archive.views.tonechart import levels_lines

FrameArgument = Annotated[
    str,
    typer.Argument(
        metavar="FRAME", help="NIGHT/CAMERA/NUMBER#FRAME, a camera file name, or 8 digits of an id."
    ),
]


_FEW = 40
"""So many are listed with sky or brightness unless told otherwise: each takes some milliseconds."""


def nights(
    sky: Annotated[
        bool | None,
        typer.Option("--sky/--no-sky", help="With darkness and moon; by default if they are few."),
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the nights held, with their sites, cameras and frames, when it was dark, and the moon.

    Example: noctuary nights
    """
    with opened(archive) as workspace:
        lines = workspace.nights()
        if sky or (sky is None and len(lines) <= _FEW):
            lines = workspace.skies.told(lines)
    print_json(lines) if as_json else tell_nights(Report(), lines, night_columns(lines))


def sequences(
    night: Annotated[str | None, typer.Argument(metavar="[NIGHT]", help="Only of this night.")] = None,
    curves: Annotated[
        bool | None,
        typer.Option("--curves/--no-curves", help="With surveyed brightness; by default if they are few."),
    ] = None,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the sequences: how many frames at which cadence, how long they play, how brightness ran.

    Example: noctuary sequences 2026-03-18
    """
    with opened(archive) as workspace:
        lines = workspace.sequences(night)
        if curves or (curves is None and len(lines) <= _FEW):
            lines = workspace.courses.told(lines)
    print_json(lines) if as_json else tell_sequences(Report(), lines, night)


def frames(
    name: Annotated[
        str, typer.Argument(metavar="WHICH", help="A night, a camera in it, a sequence, or a part.")
    ],
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """List frames with their times, settings and ratings. A ? marks a time that is not certain.

    Example: noctuary frames 2026-03-18/north/1#40..60
    """
    with opened(archive) as workspace:
        lines = workspace.frames(name)
    print_json(lines) if as_json else tell_frames(Report(), lines)


def show(
    name: FrameArgument,
    histogram: Annotated[
        bool, typer.Option("--histogram", help="Also show the levels of its raw counts and its picture.")
    ] = False,
    archive: ArchiveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell the whole story of one frame: facts, sky, copies, recipe, versions, and what was made of it.

    Example: noctuary show 2026-03-18/north/1#40
    """
    with opened(archive) as workspace:
        story = workspace.story(name)
        levels = workspace.exports.viewing.levels(name) if histogram else ()
    if as_json:
        print_json({**plain(story), "levels": plain(levels)} if histogram else story)
        return
    report = Report()
    rows = [*frame_sky_rows(story), *text_rows(story)]
    tell_story(report, story, rows)
    for each in levels:
        report.console.print(levels_lines(each))


def rate(
    names: Annotated[list[str], typer.Argument(metavar="FRAME…", help="Frames, sequences or parts of them.")],
    rating: Annotated[int, typer.Option("--rating", "-r", metavar="N", help="-1 rejected, 0 none, 1 to 5.")],
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rate frames.

    Example: noctuary rate 2026-03-18/north/1#58 --rating 5
    """
    with opened(archive, person=person) as workspace:
        rated = workspace.statements.rate(names, rating)
    if as_json:
        print_json({"frames": [frame.id for frame in rated], "rating": rating})
    else:
        Report().say(f"{counted(len(rated), 'frame')} rated {rating}.")


def keyword(
    names: Annotated[list[str], typer.Argument(metavar="FRAME…", help="Frames, sequences or parts of them.")],
    word: Annotated[str, typer.Option("--word", "-w", help="The keyword.")],
    off: Annotated[bool, typer.Option("--off", help="Take it off instead.")] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Give frames a keyword, or take it off.

    Example: noctuary keyword 2026-03-18/river/1 --word "river ice"
    """
    with opened(archive, person=person) as workspace:
        marked = workspace.statements.keyword(names, word, on=not off)
    if as_json:
        print_json({"frames": [frame.id for frame in marked], "word": word, "on": not off})
    else:
        Report().say(f"{word} {'taken off' if off else 'given to'} {counted(len(marked), 'frame')}.")


def clock(
    camera: Annotated[str, typer.Argument(metavar="CAMERA", help="The camera's short name.")],
    reads: Annotated[
        str | None, typer.Option("--reads", metavar="TIME", help="What the camera's clock read …")
    ] = None,
    true: Annotated[
        str | None, typer.Option("--true", metavar="TIME", help="… when it was really this time.")
    ] = None,
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="Only from this reading on.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="TIME", help="Only up to this reading.")
    ] = None,
    drift: Annotated[
        float, typer.Option("--drift", metavar="SECONDS", help="Seconds that the clock gains a day.")
    ] = 0.0,
    off: Annotated[bool, typer.Option("--off", help="Take the correction of that span back.")] = False,
    archive: ArchiveOption = None,
    person: PersonOption = None,
    as_json: JsonOption = False,
) -> None:
    """Correct a camera's clock from a photographed one. Listings and nights move; no picture changes.

    Without --reads and --true it lists the corrections that count. Times without an offset are meant in the
    zone of the site where the camera was then. `noctuary clock-check` finds clocks that are wrong.

    Example: noctuary clock river --reads 2026-03-18T21:00:00 --true 2026-03-18T21:01:12
    """
    if off and (reads or true):
        raise UsageError("--off takes no --reads and --true.", hint="Nothing was changed.")
    if bool(reads) != bool(true):
        raise UsageError("--reads and --true belong together.", hint="Nothing was changed. Give both.")
    with opened(archive, person=person) as workspace:
        body = workspace.statements.camera_named(camera)
        if off:
            told = [workspace.statements.withdraw_clock(body, since=since, until=until)]
        elif reads and true:
            told = [
                workspace.statements.set_clock(
                    body, reads=reads, true=true, since=since, until=until, drift=drift
                )
            ]
        else:
            told = workspace.statements.clocks(body)
    if as_json:
        print_json(told[0] if reads or off else told)
        return
    if not told:
        Report().say(f"{body.name}: no correction counts.")
    for correction in told:
        Report().say(f"{body.name}: {correction_in_words(correction, off=off)}")


def add_to(app: typer.Typer) -> None:
    for command in (nights, sequences, frames, show, rate, keyword, clock):
        app.command()(command)
