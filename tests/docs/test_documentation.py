"""What is promised in help and documents is there and runs."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer
from support.commands import ROOT, run, surroundings

from archive.engine import operator
from archive.views.cli.app import app

README = ROOT / "README.md"
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))
_BLOCK = re.compile(r"^```sh run[^\n]*\n(.*?)^```", re.MULTILINE | re.DOTALL)


def commands(group: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command that can be typed, with its words."""
    below = getattr(group, "commands", None)
    if below is None:
        yield words, group
    for name, command in (below or {}).items():
        yield from commands(command, (*words, name))


def groups(group: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every group below another, with its words."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield (*words, name), command
            yield from groups(command, (*words, name))


ROOT_COMMAND: Any = typer.main.get_command(app)
ALL = dict(commands(ROOT_COMMAND))
GROUPS = dict(groups(ROOT_COMMAND))


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_every_command_says_what_it_does_and_shows_an_example_of_itself(words: tuple[str, ...]) -> None:
    text = ALL[words].help or ""
    assert len(text.splitlines()[0].split()) >= 2
    (example,) = re.findall(r"^\s*Example: (.+)$", text, re.MULTILINE)
    typed = shlex.split(example)
    assert typed[: 1 + len(words)] == ["noctuary", *words]


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_every_example_can_be_parsed_by_its_own_command(words: tuple[str, ...]) -> None:
    (example,) = re.findall(r"^\s*Example: (.+)$", ALL[words].help or "", re.MULTILINE)
    rest = shlex.split(example)[1 + len(words) :]
    ALL[words].make_context(" ".join(words), rest, resilient_parsing=False)


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_every_option_and_argument_has_help(words: tuple[str, ...]) -> None:
    for parameter in ALL[words].params:
        assert getattr(parameter, "help", None), f"{' '.join(words)}: {parameter.name}"


@pytest.mark.parametrize("words", GROUPS, ids=" ".join)
def test_every_group_says_what_it_is_for_and_shows_an_example_of_one_of_its_commands(
    words: tuple[str, ...],
) -> None:
    text = GROUPS[words].help or ""
    assert len(text.splitlines()[0].split()) >= 2
    (example,) = re.findall(r"^\s*Example: (.+)$", text, re.MULTILINE)
    typed = shlex.split(example)
    assert typed[: 1 + len(words)] == ["noctuary", *words]
    below = next(
        command for length in (2, 1) if (command := tuple(typed[1 : 1 + len(words) + length])) in ALL
    )
    ALL[below].make_context(" ".join(below), typed[1 + len(below) :], resilient_parsing=False)


@pytest.mark.parametrize("words", [(), *GROUPS, *ALL], ids=" ".join)
def test_no_help_shows_types_or_brackets_of_the_library(words: tuple[str, ...]) -> None:
    command = {(): ROOT_COMMAND, **GROUPS, **ALL}[words]
    context = command.make_context("noctuary", [], resilient_parsing=True)
    text = command.get_help(context)
    assert not re.findall(r"<(?:str|int|float|path|list|bool)|\[\[|\]\]|\{[A-Za-z]+…?\}", text)


@pytest.mark.parametrize("words", [(), *GROUPS, *ALL], ids=" ".join)
def test_no_help_prints_marks_of_its_own_layout(words: tuple[str, ...]) -> None:
    """A raw docstring once showed the mark for `keep these lines` as two letters, and lines ran together."""
    command = {(): ROOT_COMMAND, **GROUPS, **ALL}[words]
    text = command.get_help(command.make_context("noctuary", [], resilient_parsing=True))
    assert "\\b" not in text
    assert "\b" not in text


def test_the_help_of_find_has_a_line_for_each_form(tmp_path: Path) -> None:
    lines = run("find", "--help", folder=tmp_path).out.splitlines()
    for form in ("field:value", "field>=10", "field:10..20", '"quoted"'):
        assert [form] == [line.split()[0] for line in lines if form in line]
    assert any('\\" and \\\\ inside it' in line for line in lines)


def test_every_command_stands_under_one_heading_of_the_help() -> None:
    headed = [name for _, names in ROOT_COMMAND.sections for name in names]
    assert len(headed) == len(set(headed))
    assert set(ROOT_COMMAND.commands) - set(headed) == {"demo"}
    assert set(headed) <= set(ROOT_COMMAND.commands)


def test_the_readme_mentions_every_command_that_people_need() -> None:
    text = README.read_text()
    missing = {words[0] for words in ALL if f"noctuary {words[0]}" not in text}
    assert missing <= {"operators", "specs", "keyword", "preview", "demo"}


def test_the_exit_codes_are_told_in_the_help(tmp_path: Path) -> None:
    text = " ".join(run("--help", folder=tmp_path).out.split())
    for code, meaning in ((0, "done"), (1, "done, but something needs you"), (2, "wrong usage")):
        assert f"{code} {meaning}" in text
    assert "3 refused, nothing changed" in text


def test_every_operator_and_parameter_is_listed_with_its_range(tmp_path: Path) -> None:
    described = {each["name"]: each for each in run("operators", "--json", folder=tmp_path).json}
    declared = operator.declarations()
    assert [each.name for each in declared] == list(described)
    assert declared
    for each in declared:
        parameters = {p["name"]: p for p in described[each.name]["parameters"]}
        assert [p.name for p in each.parameters] == list(parameters)
        for parameter in parameters.values():
            assert re.search("neutral|none by default", parameter["range"])
            assert parameter["help"]


@pytest.mark.slow
@pytest.mark.parametrize("block", _BLOCK.findall(README.read_text()))
def test_every_runnable_block_of_the_readme_runs(block: str, tmp_path: Path) -> None:
    shim = tmp_path / "bin" / "noctuary"
    shim.parent.mkdir()
    shim.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m archive.views.cli.app "$@"\n')
    shim.chmod(0o755)
    work = tmp_path / "work"
    work.mkdir()
    environment = surroundings(HOME=str(work))
    environment["PATH"] = f"{shim.parent}:{environment['PATH']}"
    ran = subprocess.run(
        ["sh", "-eu", "-c", block], cwd=work, env=environment, capture_output=True, text=True, timeout=240
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.slow
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.name)
def test_every_example_program_runs(example: Path, tmp_path: Path) -> None:
    ran = subprocess.run(
        [sys.executable, str(example), str(tmp_path / "new")],
        env=surroundings(),
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=240,
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.strip()
    assert ran.stderr == ""
