"""What every edit of a recipe works with: frames found, what speaks for them, and versions saved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import archive.engine.operators  # noqa: F401 - registers what recipes may name
from archive.catalogue.books import Books
from archive.catalogue.lineage import standings
from archive.catalogue.resolve import find, find_one
from archive.editing.renderable import refuse_unrenderable, refuse_unrenderable_shares
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.journal.ramps import check_ramps
from archive.journal.recipes import Standing, effective, masks, parts_changed, save, with_ramps
from archive.journal.sharing import ChangeRecipe, Share, revised, shared_draft
from archive.journal.wording import changes_in_words
from archive.model.capture import Frame, Selection
from archive.model.editing import Masked, Saved, Settled
from archive.model.entry import LINE_NAME, MAIN, Draft, Version
from archive.model.identity import EntryId
from archive.model.recipe import EffectiveRecipe, FinishItem, Foundation, HouseRecipe, Recipe

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
        saying = [version.recipe for version in standing.own[:1] if not version.recipe.says_nothing]
        return saying[0] if saying else Recipe(foundation=self.foundation)

    def line_names(self, frames: Iterable[str]) -> dict[str, str]:
        """What lines of these frames are called now, by the names they were started under."""
        stated = self.books.catalogue.stated_about(list(frames), LINE_NAME)
        return {key: title for (_, key), title in stated.items()}

    def line_called(self, frames: Iterable[str], key: str) -> str:
        """What a line of these frames is called now."""
        return key if key == MAIN else self.line_names(frames).get(key, key)

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
        """A frame's own new version; whether it counts in sequences stays as it was unless it is said.

        Raises
        ------
        ArchiveError : the recipe makes no picture.
        """
        counts = (
            in_sequence if in_sequence is not None else bool(standing.own and standing.own[0].in_sequence)
        )
        draft = save(standing, recipe, in_sequence=counts, note=note, kind=kind)
        if draft is not None:
            self.refuse_unrenderable(recipe, (*standing.own, *standing.shared))
        before = standing.own[0].recipe if standing.own else None
        rivals = tuple(version for version in standing.own if version.line == standing.line)
        ended = (Settled(versions=rivals, shared=False, frames=1),) if draft and len(rivals) > 1 else ()
        return Saved(
            frame=frame,
            entry=self.state(draft) if draft else None,
            words=tuple(changes_in_words(before, recipe, operator.describe_change)),
            in_sequence=counts,
            line=self.line_called([frame.id], standing.line),
            settled=ended,
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
        return self.share_parts(
            [(frames, change)], note=note, carried_from=carried_from, along=along, dry_run=dry_run
        )

    def share_parts(
        self,
        parts: Sequence[tuple[Sequence[Frame], ChangeRecipe]],
        *,
        note: str = "",
        carried_from: Frame | None = None,
        along: Mapping[str, Selection] | None = None,
        dry_run: bool = False,
    ) -> Saved:
        """As ``share``, where parts of the frames are changed each in its own way.

        Raises
        ------
        UsageError : a ramp could not be evaluated.
        ArchiveError : a recipe makes no picture at one of its frames.
        """
        frames = [frame for members, _ in parts for frame in members]
        standing = self.standings(frames)
        line = self.one_line(standing)
        shares = [
            share
            for members, change in parts
            for share in revised(
                {frame.id: standing[frame.id] for frame in members}, self.selecting(members), change
            )
        ]
        self.refuse_unrenderable_shares(shares, along or {})
        source = carried_from.id if carried_from else None
        draft = shared_draft(shares, line=line, note=note, carried_from=source, along=along)
        names: dict[str, str] = {frame.id: frame.name for frame in frames}
        masked, masked_stills = masked_frames(
            (names[frame], standing[frame], parts_changed(before, share.recipe))
            for share in shares
            for before in [share.before[0].recipe if share.before else None]
            for frame in _reached(share, standing)
        )
        return Saved(
            frame=frames[0],
            entry=self.state(draft) if draft and not dry_run else None,
            words=tuple(dict.fromkeys(word for share in shares for word in _words(share))),
            frames=len({frame for share in shares for frame in share.selection.frames}),
            shared=True,
            in_sequence=True,
            line=self.line_called(standing, line),
            settled=tuple(_settled(shares, standing, line)),
            masked=masked,
            masked_stills=masked_stills,
        )

    def refuse_unrenderable(self, recipe: Recipe | HouseRecipe, before: Iterable[Version] = ()) -> None:
        """Refuse what makes no picture, before it is written; ``before`` are the versions it goes on from."""
        refuse_unrenderable(self.books.catalogue, recipe, [version.recipe for version in before])

    def refuse_unrenderable_shares(
        self, shares: Sequence[Share], along: Mapping[str, Selection], before: Iterable[Version] = ()
    ) -> None:
        """Refuse ramps that cannot be evaluated and recipes that make no picture, before they are written."""
        check_shares(shares, along)
        refuse_unrenderable_shares(
            self.books.catalogue, shares, along, [version.recipe for version in before]
        )

    def one_line(self, standing: Mapping[str, Standing]) -> str:
        """The line that all of these frames are on, by the name it was started under.

        Raises
        ------
        UsageError : when they are on several.
        """
        lines = sorted({each.line for each in standing.values()})
        if len(lines) > 1:
            called = ", ".join(shown(self.line_called(standing, line)) for line in lines)
            raise UsageError(
                f"These frames are on several lines: {called}.",
                hint=f"{NOTHING} Put them on one with `noctuary recipe line use`, or name fewer frames.",
            )
        return lines[0]

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


def check_shares(shares: Sequence[Share], along: Mapping[str, Selection]) -> None:
    """Refuse ramps that could not be evaluated, before they are written."""
    for share in shares:
        try:
            check_ramps(share.recipe, share.selection, {**along, **share.along})
        except ValueError as error:
            raise UsageError(
                f"A ramp cannot go on for these frames: {error}.",
                hint=f"{NOTHING} End it with `noctuary recipe ramp drop` and begin it anew.",
            ) from error


def _reached(share: Share, standing: Mapping[str, Standing]) -> list[str]:
    """Which of these frames a version to be speaks about, by their own names or by a companion's."""
    listed = set(share.selection.frames)
    return [
        frame
        for frame, each in standing.items()
        if frame in listed or any(version.frame in listed for version in each.shared)
    ]


