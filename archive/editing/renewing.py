"""Recipes of older releases brought to this one: operators' newest versions, the present foundation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from archive.editing.bench import NOTHING, Bench
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.journal.wording import changes_in_words
from archive.model.editing import Saved
from archive.model.entry import Version
from archive.model.recipe import OperatorValues, Ramp, Recipe


class Renewing:
    """Tells which recipes are not of this release, and saves them anew when asked to; never by itself."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def pending(self, name: str) -> tuple[str, ...]:
        """What ``renew`` would change for the named frames, in words; nothing where all is of this release.

        Raises
        ------
        ArchiveError : a recipe names an operator that a newer release has.
        """
        standing = self._bench.standings(self._bench.several(name))
        words: dict[str, None] = {}
        for each in standing.values():
            for version in (*_speaking(each.own), *_speaking(each.shared)):
                words |= dict.fromkeys(self._words(version.recipe, self._renewed(version.recipe)))
        return tuple(words)

    def renew(self, name: str, *, note: str = "") -> list[Saved]:
        """Save what the named frames have of their own and what they share on this release's foundation.

        Every operator takes its newest version; values that it still has stay, new ones are neutral. Older
        versions stay in the history, so that what was made by them can be told, and made by the release that
        made them.

        Raises
        ------
        UsageError : a value or a ramp of an older version has no place in the newest.
        ArchiveError : a recipe names an operator that a newer release has.
        """
        frames = self._bench.several(name)
        standing = self._bench.standings(frames)
        # All of them are made before the first is saved, so that a fault leaves everything as it was.
        own = [
            (frame, self._renewed(version.recipe))
            for frame in frames
            for version in _speaking(standing[frame.id].own)
        ]
        sharing = [frame for frame in frames if _speaking(standing[frame.id].shared)]
        for frame in sharing:
            self._renewed(standing[frame.id].shared[0].recipe)
        saved = [
            self._bench.save_own(frame, standing[frame.id], recipe, note=note)
            for frame, recipe in own
            if recipe != standing[frame.id].own[0].recipe
        ]
        if sharing:
            saved.append(self._bench.share(sharing, self._renewed_share, note=note))
        return [each for each in saved if each.entry is not None]

    def _renewed_share(self, before: Recipe | None, _version: Version | None) -> Recipe:
        return self._renewed(before) if before else Recipe(foundation=self._bench.foundation)

    def _renewed(self, recipe: Recipe) -> Recipe:
        finish = recipe.finish
        if finish is not None:
            finish = tuple(replace(item, step=operator.renewed(item.step)) for item in finish)
        base = tuple(operator.renewed(step) for step in recipe.base)
        for ramp in recipe.ramps:
            _check_kept(ramp, base)
        return replace(recipe, foundation=self._bench.foundation, base=base, finish=finish)

    def _words(self, before: Recipe, after: Recipe) -> list[str]:
        return changes_in_words(before, after, operator.describe_change)


def _speaking(versions: Sequence[Version]) -> tuple[Version, ...]:
    """The version that counts, if it says anything."""
    return tuple(version for version in versions[:1] if not version.recipe.says_nothing)


def _check_kept(ramp: Ramp, base: Sequence[OperatorValues]) -> None:
    name, _, parameter = ramp.parameter.partition(".")
    if any(step.name == name and parameter not in step.values for step in base):
        raise UsageError(
            f"The newest version of {shown(name)} has no {shown(parameter)}, which ramps.",
            hint=f"{NOTHING} End the ramp with `noctuary recipe ramp drop` first.",
        )
