"""Options that several commands share, and how a command opens its archive and ends."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from archive.errors import Exit, UsageError, shown
from archive.views.cli.running import Running

if TYPE_CHECKING:
    from archive.workspace import Workspace

ArchiveOption = Annotated[
    Path | None,
    typer.Option(
        "--archive",
        "-a",
        metavar="FOLDER",
        help="The archive; by default the one in NOCTUARY_ARCHIVE, or the one this folder lies in.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for scripts.")]
PersonOption = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="NAME", help="Who decides, as written into the journal; your login by default."
    ),
]
SharedOption = Annotated[
    bool,
    typer.Option("--shared", help="Change what the named frames share, instead of one frame's own recipe."),
]
NoteOption = Annotated[str, typer.Option("--note", help="Why, in a few words.")]
AlsoOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--also",
        metavar="VOLUME",
        help="A further volume of the archive to use; an empty or new folder becomes one.",
    ),
]


@contextmanager
def opened(
    archive: Path | None,
    *,
    also: Sequence[Path] | None = None,
    person: str | None = None,
    anew: bool = False,
) -> Iterator[Workspace]:
    """The archive a command works in, closed at its end."""
    # Imported here so that help appears without loading databases and pictures.
    from archive.workspace import open_archive

    with open_archive(archive, also=also or (), person=person, anew=anew) as workspace:
        yield workspace


def span_of(text: str) -> timedelta:
    """A span of time as people write it: a whole number and m, h, d or w.

    Raises
    ------
    UsageError : when it is none.
    """
    match = re.fullmatch(r"\s*(\d{1,6})\s*([mhdw])\s*", text.lower())
    if match is None:
        raise UsageError(
            f"{shown(text)} is not a span of time.",
            hint="Nothing was changed. Write it like 30d (days), 12h (hours), 90m (minutes) or 2w (weeks).",
        )
    unit = {"m": "minutes", "h": "hours", "d": "days", "w": "weeks"}[match[2]]
    return timedelta(**{unit: int(match[1])})


def region_of(text: str) -> tuple[float, float, float, float]:
    """A part of a picture as people write it: left, top, right and bottom as shares 0 to 1.

    Raises
    ------
    UsageError : when it is none.
    """
    try:
        left, top, right, bottom = (float(part) for part in text.split(","))
        if not (0 <= left < right <= 1 and 0 <= top < bottom <= 1):
            raise ValueError
    except ValueError:
        raise UsageError(
            f"{shown(text)} is no region.",
            hint="Nothing was changed. Give left, top, right and bottom as shares, such as 0,0.8,1,1.",
        ) from None
    return left, top, right, bottom


def ended(code: Exit) -> None:
    """End a command with its code."""
    if code is not Exit.DONE:
        raise typer.Exit(int(code))


__all__ = [
    "AlsoOption",
    "ArchiveOption",
    "JsonOption",
    "NoteOption",
    "PersonOption",
    "Running",
    "SharedOption",
    "ended",
    "opened",
    "region_of",
    "span_of",
]