def _settled(shares: Sequence[Share], standing: Mapping[str, Standing], line: str) -> list[Settled]:
    """The contests that these versions end: what they build on more than one of for some frame."""
    ended: dict[tuple[str, ...], tuple[tuple[Version, ...], set[str]]] = {}
    for share in shares:
        for frame in _reached(share, standing):
            rivals = tuple(version for version in standing[frame].shared if version.line == line)
            if len(rivals) > 1:
                ended.setdefault(tuple(v.entry for v in rivals), (rivals, set()))[1].add(frame)
    return [Settled(versions=v, shared=True, frames=len(frames)) for v, frames in ended.values()]


def masked_frames(
    shared: Iterable[tuple[str, Standing, Sequence[str]]], *, source: str | None = None
) -> tuple[Masked, Masked]:
    """Frames whose own values hide parts that they are to share: everywhere, and in stills only.

    ``shared`` are file names, with what stands and the parts that are shared anew. A still of the ``source``
    that gave them hides nothing by its having them too.
    """
    everywhere, stills = [], []
    for name, standing, parts in shared:
        hidden = masks(standing, parts, in_sequence=True)
        if hidden:
            everywhere.append((name, tuple(hidden)))
        also = [part for part in masks(standing, parts, in_sequence=False) if part not in hidden]
        if also and standing.frame != source:
            stills.append((name, tuple(also)))
    return tuple(everywhere), tuple(stills)


def _words(share: Share) -> list[str]:
    before = share.before[0].recipe if share.before else None
    return changes_in_words(before, share.recipe, operator.describe_change)
