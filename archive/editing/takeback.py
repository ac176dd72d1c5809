"""Taking a decision back: the values that stood before are stated again, in a new entry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from archive.catalogue.decided import one_matter
from archive.catalogue.lineage import selection_of, versions_of
from archive.editing.before import Before, Restored
from archive.editing.bench import NOTHING, Bench, check_shares
from archive.editing.decisions import DECIDED, NUMBER, Decisions, change_in_words
from archive.engine import operator
from archive.errors import ArchiveError, UsageError, counted, shown
from archive.journal.current import selections
from archive.journal.recipes import version_value
from archive.journal.sharing import Share, elsewhere, settled_on, shared_draft
from archive.journal.withdrawing import Withdrawn, without
from archive.journal.wording import changes_in_words
from archive.model.capture import Selection
from archive.model.editing import TakenBack
from archive.model.entry import (
    LEVELLING,
    OWN,
    RECIPE_LAYERS,
    SELECTION,
    SHARED,
    Change,
    Draft,
    Entry,
    Version,
)
from archive.model.identity import short
from archive.model.recipe import Recipe

_APART = (*RECIPE_LAYERS, SELECTION, LEVELLING)
"""Layers that are no plain registers."""


@dataclass(kw_only=True)
class _Group:
    """Frames that go back to one version, by the digests that it or the entry lists them under."""

    first: Withdrawn
    along: Selection
    told: list[str] = field(default_factory=list)
    replaced: dict[str, Version] = field(default_factory=dict)


class TakingBack:
    """Takes decisions back."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._decisions = Decisions(bench)
        self._before = Before(bench, self._decisions)

    def take_back(self, start: str, *, even_so: bool = False) -> TakenBack:
        """State again what stood before an entry; what later entries changed is overruled only ``even_so``.

        Of a recipe, what others saved beside it stands on: where it contested the version that is taken
        back, that one speaks then, and nothing that was built on it is lost.

        Raises
        ------
        UsageError : when there is no such entry, or it is none that a person decided.
        ArchiveError : when later entries changed what it stated, or nothing stood before it.
        """
        entry = self._decisions.entry(start)
        if entry.kind not in DECIDED or any(change.layer == NUMBER for change in entry.changes):
            raise UsageError(
                f"The entry {short(entry.id)} records what was done ({entry.kind}); it is no decision.",
                hint=f"{NOTHING} `noctuary journal` lists what can be taken back.",
            )
        if entry.name in self._decisions.set_aside():
            raise UsageError(
                f"The entry {short(entry.id)} is set aside here and counts for nothing.",
                hint=f"{NOTHING} `noctuary journal` tells why it is set aside.",
            )
        found = self._before.registers(entry, [c for c in entry.changes if c.layer not in _APART])
        found.words += self._told(entry, found.changes)
        found.add(self._before.levelling(entry))
        for change in entry.about(OWN):
            found.add(self._own(entry, change))
        for change in entry.about(SHARED):
            found.add(self._shared(entry, change))
        if found.overruled and not even_so:
            by = ", ".join(sorted(short(later) for later in found.later)[:4])
            raise ArchiveError(
                f"{found.overruled} of what the entry {short(entry.id)} stated was changed since, by {by}.",
                hint=f"{NOTHING} Take that back first, or say --even-so to overrule it.",
            )
        if not found.changes:
            return TakenBack(of=entry.id, entries=(), words=())
        made = self._bench.state(
            Draft(kind=entry.kind, changes=tuple(found.changes), essential=entry.essential)
        )
        return TakenBack(of=entry.id, entries=(made,), words=tuple(found.words), overruled=found.overruled)

    def _told(self, entry: Entry, changes: Sequence[Change]) -> list[str]:
        alone = [change.subjects[0] for change in changes if len(change.subjects) == 1]
        names = self._names(alone)
        return [text for change in changes if (text := change_in_words(change, entry, names))]

    def _names(self, frames: Sequence[str]) -> Mapping[str, str]:
        known = self._bench.books.catalogue.frames_by_id([f for f in frames if f.startswith("xxh128:")])
        return {frame: each.name for frame, each in known.items()}

    # -- recipes -----------------------------------------------------------------------------------

    def _own(self, entry: Entry, change: Change) -> Restored:
        catalogue, found = self._bench.books.catalogue, Restored()
        same = one_matter(catalogue, change.subjects)
        frames = list(dict.fromkeys(same.get(told, told) for told in change.subjects))
        versions, names = versions_of(catalogue, frames, change.line), self._names(frames)
        for frame in frames:
            rest = without([v for v in versions[frame] if v.layer == OWN], entry.id)
            if rest is None:
                continue
            _note_later(rest, found)
            if rest.done:
                continue
            counts = rest.stands.in_sequence if rest.stands else rest.version.in_sequence
            found.changes.append(
                Change(
                    subjects=(frame,),
                    layer=OWN,
                    line=change.line,
                    builds_on=tuple(sorted(v.entry for v in rest.builds_on)),
                    value=version_value(_recipe(rest), counts, f"took back {short(entry.id)}"),
                )
            )
            found.words.append(f"{shown(names.get(frame, short(frame)))}: {_words(rest, _recipe(rest))}")
        return found

    def _shared(self, entry: Entry, change: Change) -> Restored:
        catalogue, found = self._bench.books.catalogue, Restored()
        lists = selections(entry)
        listed = {told: lists[subject] for subject in change.subjects for told in lists[subject].frames}
        same = one_matter(catalogue, list(listed))
        frames = {same.get(told, told): told for told in listed}
        versions = versions_of(catalogue, list(frames), change.line)
        groups: dict[str, _Group] = {}
        for frame, told in frames.items():
            rest = without([v for v in versions[frame] if v.layer == SHARED], entry.id)
            if rest is None:
                continue
            _note_later(rest, found)
            if rest.done:
                continue
            older = rest.stands
            along = selection_of(catalogue, older.selection) if older and older.selection else listed[told]
            group = groups.setdefault(
                f"{older.entry if older else ''} {along.id}", _Group(first=rest, along=along)
            )
            # A ramp knows a frame by the digest that its selection lists.
            group.told.append(older.frame if older else told)
            group.replaced |= {version.entry: version for version in rest.builds_on}
        shares = [self._share(group) for group in groups.values()]
        check_shares(shares, {})
        draft = shared_draft(shares, line=change.line, note=f"took back {short(entry.id)}")
        found.changes += draft.changes if draft else ()
        for group, share in zip(groups.values(), shares, strict=True):
            words = _words(group.first, share.recipe)
            found.words.append(f"{counted(len(group.told), 'frame')}: {words}")
        return found

    def _share(self, group: _Group) -> Share:
        selection = group.along.part(group.told)
        older = group.first.stands
        recipe = settled_on(elsewhere(older), selection) if older else _recipe(group.first)
        names = sorted({ramp.along for ramp in recipe.ramps if ramp.along})
        catalogue = self._bench.books.catalogue
        return Share(
            selection=selection,
            recipe=recipe,
            before=tuple(group.replaced.values()),
            along={name: selection_of(catalogue, name) for name in names},
        )


