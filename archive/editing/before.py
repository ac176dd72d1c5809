"""What stood before an entry: registers and levelling, found by going back through the journal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.catalogue.decided import headings, one_matter, stating
from archive.catalogue.levelling import last_levellings, levels_of
from archive.editing.bench import NOTHING, Bench
from archive.editing.decisions import Decisions
from archive.errors import ArchiveError, counted
from archive.journal.current import selections
from archive.model.capture import Selection
from archive.model.entry import (
    HOUSE,
    LENS,
    LEVELLING,
    LINE,
    LINE_NAME,
    MAIN,
    PAIRING,
    RECIPE_NOTE,
    SELECTION,
    TEXT,
    Change,
    Entry,
)
from archive.model.identity import frozen, short

_UNSAID: dict[str, Any] = {
    "rating": 0,
    "keyword": False,
    "sequence-break": False,
    "sequence-join": False,
    "sequence-title": "",
    "clock": None,
    "facts": {},
    "query": "",
    TEXT: None,
    LENS: None,
    LINE: MAIN,
    PAIRING: None,
    RECIPE_NOTE: "",
    HOUSE: None,
}
"""What a register means where nothing was ever stated."""

_Key = tuple[str, str, str]


@dataclass(kw_only=True)
class Restored:
    """What a new entry states so that things are as before, and how much later entries had changed.

    ``later`` are these entries; ``words`` are for statements whose own words would not tell enough.
    """

    changes: list[Change] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    overruled: int = 0
    later: set[str] = field(default_factory=set)

    def add(self, other: Restored) -> None:
        self.changes += other.changes
        self.words += other.words
        self.overruled += other.overruled
        self.later |= other.later


class Before:
    """Finds what stood before an entry."""

    def __init__(self, bench: Bench, decisions: Decisions) -> None:
        self._bench = bench
        self._decisions = decisions

    def registers(self, entry: Entry, changes: Sequence[Change]) -> Restored:
        """The registers that these statements of an entry set, as they were.

        A companion's digest and its frame are one matter, but for which frame the companion belongs to.

        Raises
        ------
        ArchiveError : when nothing was stated before that could be stated again.
        """
        catalogue = self._bench.books.catalogue
        told = [subject for change in changes for subject in change.subjects]
        same = one_matter(catalogue, told)
        wanted: dict[_Key, None] = {}
        for change in changes:
            wanted |= {
                (_about(s, change.layer, same), change.layer, change.line): None for s in change.subjects
            }
        subjects = sorted({subject for subject, _, _ in wanted})
        now = {
            (subject, layer, line): stated
            for layer in {layer for _, layer, _ in wanted}
            for (subject, line), stated in stating(catalogue, subjects, layer).items()
        }
        before = self._values(entry, wanted, same) if wanted else {}
        found = Restored()
        restored: dict[tuple[str, str, Any], tuple[Any, list[str]]] = {}
        for key in wanted:
            subject, layer, line = key
            value = before[key] if key in before else _unsaid(entry, layer, line)
            stands = now.get(key)
            if stands is not None and stands.entry != entry.id:
                found.overruled += 1
                found.later.add(stands.entry)
            if stands is not None and stands.value == value:
                continue
            restored.setdefault((layer, line, frozen(value)), (value, []))[1].append(subject)
        for (layer, line, _), (value, members) in restored.items():
            found.changes.append(Change(subjects=tuple(members), layer=layer, line=line, value=value))
        return found

    def _values(self, entry: Entry, wanted: Mapping[_Key, None], same: Mapping[str, str]) -> dict[_Key, Any]:
        """Of each register the newest older statement."""
        missing = set(wanted)
        values: dict[_Key, Any] = {}
        for past in self._older(entry):
            for change in past.changes:
                for subject in change.subjects:
                    key = (_about(subject, change.layer, same), change.layer, change.line)
                    if key in missing:
                        missing.discard(key)
                        values[key] = change.value
            if not missing:
                break
        return values

    def _older(self, entry: Entry) -> Iterator[Entry]:
        """The entries of the same kind before this one, newest first: those that count and can be read."""
        log, catalogue = self._bench.books.log, self._bench.books.catalogue
        places, aside = log.places(), self._decisions.set_aside()
        for heading in headings(catalogue, kinds=[entry.kind], before=entry.order):
            if heading.name not in places or heading.name in aside:
                continue
            try:
                yield log.read(heading.name, places[heading.name])
            except ArchiveError:
                continue

    def levelling(self, entry: Entry) -> Restored:
        """What frames were levelled by, frame by frame: other selections may hold some of them too."""
        catalogue = self._bench.books.catalogue
        lists = selections(entry)
        listed = {
            frame: lists[s] for c in entry.about(LEVELLING) for s in c.subjects for frame in lists[s].frames
        }
        same = one_matter(catalogue, list(listed))
        wanted = {same.get(told, told): told for told in listed}
        found = Restored()
        last = last_levellings(catalogue, list(wanted))
        for frame in wanted:
            if last.get(frame, entry.id) != entry.id:
                found.overruled += 1
                found.later.add(last[frame])
        past = self._levels(entry, wanted, same)
        now = levels_of(catalogue, list(wanted))
        groups: dict[tuple[str, str], list[str]] = {}
        for frame, told in wanted.items():
            held = past.get(frame)
            place = (
                ("", listed[told].id) if held is None or held.stops is None else (held.entry, held.along.id)
            )
            groups.setdefault(place, []).append(frame)
        for (older, _), members in groups.items():
            stops = [past[frame].stops if older else None for frame in members]
            if [now[frame].stops if frame in now else None for frame in members] == stops:
                continue
            along = past[members[0]].along if older else listed[wanted[members[0]]]
            selection = along.part([past[frame].told if older else wanted[frame] for frame in members])
            value = None
            if older:
                held = past[members[0]]
                by_frame = {past[frame].told: past[frame].stops for frame in members}
                value = {**held.value, "stops": [by_frame[frame] for frame in selection.frames]}
            found.changes += [
                Change(subjects=(selection.id,), layer=SELECTION, value=selection.to_json()),
                Change(subjects=(selection.id,), layer=LEVELLING, value=value),
            ]
            count = counted(len(members), "frame")
            found.words.append(
                f"levelling as before for {count}" if older else f"levelling taken off {count}"
            )
        return found

    def _levels(self, entry: Entry, wanted: Mapping[str, str], same: Mapping[str, str]) -> dict[str, _Level]:
        found: dict[str, _Level] = {}
        for past in self._older(entry):
            lists = selections(past)
            for change in past.about(LEVELLING):
                for along in (lists[subject] for subject in change.subjects):
                    for position, told in enumerate(along.frames):
                        frame = same.get(told, told)
                        if frame in wanted and frame not in found:
                            found[frame] = _Level(
                                entry=past.id, along=along, told=told, position=position, value=change.value
                            )
            if len(found) == len(wanted):
                break
        return found


@dataclass(frozen=True, kw_only=True)
class _Level:
    """What one entry stated of one frame: along which selection, by which digest, and the whole value."""

    entry: str
    along: Selection
    told: str
    position: int
    value: Any

    @property
    def stops(self) -> float | None:
        stops = [] if self.value is None else self.value["stops"]
        return stops[self.position] if self.position < len(stops) else None


def _about(subject: str, layer: str, same: Mapping[str, str]) -> str:
    return subject if layer == PAIRING else same.get(subject, subject)


def _unsaid(entry: Entry, layer: str, line: str) -> Any:
    if layer == LINE_NAME:
        return line
    if layer not in _UNSAID:
        raise ArchiveError(
            f"The entry {short(entry.id)} was the first to state a {layer}; nothing stood before it.",
            hint=f"{NOTHING} State what is right instead.",
        )
    return _UNSAID[layer]
