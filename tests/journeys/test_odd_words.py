"""Every command given words that no archive can mean: refused in words, never a fault of a library."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import typer
from support.exports import Studio, studio

from archive.errors import ArchiveError
from archive.views.cli.app import app

APART = {"demo", "gallery", "new", "recipe"}
"""The first take no name of anything held, and make much; recipes find frames as the others do."""


def commands(group: Any, before: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    for name, command in sorted(group.commands.items()):
        if name in APART:
            continue
        if hasattr(command, "commands"):
            yield from commands(command, (*before, name))
        elif any(each.param_type_name == "argument" for each in command.params):
            yield (*before, name), command


COMMANDS = dict(commands(typer.main.get_command(app)))


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    made = studio(tmp_path_factory.mktemp("odd"))
    made.workspace.close()
    return made


pytestmark = pytest.mark.slow


@pytest.mark.parametrize("words", sorted(COMMANDS), ids=" ".join)
def test_words_that_nothing_is_called_by_end_in_an_answer_or_a_refusal(
    words: tuple[str, ...], place: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(place.root)
    typed = list(words)
    for param in COMMANDS[words].params:
        if param.param_type_name == "argument":
            typed.append("\udcff")
        elif param.required:
            typed += [param.opts[-1], "\udcff"]
    try:
        app(typed, standalone_mode=False)
    except (ArchiveError, SystemExit, OSError):
        # The system's own refusals are told in words by the command line.
        pass
    except Exception as refused:
        # What the parser of the command line refuses, it refuses with an exit code and words.
        if not (hasattr(refused, "exit_code") and hasattr(refused, "format_message")):
            raise
    capsys.readouterr()
