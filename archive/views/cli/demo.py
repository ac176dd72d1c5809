"""The demo: the whole story of a night, played with the real commands on cards that are made for it."""

from __future__ import annotations

import shlex
import sys
import time
from contextlib import nullcontext, redirect_stdout
from pathlib import Path
from typing import Annotated

import typer
from rich.rule import Rule
from rich.text import Text

from archive.errors import UsageError, shown
from archive.views.cli.options import JsonOption, Running
from archive.views.plain import print_json
from archive.views.report import Report


def demo(
    folder: Annotated[
        Path, typer.Argument(help="A new or empty folder for cards, archive and pictures.")
    ] = Path("noctuary-demo"),
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", help="Another number makes another night.")
    ] = 20260318,
    frames: Annotated[
        int, typer.Option("--frames", metavar="N", min=12, max=999, help="Frames in each sequence.")
    ] = 90,
    size: Annotated[
        str, typer.Option("--size", metavar="WIDTHxHEIGHT", help="Frame size in pixels.")
    ] = "840x560",
    as_json: JsonOption = False,
) -> None:
    """Play a whole night, from two camera cards to a movie and back to its masters.

    Example: noctuary demo /tmp/a-night
    """
    # For scripts the story itself goes to the error stream, as progress does.
    with redirect_stdout(sys.stderr) if as_json else nullcontext():
        try:
            seconds = _play(folder, seed, frames, size)
        except BaseException as stopped:
            stopped.add_note(
                f"What is in {shown(str(folder))} is a part of the story. Remove it, or name another folder."
            )
            raise
    if as_json:
        print_json(
            {"folder": folder, "seconds": round(seconds, 1), "places": [p for p, _ in _places(folder)]}
        )


def _play(folder: Path, seed: int, frames: int, size: str) -> float:
    """The whole story; answers how many seconds it took."""
    from archive.demo.cards import write_cards
    from archive.demo.story import tell
    from archive.workspace import check_outside

    width, height = _size(size)
    check_outside(folder / "cards")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(
            f"{shown(str(folder))} already holds something.",
            hint="Nothing was changed. Name a new or an empty folder: noctuary demo FOLDER",
        )
    begun = time.monotonic()
    report = Report()
    report.say(
        "A night in March, 69° north: two cameras on a frozen river, and an aurora that breaks up.", "bold"
    )
    report.say("Everything below is done by the commands shown; you can type them yourself afterwards.\n")
    with Running() as running:
        night = write_cards(
            folder / "cards",
            seed=seed,
            size=(width, height),
            frames=frames,
            progress=lambda done, total: running("Simulating the night", done, total),
        )
    for scene in tell(folder, night):
        report.console.print()
        report.console.print(Rule(Text(scene.title), align="left"))
        if scene.text:
            report.say(scene.text, "italic")
        for command in scene.commands():
            report.say("\n$ noctuary " + shlex.join(command), "bold cyan")
            _run(command)
        scene.after()
    report.console.print()
    seconds = time.monotonic() - begun
    report.say(f"Played in {seconds:.0f} s. Look at:", "bold")
    for path, what in _places(folder):
        report.say(f"  {path}  {what}")
    return seconds


def _run(command: list[str]) -> None:
    """Run a command as it would be typed; a command that needs someone's attention does not end the story."""
    from archive.views.cli.app import app

    app(command, standalone_mode=False)


def _size(text: str) -> tuple[int, int]:
    width, cross, height = text.lower().partition("x")
    if not cross or not width.isdigit() or not height.isdigit():
        raise UsageError(f"{shown(text)} is no size.", hint="Write it like 960x640.")
    return int(width), int(height)


def _places(folder: Path) -> list[tuple[str, str]]:
    pictures = folder / "pictures"
    listed = sorted(pictures.iterdir()) if pictures.is_dir() else []
    return [
        *((str(path), "") for path in listed),
        (str(folder / "archive" / "START-HERE.html"), "what a stranger would read"),
        (str(folder / "archive"), "masters, journal and exports, to walk through"),
    ]


def add_to(app: typer.Typer) -> None:
    app.command()(demo)