def _recipe(rest: Withdrawn) -> Recipe:
    """What speaks then: of one that was the first of all, nothing at all."""
    return rest.stands.recipe if rest.stands else Recipe(foundation=rest.version.recipe.foundation)


def _words(rest: Withdrawn, recipe: Recipe) -> str:
    """What changes for a frame, and what stands then where that was not simply built upon."""
    spoke = elsewhere(rest.spoke) if rest.spoke.selection else rest.spoke.recipe
    told = elsewhere(rest.stands) if rest.stands and rest.stands.selection else recipe
    words = changes_in_words(spoke, told, operator.describe_change) or ["the same values"]
    stands = rest.stands
    if stands is not None and stands in rest.builds_on:
        words.append(f"{_who(stands)}, which contested it, stands")
    if stands is not None and rest.parted:
        parted = ", ".join(_who(version) for version in rest.parted)
        words.append(f"of what it had settled {_who(stands)} stands, and not {parted}")
    return "; ".join(words)


def _who(version: Version) -> str:
    who = f" by {shown(version.person)}" if version.person else ""
    return f"version {short(version.entry)} of {version.when}{who}"


def _note_later(rest: Withdrawn, found: Restored) -> None:
    if rest.later:
        found.overruled += 1
        found.later |= {version.entry for version in rest.later}
