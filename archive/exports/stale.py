"""Which derivatives are no longer what the present versions would give, and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from archive.catalogue.books import Books
from archive.catalogue.levelling import levels_of
from archive.catalogue.lineage import derivatives, effectives, standings
from archive.catalogue.pairs import frames_now
from archive.engine.declaration import registry
from archive.errors import counted, shown
from archive.exports.plan import Development, file_key_of, present_development
from archive.exports.texts import alike, texts_of
from archive.journal.recipes import Standing
from archive.model.product import Derivative, Texts
from archive.model.recipe import EffectiveRecipe, Foundation, OperatorValues
from archive.model.results import StaleLine

Describe = Callable[[OperatorValues | None, OperatorValues | None], list[str]]


@dataclass(frozen=True, kw_only=True)
class Checker:
    """Compares derivatives with what would be made of the same frames by the same spec now."""

    books: Books
    foundation: Foundation
    generations: Sequence[int]
    describe: Describe

    def newest(self) -> list[Derivative]:
        """Of each picture (spec and frames) the derivative made last; older ones are history."""
        return [made[-1] for made in self._pictures()]

    def _pictures(self) -> list[list[Derivative]]:
        """The derivatives of each picture, oldest first; the pictures by the path of their newest."""
        pictures: dict[tuple[str, tuple[str, ...]], list[Derivative]] = {}
        made = derivatives(self.books.catalogue)
        now = frames_now(self.books.catalogue, (origin.frame for each in made for origin in each.origins))
        for derivative in made:
            frames = tuple(
                now[origin.frame].id if origin.frame in now else origin.frame for origin in derivative.origins
            )
            pictures.setdefault((derivative.spec.name, frames), []).append(derivative)
        return sorted(pictures.values(), key=lambda listed: listed[-1].path)

    def lines(self, chosen: Sequence[Derivative] | None = None) -> list[StaleLine]:
        """One line for each of these derivatives that is not fresh.

        None asks of every picture: one is told of by its newest derivative, unless an older one is what
        would be made now, because a decision was taken back.
        """
        asked = self._pictures() if chosen is None else [[derivative] for derivative in chosen]
        frames = sorted({origin.frame for made in asked for each in made for origin in each.origins})
        standing = standings(self.books.catalogue, frames)
        lines = []
        for *older, newest in asked:
            line = self.line(newest, standing)
            if line.state == "fresh" or any(self.line(each, standing).state == "fresh" for each in older):
                continue
            lines.append(line)
        return lines

    def line(self, derivative: Derivative, standing: dict[str, Standing]) -> StaleLine:
        """How one derivative stands."""
        state, reason, changes = self._state(derivative, standing)
        return StaleLine(path=derivative.path, state=state, reason=reason, changes=tuple(changes))

    def _state(self, derivative: Derivative, standing: dict[str, Standing]) -> tuple[str, str, Sequence[str]]:
        catalogue = self.books.catalogue
        frames = frames_now(catalogue, [origin.frame for origin in derivative.origins])
        if len(frames) < len({origin.frame for origin in derivative.origins}):
            return "unmakeable", "a frame it was made from is not held here", ()
        recorded = effectives(catalogue, sorted({origin.effective for origin in derivative.origins}))
        in_sequence = derivative.spec.product != "still"
        levels = levels_of(catalogue, [frame.id for frame in frames.values()]) if in_sequence else {}
        texts = texts_of(catalogue, [frame.id for frame in frames.values()])
        present = [
            present_development(
                frames[origin.frame],
                standing[origin.frame],
                derivative.spec,
                self.foundation,
                levels.get(frames[origin.frame].id),
                texts[frames[origin.frame].id],
            )
            for origin in derivative.origins
        ]
        unmade = {item.effective.foundation.generation for item in present} - set(self.generations)
        if unmade:
            return "unmakeable", _not_shipped(min(unmade), max(self.generations)), ()
        strange = _beyond_us(item.effective for item in present)
        if strange is not None:
            needed = f"{shown(strange.name)} version {strange.version}"
            return "unmakeable", f"its recipe now needs {needed}, which a newer release knows", ()
        contested = sum(
            standing[origin.frame].contested_for(in_sequence=in_sequence) for origin in derivative.origins
        )
        if contested:
            have = counted(contested, "of its frames has", "of its frames have")
            return "contested", f"{have} two current recipes", ()
        if file_key_of(present, derivative.spec) != derivative.file_key:
            words: dict[str, None] = {}
            changed = 0
            for origin, item in zip(derivative.origins, present, strict=True):
                if origin.pixel_key != item.pixel_key:
                    changed += 1
                    before = recorded.get(origin.effective)
                    words |= dict.fromkeys(recipe_changes(before, item.effective, self.describe))
            if any(frames[origin.frame].id != origin.frame for origin in derivative.origins):
                return "stale", "the raw file of its frame came in after it was made", list(words)
            if not changed:
                return "stale", "what is written about it changed", _rewritten(derivative.texts, present)
            whole = len(present)
            told = "its recipe changed" if whole == 1 else f"{changed} of {whole} frames changed"
            return "stale", told, list(words)
        found = self.books.home.disk.stat(derivative.path)
        if found is None:
            return "missing", "the file is not there; it can be made again", ()
        if found.size != derivative.size:
            return "altered", f"it has {found.size} bytes, {derivative.size} were made", ()
        return "fresh", "", ()


def _rewritten(before: Texts, present: Sequence[Development]) -> list[str]:
    """Which texts in the file are others now."""
    now = alike(item.texts for item in present)
    names = dict.fromkeys(
        name for name, text in (*before, *now) if ((name, text) in before) != ((name, text) in now)
    )
    return [f"{name} changed" for name in names]


def _not_shipped(generation: int, newest: int) -> str:
    newer = generation > newest
    way = "a newer one has it" if newer else "`noctuary recipe renew` brings its recipe to this one"
    return f"engine generation {generation} is not in this release; {way}"


def _beyond_us(recipes: Iterable[EffectiveRecipe]) -> OperatorValues | None:
    """The first operator that this release does not have, or not in this version."""
    steps = (step for recipe in recipes for step in (*recipe.base, *recipe.finish))
    return next((step for step in steps if (step.name, step.version) not in registry), None)


def recipe_changes(old: EffectiveRecipe | None, new: EffectiveRecipe, describe: Describe) -> list[str]:
    """What differs between two effective recipes, in words."""
    before = {step.name: step for step in old.base} if old else {}
    after = {step.name: step for step in new.base}
    words: list[str] = []
    for name in sorted(before.keys() | after.keys()):
        if before.get(name) != after.get(name):
            words += describe(before.get(name), after.get(name))
    if old and old.finish != new.finish:
        words.append("finish changed")
    if old and old.foundation != new.foundation:
        words.append(f"engine generation {old.foundation.generation} → {new.foundation.generation}")
    return words
