"""Contested recipes: two versions that both claim to be current, chosen from or joined into one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from archive.catalogue.lineage import selection_of, standings
from archive.editing.bench import NOTHING, Bench, version_named
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.journal.recipes import Standing, save
from archive.journal.sharing import Share, elsewhere, settled_on, shared_draft
from archive.journal.wording import changes_in_words
from archive.model.capture import Frame, Selection
from archive.model.editing import Contest, Saved
from archive.model.entry import Version
from archive.model.identity import short
from archive.model.recipe import FINISH, FinishItem, Recipe


class Settling:
    """Shows what is contested, and settles it."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def of(self, name: str) -> list[Contest]:
        """What is contested among the named frames: own versions frame by frame, shared ones together."""
        frames = self._bench.several(name)
        standing = self._bench.standings(frames)
        found = []
        for members, versions in _contested(frames, standing):
            first = standing[members[0].id]
            own = versions[0].selection is None
            others = 0 if own else len(self._sharing(versions).standing.keys() - {f.id for f in members})
            names = sorted({part for version in versions for part in version.recipe.parts})
            said = {part: tuple(_says(version.recipe, part) for version in versions) for part in names}
            found.append(
                Contest(
                    frames=tuple(frame.name for frame in members),
                    shared=not own,
                    versions=versions,
                    differences=tuple((part, texts) for part, texts in said.items() if len(set(texts)) > 1),
                    others=others,
                    line=self._bench.line_called([members[0].id], versions[0].line),
                    stills_only=own and len(first.own_for(in_sequence=True)) < 2,
                )
            )
        return found

    def settle(
        self,
        name: str,
        *,
        take: str | None = None,
        operators: Mapping[str, str] | None = None,
        note: str = "",
    ) -> list[Saved]:
        """Settle what is contested: take one version, or operators of each, on top of the newest.

        What frames share is settled for all that are contested alike, whichever of them are named: it is one
        contest. ``operators`` says for an operator (or ``finish``) from which version it comes. What a choice
        does not concern stays as it is in the version taken, else in the newest.

        Raises
        ------
        UsageError : when nothing is contested, nothing is chosen, or a version is none of those contested.
        """
        frames = self._bench.several(name)
        contested = _contested(frames, self._bench.standings(frames))
        if not contested:
            raise UsageError(
                f"Nothing is contested in {shown(name)}.", hint=f"{NOTHING} Each recipe has one version."
            )
        chosen = dict(operators or {})
        if take is None and not chosen:
            raise UsageError(
                "Say what to settle it on.",
                hint=f"{NOTHING} Take one version with --take VERSION, or operators with "
                "--operator NAME=VERSION; `noctuary recipe settle FRAME --show` lists both.",
            )
        everything = [version for _, versions in contested for version in versions]
        base = version_named(everything, take) if take else None
        parted = {part: version_named(everything, start) for part, start in chosen.items()}
        concerned = {version.entry for version in (*([base] if base else []), *parted.values())}
        saved = []
        for members, versions in contested:
            entries = {version.entry for version in versions}
            if not entries & concerned:
                continue
            start = base if base is not None and base.entry in entries else versions[0]
            here = {part: v for part, v in parted.items() if v.entry in entries}
            saved.append(self._one(members, versions, start, here, note))
        return saved

    def _one(
        self,
        members: Sequence[Frame],
        versions: tuple[Version, ...],
        start: Version,
        parted: Mapping[str, Version],
        note: str,
    ) -> Saved:
        shared = start.selection is not None
        recipe = elsewhere(start) if shared else start.recipe
        for part, version in parted.items():
            recipe = _with_part(recipe, elsewhere(version) if shared else version.recipe, part)
        # Where a line says nothing the main one speaks, and it is that one's contest.
        line = versions[0].line
        standing = standings(self._bench.books.catalogue, [members[0].id], line)[members[0].id]
        count = 1
        if shared:
            sharing = self._sharing(versions, start)
            selection, count = sharing.selection, len(sharing.standing)
            recipe = settled_on(recipe, selection)
            share = Share(
                selection=selection, recipe=recipe, before=versions, along=dict(standing.selections)
            )
            self._bench.refuse_unrenderable_shares([share], {})
            draft = shared_draft([share], line=line, note=note)
        else:
            self._bench.refuse_unrenderable(recipe, versions)
            draft = save(standing, recipe, in_sequence=start.in_sequence, note=note)
        assert draft is not None
        words = [
            f"{part} from version {short(version.entry)}"
            + (f" by {shown(version.person)}" if version.person else "")
            for part, version in parted.items()
        ]
        words += changes_in_words(versions[0].recipe, recipe, operator.describe_change)
        return Saved(
            frame=members[0],
            entry=self._bench.state(draft),
            words=tuple(words),
            frames=count,
            shared=shared,
            in_sequence=start.in_sequence,
            line=self._bench.line_called([members[0].id], line),
        )

    def _sharing(self, versions: tuple[Version, ...], start: Version | None = None) -> _Sharing:
        """All frames that these shared versions contest, and their selection, a part of that of ``start``."""
        catalogue = self._bench.books.catalogue
        along = selection_of(catalogue, (start or versions[0]).selection or "")
        claims = {(version.entry, version.selection) for version in versions}
        told: dict[str, str] = {}
        standing: dict[str, Standing] = {}
        for frame, each in standings(catalogue, along.frames, versions[0].line).items():
            if {(version.entry, version.selection) for version in each.shared} == claims:
                told[each.frame] = frame
                standing[each.frame] = each
        return _Sharing(selection=along.part(told.values()), standing=standing)


