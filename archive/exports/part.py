"""Exports, lineage and regeneration of one archive."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from archive.catalogue.books import Books
from archive.catalogue.lineage import derivatives
from archive.catalogue.pairs import frames_now
from archive.catalogue.resolve import find
from archive.engine import operator
from archive.engine.foundation import GENERATION, current_foundation
from archive.errors import UsageError, shown
from archive.exports.lineage import lineage_of
from archive.exports.ordered import default_threads
from archive.exports.plan import make_plan
from archive.exports.regenerate import regenerate_exact
from archive.exports.run import run_export
from archive.exports.specs import spec_named
from archive.exports.stale import Checker
from archive.exports.viewing import Viewing
from archive.model.product import Derivative
from archive.model.results import ExportReport, LineageAnswer, StaleLine

Progress = Callable[[str, int, int], None]


def silent(_stage: str, _done: int, _total: int) -> None:
    """For callers that show no progress."""


class Exports:
    """What leaves the house, and what it was made of; ``viewing`` looks at frames without making anything."""

    def __init__(self, books: Books) -> None:
        self._books = books
        self._foundation = current_foundation()
        self._threads = default_threads()
        self.viewing = Viewing(books, self._foundation, self._threads)

    def export(
        self, name: str, spec_name: str, *, strict: bool = False, progress: Progress = silent
    ) -> ExportReport:
        """Make what a spec asks of the named frames; what is there already is left as it is.

        Raises
        ------
        UsageError : for an unknown spec or name, or a movie of a single frame.
        ArchiveError : for a contested recipe under ``strict``.
        """
        spec = spec_named(spec_name)
        found = find(self._books.catalogue, name)
        plan = make_plan(self._books, found.frames, found.sequence, spec, self._foundation, strict=strict)
        return run_export(self._books, plan, threads=self._threads, progress=progress)

    def stale(self) -> list[StaleLine]:
        """The derivatives that are no longer what would be made now, each with its reason."""
        return self._checker().lines()

    def _checker(self) -> Checker:
        return Checker(
            books=self._books,
            foundation=self._foundation,
            generations=(GENERATION,),
            describe=operator.describe_change,
        )

    def regenerate(
        self, names: Sequence[str], *, current: bool = False, progress: Progress = silent
    ) -> list[ExportReport]:
        """Make derivatives again: exactly as recorded, or as they would be ``current``ly.

        Without names, current regeneration takes all that are stale, exact regeneration all that are
        missing.

        Raises
        ------
        UsageError : when a name is no derivative's.
        """
        chosen = [self._derivative(name) for name in names] if names else self._due(current=current)
        if not chosen:
            return []
        if not current:
            return [regenerate_exact(self._books, chosen, threads=self._threads, progress=progress)]
        return [
            run_export(self._books, plan, threads=self._threads, progress=progress)
            for plan in self._current_plans(chosen)
        ]

    def _due(self, *, current: bool) -> list[Derivative]:
        state = "stale" if current else "missing"
        paths = {line.path for line in self.stale() if line.state == state}
        return [derivative for derivative in self._checker().newest() if derivative.path in paths]

    def _current_plans(self, chosen: Sequence[Derivative]) -> list[Any]:
        """One plan for each derivative's frames and spec; the frames of one set stay together."""
        sets: dict[tuple[Any, ...], list[Derivative]] = {}
        for derivative in chosen:
            alone = derivative.spec.product != "set"
            folder = derivative.path.rpartition("/")[0]
            sets.setdefault((derivative.spec.name, derivative.path if alone else folder), []).append(
                derivative
            )
        sequences = {line.key: line for line in self._books.catalogue.sequences()}
        plans = []
        for (_, place), members in sets.items():
            if members[0].spec.product == "set":
                members = [
                    d for d in derivatives(self._books.catalogue) if d.path.rpartition("/")[0] == place
                ]
            # Paths carry the numbers of a set's frames: a frame that came later is not the last one.
            ordered = sorted(members, key=lambda derivative: derivative.path)
            ids = [origin.frame for derivative in ordered for origin in derivative.origins]
            known = frames_now(self._books.catalogue, ids)
            frames = list({known[frame].id: known[frame] for frame in ids if frame in known}.values())
            keys = {frame.sequence for frame in frames}
            sequence = sequences.get(keys.pop() or "") if len(keys) == 1 else None
            plans.append(make_plan(self._books, frames, sequence, members[0].spec, self._foundation))
        return plans

    def _derivative(self, name: str) -> Derivative:
        """The derivative at a path below the volume, or at any path that ends in it.

        Raises
        ------
        UsageError : when none is on record there.
        """
        root = str(self._books.home.root)
        path = shown(name.removeprefix(root).lstrip("/"))
        found = derivatives(self._books.catalogue, path=path) or [
            d for d in derivatives(self._books.catalogue) if d.path.rpartition("/")[2] == name
        ]
        if not found:
            raise UsageError(
                f"{shown(name)} is no derivative on record.",
                hint="Name it as `noctuary stale` or `noctuary lineage` show it; a renamed copy is found by "
                "`noctuary lineage FILE`.",
            )
        return found[-1]

    def lineage(self, asked: str) -> LineageAnswer:
        """Where a file came from, or what came from a frame.

        Raises
        ------
        UsageError : when nothing is known of it.
        """
        answer = lineage_of(self._books, asked, operator.in_words)
        if answer.path is None:
            return answer
        lines = self._checker().lines(derivatives(self._books.catalogue, path=answer.path)[-1:])
        state = f"{lines[0].state}: {lines[0].reason}" if lines else "fresh"
        return replace(answer, state=state)
