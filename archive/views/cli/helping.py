"""How help reads: plain words for what to type, an example for every group, commands by the job they do."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

Section = tuple[str, tuple[str, ...]]


class Command(TyperCommand):
    """A command whose help names each argument and value by one plain word."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        arguments = [usage_word(param) for param in self.get_params(ctx) if is_argument(param)]
        return ["[OPTIONS]", *arguments]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        _write_parameters(self, ctx, formatter)


class Group(TyperGroup):
    """A group of commands whose help lists them, by headings where it has ``sections``."""

    sections: Sequence[Section] = ()

    def format_options(self, ctx: Any, formatter: Any) -> None:
        _write_parameters(self, ctx, formatter)
        self.format_commands(ctx, formatter)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Commands under their headings, then those that have none."""
        headed = {name for _, names in self.sections for name in names}
        others = tuple(name for name in self.list_commands(ctx) if name not in headed)
        found = [*self.sections, ("More" if self.sections else "Commands", others)]
        longest = max((len(name) for name in self.list_commands(ctx)), default=0)
        for heading, names in found:
            rows = [(name, each) for name in names if (each := self.get_command(ctx, name))]
            if not rows:
                continue
            with formatter.section(heading):
                limit = formatter.width - 6 - longest
                # Padded alike, so that the columns of all sections stand below each other.
                formatter.write_dl([(name.ljust(longest), gist(each, limit)) for name, each in rows])


class Commands(typer.Typer):
    """A set of commands whose helps read so; called without any, it shows its own."""

    def __init__(self, *, cls: type[Group] = Group, **given: Any) -> None:
        super().__init__(cls=cls, no_args_is_help=True, rich_markup_mode=None, **given)

    def command(self, name: str | None = None, **given: Any) -> Callable[[Any], Any]:
        return super().command(name, cls=Command, **given)


def gist(command: Any, limit: int) -> str:
    """What a command does in one sentence; without what comes after a colon where that is too long."""
    sentence = " ".join((command.help or "").split("\n\n")[0].split()).partition(". ")[0].rstrip(".")
    return sentence if len(sentence) <= limit else re.split(r"[:;] ", sentence)[0]


def is_argument(param: Any) -> bool:
    return bool(param.param_type_name == "argument")


def word(param: Any) -> str:
    """What stands for a parameter's value: FRAME, FRAME… where there may be several."""
    named = (param.metavar or param.name.replace("_", "-").upper()).strip("[]")
    several = is_argument(param) and param.nargs != 1 and not named.endswith("…")
    return f"{named}…" if several else named


def usage_word(param: Any) -> str:
    """An argument as the usage line shows it, in brackets where it can be left out."""
    return word(param) if param.required else f"[{word(param)}]"


def _write_parameters(command: Any, ctx: Any, formatter: Any) -> None:
    params = [param for param in command.get_params(ctx) if not getattr(param, "hidden", False)]
    for heading, wanted in (("Arguments", True), ("Options", False)):
        rows = [_row(param) for param in params if is_argument(param) is wanted]
        if rows:
            with formatter.section(heading):
                formatter.write_dl(rows)


def _row(param: Any) -> tuple[str, str]:
    if is_argument(param):
        name = word(param)
    else:
        name = ", ".join(sorted(param.opts, key=len))
        if param.secondary_opts:
            name += " / " + ", ".join(param.secondary_opts)
        if not param.is_flag and not getattr(param, "count", False):
            name += f" {word(param)}"
    remarks = "; ".join(_remarks(param))
    return name, f"{param.help or ''}{f'  [{remarks}]' if remarks else ''}"


def _limit(param: Any, end: str) -> Any:
    """The least or greatest value; releases of the library keep it at the parameter or at its type."""
    at = getattr(param, end, None)
    return getattr(getattr(param, "type", None), end, None) if at is None else at


def _remarks(param: Any) -> Iterator[str]:
    """What a value must be, and what it is if none is given."""
    if param.required:
        yield "required"
    low, high = _limit(param, "min"), _limit(param, "max")
    if low is not None and high is not None:
        yield f"{low} to {high}"
    elif low is not None or high is not None:
        yield f"at most {high}" if low is None else f"at least {low}"
    default = param.default
    if is_argument(param) or not param.is_flag:
        told = default is not None and default not in ("", (), []) and not callable(default)
        if told and not param.required:
            yield f"default {default}"
    elif param.secondary_opts and isinstance(default, bool):
        yield f"default {(param.opts if default else param.secondary_opts)[0].lstrip('-')}"