@dataclass(frozen=True, kw_only=True)
class _Sharing:
    selection: Selection
    standing: Mapping[str, Standing]


def _contested(
    frames: Sequence[Frame], standing: Mapping[str, Standing]
) -> list[tuple[list[Frame], tuple[Version, ...]]]:
    """Frames with the versions that contest them, those alike together."""
    groups: dict[tuple[object, ...], tuple[list[Frame], tuple[Version, ...]]] = {}
    for frame in frames:
        each = standing[frame.id]
        for versions in (each.own, each.shared):
            if len(versions) > 1:
                owner = "" if versions[0].selection else frame.id
                key = (owner, *((version.entry, version.selection) for version in versions))
                groups.setdefault(key, ([], versions))[0].append(frame)
    return list(groups.values())


def _with_part(recipe: Recipe, source: Recipe, part: str) -> Recipe:
    """A recipe with one operator, its ramps with it, or the finish, as another says; absence counts too.

    Raises
    ------
    UsageError : when neither has it.
    """
    if part == FINISH:
        return replace(recipe, finish=source.finish)
    step = source.operator(part)
    if step is None and recipe.operator(part) is None:
        raise UsageError(f"{shown(part)} is in none of these versions.", hint=NOTHING)
    kept = [each for each in recipe.base if each.name != part]
    ramps = [r for r in recipe.ramps if r.parameter.partition(".")[0] != part]
    ramps += [r for r in source.ramps if r.parameter.partition(".")[0] == part]
    return replace(recipe, base=(*kept, *([step] if step else [])), ramps=tuple(ramps))


def _says(recipe: Recipe, part: str) -> str:
    if part == FINISH:
        return "; ".join(_item(item) for item in recipe.finish or ()) or "–"
    step = recipe.operator(part)
    if step is None:
        return "–"
    ramps = [r for r in recipe.ramps if r.parameter.partition(".")[0] == part]
    ramped = "".join(f" (ramps over {len(r.anchors)} anchors)" for r in ramps)
    return operator.in_words(step) + ramped


def _item(item: FinishItem) -> str:
    return operator.in_words(item.step) + ("" if item.on else " (off)")
