"""What every edit of a recipe works with: frames found, what speaks for them, and versions saved."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import archive.engine.operators  # noqa: F401 - registers what recipes may name
from archive.catalogue.books import Books
from archive.catalogue.lineage import standings
from archive.catalogue.resolve import find, find_one
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.journal.ramps import check_ramps
from archive.journal.recipes import Standing, effective, save, with_ramps
from archive.journal.sharing import ChangeRecipe, Share, revised, shared_draft
from archive.journal.wording import changes_in_words
from archive.model.capture import Frame, Selection
from archive.model.editing import Saved
from archive.model.entry import Draft, Version
from archive.model.identity import EntryId
from archive.model.recipe import EffectiveRecipe, FinishItem, Foundation, Recipe

NOTHING = "Nothing was changed."


@dataclass(frozen=True, kw_only=True)
class Bench:
    """The books of an archive, and the foundation that recipes saved now stand on."""

    books: Books
    foundation: Foundation

    def one(self, name: str) -> Frame:
        return find_one(self.books.catalogue, name)

    def several(self, name: str) -> tuple[Frame, ...]:
        return find(self.books.catalogue, name).frames

    def standing(self, frame: Frame) -> Standing:
        return self.standings([frame])[frame.id]

    def standings(self, frames: Sequence[Frame]) -> dict[str, Standing]:
        return standings(self.books.catalogue, [frame.id for frame in frames])

    def effective(self, standing: Standing, *, in_sequence: bool = False) -> EffectiveRecipe:
        return effective(standing, in_sequence=in_sequence, foundation=self.foundation)

    def own_recipe(self, standing: Standing) -> Recipe:
        """A frame's own recipe as it is now; one that says nothing if it has none."""
        return standing.own[0].recipe if standing.own else Recipe(foundation=self.foundation)

    def state(self, draft: Draft) -> EntryId:
        return self.books.state(draft).id

    def save_own(
        self,
        frame: Frame,
        standing: Standing,
        recipe: Recipe,
        *,
        in_sequence: bool | None = None,
        note: str = "",
        kind: str = "recipe",
    ) -> Saved:
        """A frame's own new version; whether it counts in sequences stays as it was unless it is said."""
        counts = (
            in_sequence if in_sequence is not None else bool(standing.own and standing.own[0].in_sequence)
        )
        draft = save(standing, recipe, in_sequence=counts, note=note, kind=kind)
        before = standing.own[0].recipe if standing.own else None
        return Saved(
            frame=frame,
            entry=self.state(draft) if draft else None,
            words=tuple(changes_in_words(before, recipe, operator.describe_change)),
            in_sequence=counts,
            line=standing.line,
        )

    def share(
        self,
        frames: Sequence[Frame],
        change: ChangeRecipe,
        *,
        note: str = "",
        carried_from: Frame | None = None,
        along: Mapping[str, Selection] | None = None,
        dry_run: bool = False,
    ) -> Saved:
        """new shared versions for these frames, in one entry; ``change`` makes them of what is shared now."""
        standing = self.standings(frames)
        line = one_line(standing)
        shares = revised(standing, self.selecting(frames), change)
        _check(shares, along or {})
        source = carried_from.id if carried_from else None
        draft = shared_draft(shares, line=line, note=note, carried_from=source, along=along)
        return Saved(
            frame=frames[0],
            entry=self.state(draft) if draft and not dry_run else None,
            words=tuple(dict.fromkeys(word for share in shares for word in _words(share))),
            frames=len({frame for share in shares for frame in share.selection.frames}),
            shared=True,
            in_sequence=True,
            line=line,
        )

    def selecting(self, frames: Sequence[Frame]) -> Callable[[Sequence[str]], Selection]:
        """Turns ids of some of these frames into their selection."""
        known = {frame.id: frame for frame in frames}
        return lambda ids: selection_from([known[frame] for frame in ids])  # type: ignore[index]


def selection_from(frames: Sequence[Frame]) -> Selection:
    """These frames in order, with their times as they are known now."""
    start = frames[0].taken
    return Selection(
        frames=tuple(frame.id for frame in frames),
        milliseconds=tuple(round((frame.taken - start).total_seconds() * 1000) for frame in frames),
    )


def one_line(standing: Mapping[str, Standing]) -> str:
    """The line that all of these frames are on.

    Raises
    ------
    UsageError : when they are on several.
    """
    lines = sorted({each.line for each in standing.values()})
    if len(lines) > 1:
        raise UsageError(
            f"These frames are on several lines: {', '.join(shown(line) for line in lines)}.",
            hint=f"{NOTHING} Put them on one with `noctuary recipe line use`, or name fewer frames.",
        )
    return lines[0]


def version_named(versions: Sequence[Version], start: str) -> Version:
    """The version whose id begins like this.

    Raises
    ------
    UsageError : when there is none, or several.
    """
    digits = start.strip().removeprefix("sha256:")
    found = [v for v in versions if digits and v.entry.removeprefix("sha256:").startswith(digits)]
    if len({version.entry for version in found}) != 1:
        many = "names several versions" if found else "is no version of this frame"
        raise UsageError(
            f"{shown(start) or 'An empty text'} {many}.",
            hint=f"{NOTHING} `noctuary recipe history FRAME` lists them with their ids.",
        )
    return found[0]


def finish_speaking(standing: Standing) -> tuple[FinishItem, ...] | None:
    """The finish that speaks for a frame, with the items that are off; None where nothing says one."""
    for version in (*standing.own[:1], *standing.shared[:1]):
        if version.recipe.finish is not None:
            return version.recipe.finish
    return None


def plain_recipe(version: Version, standing: Standing) -> Recipe:
    """A version's recipe as one frame's own could be: ramps are the values they have at that frame."""
    if not version.recipe.ramps:
        return version.recipe
    return with_ramps(version, standing)


def _check(shares: Sequence[Share], along: Mapping[str, Selection]) -> None:
    """Refuse ramps that could not be evaluated, before they are written."""
    for share in shares:
        try:
            check_ramps(share.recipe, share.selection, {**along, **share.along})
        except ValueError as error:
            raise UsageError(
                f"A ramp cannot go on for these frames: {error}.",
                hint=f"{NOTHING} End it with `noctuary recipe ramp drop` and begin it anew.",
            ) from error


def _words(share: Share) -> list[str]:
    before = share.before[0].recipe if share.before else None
    return changes_in_words(before, share.recipe, operator.describe_change)
