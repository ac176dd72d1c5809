"""Help in plain words."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import pytest
import typer
from typer.testing import CliRunner

from archive.views.cli.helping import Commands, Group


class Sorted(Group):
    sections = (("Kitchen", ("boil",)), ("Nothing here", ("missing",)))


def boil(
    what: Annotated[list[str], typer.Argument(help="Eggs.")],
    pan: Annotated[Path | None, typer.Argument(metavar="[PAN]", help="In which.")] = None,
    minutes: Annotated[
        int, typer.Option("--minutes", "-m", metavar="N", min=1, max=60, help="How long.")
    ] = 7,
    least: Annotated[int, typer.Option("--least", min=0, help="At least.")] = 0,
    salt: Annotated[bool, typer.Option("--salt/--plain", help="With salt.")] = True,
    lid: Annotated[bool, typer.Option("--lid", help="With a lid.")] = False,
    secret: Annotated[str, typer.Option("--secret", hidden=True)] = "",
) -> None:
    """Boil eggs: by the minute, in one pan or in several, with or without salt. Mind the steam."""


def wash() -> None:
    """Wash up."""


@pytest.fixture
def told() -> Any:
    app = Commands(cls=Sorted, add_completion=False)
    app.command()(boil)
    app.command()(wash)

    def run(*words: str) -> str:
        return CliRunner().invoke(app, list(words), env={"COLUMNS": "80"}).output

    return run


def test_arguments_and_values_are_plain_words(told: Any) -> None:
    text = told("boil", "--help")
    assert "boil [OPTIONS] WHAT… [PAN]" in text.splitlines()[0]
    rows = " ".join(text.split())
    for part in (
        "WHAT… Eggs. [required]",
        "PAN In which.",
        "-m, --minutes N How long. [1 to 60; default 7]",
        "--least LEAST At least. [at least 0; default 0]",
        "--salt / --plain With salt. [default salt]",
        "--lid With a lid. --help",
    ):
        assert part in rows
    assert "secret" not in text


def test_commands_stand_under_their_headings_and_the_others_after_them(told: Any) -> None:
    lines = told("--help").splitlines()
    at = lines.index("Kitchen:")
    assert lines[at : at + 5] == ["Kitchen:", "  boil  Boil eggs", "", "More:", "  wash  Wash up"]
    assert "Nothing here:" not in lines


def test_a_group_without_headings_lists_its_commands_and_is_shown_when_none_is_named() -> None:
    app = Commands(add_completion=False)
    app.command()(wash)
    app.command("boil")(boil)
    text = CliRunner().invoke(app, [], env={"COLUMNS": "80"}).output
    assert text.splitlines()[-3:] == ["Commands:", "  wash  Wash up", "  boil  Boil eggs"]
