"""What the entries of a journal tell of each other: missing ones, writers that are two, clocks set back.

Each writer's entries form a chain by ``previous``. Nothing here decides what counts; it is what a person
should know. It looks at headings only, so that entries which do not count keep chains whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

CLOCK_SLACK_S = 60
"""How far a clock may go back between two entries before it is told of; time servers nudge clocks."""


@dataclass(frozen=True, kw_only=True)
class Link:
    """What one entry says of its place in its writer's chain."""

    id: str
    name: str
    writer: str
    previous: str | None
    time: str


@dataclass(frozen=True, kw_only=True)
class Missing:
    """An entry that others follow and that is not held."""

    id: str
    follower: str


@dataclass(frozen=True, kw_only=True)
class Fork:
    """Entries of one writer that follow the same one: two working copies wrote under one id."""

    writer: str
    previous: str | None
    names: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class SetBack:
    """An entry whose time is before that of the entry its writer wrote before it; ``seconds`` by how much."""

    name: str
    previous: str
    seconds: int


@dataclass(frozen=True, kw_only=True)
class Chains:
    """What was noticed in the chains of all writers, each part by the name of the entry concerned."""

    missing: tuple[Missing, ...] = ()
    forks: tuple[Fork, ...] = ()
    set_back: tuple[SetBack, ...] = ()


def examine(links: Iterable[Link]) -> Chains:
    """What is odd in the chains of these entries, in whatever order they come."""
    held = {link.id: link for link in links}
    followers: dict[tuple[str, str | None], list[str]] = {}
    missing: dict[str, str] = {}
    set_back = []
    for link in held.values():
        followers.setdefault((link.writer, link.previous), []).append(link.name)
        if link.previous is None:
            continue
        before = held.get(link.previous)
        if before is None:
            missing[link.previous] = min(link.name, missing.get(link.previous, link.name))
        elif (seconds := _seconds_back(before.time, link.time)) > CLOCK_SLACK_S:
            set_back.append(SetBack(name=link.name, previous=before.name, seconds=seconds))
    return Chains(
        missing=tuple(Missing(id=each, follower=name) for each, name in sorted(missing.items())),
        forks=tuple(
            sorted(
                (
                    Fork(writer=writer, previous=previous, names=tuple(sorted(names)))
                    for (writer, previous), names in followers.items()
                    if len(names) > 1
                ),
                key=lambda fork: fork.names,
            )
        ),
        set_back=tuple(sorted(set_back, key=lambda each: each.name)),
    )


def _seconds_back(before: str, after: str) -> int:
    # Both are written alike, so most pairs are told apart without reading them as times.
    if before <= after:
        return 0
    try:
        return int((datetime.fromisoformat(before) - datetime.fromisoformat(after)).total_seconds())
    except ValueError:
        return 0
