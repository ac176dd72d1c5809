"""The command line's entry: commands in order, errors to words and exit codes, nowhere else."""

from __future__ import annotations

import io
import json
import logging
import os
import signal
import sys
import threading
from types import FrameType
from typing import Annotated

import typer

from archive.errors import ArchiveError, Exit, shown
from archive.views.cli import (
    cards,
    custody,
    demo,
    exports,
    finding,
    nights,
    optics,
    pictures,
    recipes,
    sequences,
    sky,
    survey,
    texts,
    uniting,
)
from archive.views.cli.helping import Commands, Group


class Noctuary(Group):
    """Every command under the job it does."""

    sections = (
        ("Cards and places", ("new", "ingest", "may-erase", "volume", "site", "activity")),
        (
            "Nights and frames",
            (
                "nights",
                "sequences",
                "frames",
                "show",
                "find",
                "queries",
                "rate",
                "keyword",
                "text",
                "sequence",
            ),
        ),
        ("Clocks and sky", ("clock", "clock-check", "sky")),
        ("Survey", ("survey", "suggest", "keogram", "rush", "level")),
        ("Recipes", ("recipe", "preview", "lens", "darks", "operators", "gallery", "journal", "take-back")),
        ("Exports", ("export", "specs", "stale", "regenerate", "lineage")),
        ("Custody", ("audit", "mend", "rebuild", "unite")),
    )


_CODES = " · ".join(f"{int(code)} {code.meaning}" for code in Exit)

app = Commands(
    name="noctuary",
    cls=Noctuary,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Keeps every frame of every night: verified off the card, developed without being touched, "
    "and every picture traceable to its master and recipe.\n\n"
    "Begin with `noctuary demo`, or with `noctuary new NightArchive`.\n\n"
    f"Exit codes: {_CODES}.",
)


def _version(wanted: bool) -> None:
    if wanted:
        import archive

        print(f"noctuary {archive.__version__}")
        raise typer.Exit


@app.callback()
def _start(
    _shown: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    pass


for part in (
    cards,
    nights,
    finding,
    sequences,
    sky,
    survey,
    recipes,
    optics,
    texts,
    pictures,
    exports,
    custody,
    uniting,
    demo,
):
    part.add_to(app)


class _StoppedError(BaseException):
    """Ctrl-C; a kind of its own, so that no library answers it first."""


def main() -> None:
    """Run a command; errors a user can meet become a message, a next step and an exit code."""
    signal.signal(signal.SIGINT, _stop)
    sys.unraisablehook = _thrown_away
    # What a library has to say of an interruption is not the person's to read.
    logging.getLogger("sqlalchemy").addHandler(logging.NullHandler())
    if isinstance(sys.stdout, io.TextIOWrapper):
        # File names hold bytes, and terminals have alphabets, that no encoding of ours can write.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        app()
    except ArchiveError as error:
        _tell(error.message, error.hint)
        sys.exit(int(error.exit_code))
    except _StoppedError as stopped:
        safe = "What was finished is safe and nothing is half-done. Run the same command again: it goes on."
        _tell("Interrupted.", " ".join(getattr(stopped, "__notes__", [safe])))
        sys.exit(130)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        where = f"{shown(os.fsdecode(error.filename))}: " if isinstance(error.filename, (str, bytes)) else ""
        _tell(
            f"{where}{error.strerror or error}.",
            "What was recorded before is safe. Check the path, the drive and its permissions, then run the "
            "same command again.",
        )
        sys.exit(int(Exit.ATTENTION))


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise _StoppedError


def _thrown_away(told: sys.UnraisableHookArgs) -> None:
    """Where Python cannot raise, as while an object is freed, a wish to stop is not lost but said again."""
    if isinstance(told.exc_value, _StoppedError):
        threading.Timer(0.05, _stop_main).start()
    else:
        sys.__unraisablehook__(told)


def _stop_main() -> None:
    """A signal to another thread would let the main one sleep on."""
    main = threading.main_thread().ident
    if main is not None and hasattr(signal, "pthread_kill"):
        signal.pthread_kill(main, signal.SIGINT)
    else:
        signal.raise_signal(signal.SIGINT)


def _tell(message: str, hint: str) -> None:
    if "--json" in sys.argv:
        print(json.dumps({"error": message, "hint": hint}))
    print(f"noctuary: {message}" + (f"\n  {hint}" if hint else ""), file=sys.stderr)


if __name__ == "__main__":
    main()
