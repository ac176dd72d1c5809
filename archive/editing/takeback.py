"""Taking a decision back: the values that stood before are stated again, in a new entry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.catalogue.decided import headings, stating
from archive.catalogue.lineage import selection_of, standings, versions_of
from archive.editing.bench import NOTHING, Bench
from archive.editing.decisions import DECIDED, NUMBER, Decisions, change_in_words
from archive.errors import ArchiveError, UsageError
from archive.journal.recipes import Standing, version_value
from archive.journal.sharing import Share, elsewhere, settled_on, shared_draft
from archive.model.editing import TakenBack
from archive.model.entry import (
    HOUSE,
    LINE,
    LINE_NAME,
    MAIN,
    OWN,
    RECIPE_LAYERS,
    RECIPE_NOTE,
    SELECTION,
    TEXT,
    Change,
    Draft,
    Entry,
    Version,
)
from archive.model.identity import frozen, short
from archive.model.recipe import Recipe

_UNSAID: dict[str, Any] = {
    "rating": 0,
    "keyword": False,
    "sequence-break": False,
    "sequence-join": False,
    "sequence-title": "",
    "clock": None,
    "facts": {},
    TEXT: None,
    LINE: MAIN,
    RECIPE_NOTE: "",
    HOUSE: None,
}
"""What a register means where nothing was ever stated."""

_Key = tuple[str, str, str]


@dataclass(kw_only=True)
class _Found:
    """What goes into the new entry, and how many statements later entries had changed."""

    changes: list[Change] = field(default_factory=list)
    overruled: int = 0
    later: set[str] = field(default_factory=set)


class TakingBack:
    """Takes decisions back."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._decisions = Decisions(bench)

    def take_back(self, start: str, *, even_so: bool = False) -> TakenBack:
        """State again what stood before an entry; what later entries changed is overruled only ``even_so``.

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
        found = _Found()
        registers = [c for c in entry.changes if c.layer not in (*RECIPE_LAYERS, SELECTION)]
        self._registers(entry, registers, found)
        for change in entry.changes:
            if change.layer == OWN:
                self._own(entry, change, found)
        self._shared(entry, found)
        if found.overruled and not even_so:
            by = ", ".join(sorted(short(later) for later in found.later)[:4])
            raise ArchiveError(
                f"{found.overruled} of what the entry {short(entry.id)} stated was changed since, by {by}.",
                hint=f"{NOTHING} Take that back first, or say --even-so to overrule it.",
            )
        if not found.changes:
            return TakenBack(of=entry.id, entries=(), words=())
        draft = Draft(kind=entry.kind, changes=tuple(found.changes))
        made = self._bench.books.state(draft)
        words = [text for change in made.changes if (text := change_in_words(change, made))]
        return TakenBack(of=entry.id, entries=(made.id,), words=tuple(words), overruled=found.overruled)

    # -- registers ---------------------------------------------------------------------------------

    def _registers(self, entry: Entry, changes: Sequence[Change], found: _Found) -> None:
        wanted: dict[_Key, None] = {}
        for change in changes:
            wanted |= {(subject, change.layer, change.line): None for subject in change.subjects}
        if not wanted:
            return
        catalogue = self._bench.books.catalogue
        layers = {layer for _, layer, _ in wanted}
        subjects = sorted({subject for subject, _, _ in wanted})
        standing = {
            (subject, layer, line): stated
            for layer in layers
            for (subject, line), stated in stating(catalogue, subjects, layer).items()
        }
        now = {
            (subject, layer, line): value
            for layer in layers
            for (subject, line), value in catalogue.stated_about(subjects, layer).items()
        }
        before = self._before(entry, wanted)
        restored: dict[tuple[str, str, Any], tuple[Any, list[str]]] = {}
        for key in wanted:
            subject, layer, line = key
            value = before[key] if key in before else _unsaid(entry, layer, line)
            if standing.get(key) not in (None, entry.id):
                found.overruled += 1
                found.later.add(standing[key])
            if key in now and now[key] == value:
                continue
            restored.setdefault((layer, line, frozen(value)), (value, []))[1].append(subject)
        for (layer, line, _), (value, members) in restored.items():
            found.changes.append(Change(subjects=tuple(members), layer=layer, line=line, value=value))

    def _before(self, entry: Entry, wanted: dict[_Key, None]) -> dict[_Key, Any]:
        """What stood before an entry: the newest older statement, found going back through its kind."""
        log, places = self._bench.books.log, self._bench.books.log.places()
        missing = set(wanted)
        values: dict[_Key, Any] = {}
        older = headings(self._bench.books.catalogue, kinds=[entry.kind], before=entry.order)
        for heading in older:
            if not missing:
                break
            if heading.name not in places:
                continue
            try:
                past = log.read(heading.name, places[heading.name])
            except ArchiveError:
                continue
            for change in past.changes:
                for subject in change.subjects:
                    key = (subject, change.layer, change.line)
                    if key in missing:
                        missing.discard(key)
                        values[key] = change.value
        return values

    # -- recipes -----------------------------------------------------------------------------------

    def _own(self, entry: Entry, change: Change, found: _Found) -> None:
        for frame in change.subjects:
            standing, versions = self._of(frame, change.line)
            mine = next((v for v in versions if v.entry == entry.id and v.layer == OWN), None)
            if mine is None:
                continue
            heads = [v for v in standing.own if v.line == change.line]
            _note_later(heads, entry, found)
            older = _replaced(mine, versions)
            recipe = older.recipe if older else Recipe(foundation=mine.recipe.foundation)
            counts = older.in_sequence if older else mine.in_sequence
            if len(heads) == 1 and (heads[0].recipe, heads[0].in_sequence) == (recipe, counts):
                continue
            found.changes.append(
                Change(
                    subjects=(frame,),
                    layer=OWN,
                    line=change.line,
                    builds_on=tuple(sorted(v.entry for v in heads)),
                    value=version_value(recipe, counts, f"took back {short(entry.id)}"),
                )
            )

    def _shared(self, entry: Entry, found: _Found) -> None:
        catalogue = self._bench.books.catalogue
        lists = {subject: c.value["frames"] for c in entry.about(SELECTION) for subject in c.subjects}
        for change in entry.changes:
            if change.layer in (OWN, SELECTION) or change.layer not in RECIPE_LAYERS:
                continue
            frames = [frame for subject in change.subjects for frame in lists[subject]]
            known = catalogue.frames_by_id(frames)
            frames = [frame for frame in frames if frame in known]
            versions = versions_of(catalogue, frames, change.line)
            standing = standings(catalogue, frames, change.line)
            groups: dict[str, tuple[Version | None, list[str], dict[str, Version], Version]] = {}
            for frame in frames:
                listed = [v for v in versions[frame] if v.layer != OWN]
                mine = next((v for v in listed if v.entry == entry.id), None)
                if mine is None:
                    continue
                heads = [v for v in standing[frame].shared if v.line == change.line]
                _note_later(heads, entry, found)
                older = _replaced(mine, listed)
                key = older.entry if older else ""
                group = groups.setdefault(key, (older, [], {}, mine))
                group[1].append(frame)
                group[2].update({v.entry: v for v in heads})
            shares = []
            for older, members, replacing, mine in groups.values():
                held = selection_of(catalogue, older.selection) if older and older.selection else None
                whole = held is not None and set(held.frames) == set(members)
                select = self._bench.selecting([known[frame] for frame in members])
                selection = held if whole and held is not None else select(members)
                recipe = elsewhere(older) if older else Recipe(foundation=mine.recipe.foundation)
                names = {ramp.along for ramp in recipe.ramps if ramp.along}
                shares.append(
                    Share(
                        selection=selection,
                        recipe=settled_on(recipe, selection),
                        before=tuple(replacing.values()),
                        along={name: selection_of(catalogue, name) for name in sorted(names)},
                    )
                )
            draft = shared_draft(shares, line=change.line, note=f"took back {short(entry.id)}")
            found.changes += draft.changes if draft else ()

    def _of(self, frame: str, line: str) -> tuple[Standing, list[Version]]:
        catalogue = self._bench.books.catalogue
        return standings(catalogue, [frame], line)[frame], versions_of(catalogue, [frame], line)[frame]


def _replaced(version: Version, listed: Sequence[Version]) -> Version | None:
    """The newest of the versions that one was built on."""
    older = [v for v in listed if v.entry in version.builds_on and v.layer == version.layer]
    return max(older, key=lambda v: (v.counter, v.entry), default=None)


def _note_later(heads: Sequence[Version], entry: Entry, found: _Found) -> None:
    later = [v for v in heads if v.entry != entry.id and (v.counter, v.entry) > entry.order]
    if later:
        found.overruled += 1
        found.later |= {v.entry for v in later}


def _unsaid(entry: Entry, layer: str, line: str) -> Any:
    if layer == LINE_NAME:
        return line
    if layer not in _UNSAID:
        raise ArchiveError(
            f"The entry {short(entry.id)} was the first to state a {layer}; nothing stood before it.",
            hint=f"{NOTHING} State what is right instead.",
        )
    return _UNSAID[layer]
