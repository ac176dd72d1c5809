"""Why a frame looks as it does: each value's source, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from archive.catalogue.lineage import versions_of
from archive.editing.bench import Bench
from archive.engine import operator
from archive.errors import ArchiveError, shown
from archive.journal.sources import PartSource, RampSource, sources
from archive.model.capture import Frame
from archive.model.editing import Source
from archive.model.entry import MAIN, OWN, Entry, Version
from archive.model.identity import EntryId, short
from archive.model.recipe import FINISH, Anchor


class Explaining:
    """Says where values come from."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def why(self, frame: Frame, *, in_sequence: bool = False) -> list[Source]:
        """Each operator of a frame's effective recipe and each finish item, then what is not applied."""
        standing = self._bench.standing(frame)
        effective = self._bench.effective(standing, in_sequence=in_sequence)
        found = {source.part: source for source in sources(standing, in_sequence=in_sequence)}
        said = self._first_said(frame, found.values())
        lines = self._bench.line_names([frame.id])
        entries = self._entries({version.entry for version in said.values()})

        def source(part: str, words: str) -> Source:
            first, held = said[part], found[part]
            return Source(
                part=part,
                words=words,
                kind="own" if first.layer == OWN else "shared",
                entry=held.version.entry,
                origin=self._origin(first, entries.get(first.entry), held.version, lines),
                ramps=tuple(self._ramp(ramp) for ramp in held.ramps),
            )

        told = [source(step.name, operator.in_words(step)) for step in effective.base]
        told += [source(FINISH, f"finish: {operator.in_words(step)}") for step in effective.finish]
        if FINISH in found and not effective.finish:
            told.append(source(FINISH, "finish: nothing"))
        applied = {step.name for step in (*effective.base, *effective.finish)}
        absent = [each.name for each in operator.declarations() if each.name not in applied]
        return [*told, *(Source(part=name, words="", kind="not applied") for name in absent)]

    def _first_said(self, frame: Frame, found: Iterable[PartSource]) -> dict[str, Version]:
        """For each part the oldest version, back from the one that speaks, that already said the same."""
        listed: dict[str, list[Version]] = {}
        first: dict[str, Version] = {}
        for source in found:
            version = source.version
            if version.line not in listed:
                known = versions_of(self._bench.books.catalogue, [frame.id], version.line)
                listed[version.line] = known[frame.id]
            by_entry = {v.entry: v for v in listed[version.line] if v.layer == version.layer}
            said = _says(version, source.part)
            while True:
                older = [by_entry[entry] for entry in version.builds_on if entry in by_entry]
                alike = [v for v in older if _says(v, source.part) == said]
                if not alike:
                    break
                version = max(alike, key=lambda v: (v.counter, v.entry))
            first[source.part] = version
        return first

    def _origin(
        self, version: Version, entry: Entry | None, speaks: Version, lines: Mapping[str, str]
    ) -> str:
        own = version.layer == OWN
        who = f" by {shown(version.person)}" if version.person else ""
        line = "" if version.line == MAIN else f" on the line {shown(lines.get(version.line, version.line))}"
        text = f"{'own' if own else 'shared'} version {short(version.entry)}{line} of {version.when}{who}"
        source = None if own or entry is None else _carried_from(entry, version)
        if source is not None:
            frame = self._bench.books.catalogue.frames_by_id([source]).get(source)
            text += f", carried from {self._called(frame, source)}"
        return text if speaks.entry == version.entry else f"{text}, kept in {short(speaks.entry)}"

    def _called(self, frame: Frame | None, frame_id: str) -> str:
        if frame is None:
            return short(frame_id)
        address = self._bench.books.address_of(frame)
        return f"{shown(frame.name)} ({address})" if address else shown(frame.name)

    def _ramp(self, ramp: RampSource) -> str:
        ids = [anchor.frame for anchor in (ramp.before, ramp.after) if anchor is not None]
        frames = self._bench.books.catalogue.frames_by_id(ids)

        def at(anchor: Anchor) -> str:
            frame = frames.get(anchor.frame)
            place = f"#{frame.index}" if frame and frame.index else self._called(frame, anchor.frame)
            return f"{place} ({value_in_words(ramp.parameter, anchor.value)})"

        if ramp.before is None or ramp.after is None:
            only = ramp.before or ramp.after
            assert only is not None
            side = "from" if ramp.after is None else "before"
            return f"ramp {ramp.parameter}, held {side} the anchor at {at(only)}"
        return f"ramp {ramp.parameter} between the anchors at {at(ramp.before)} and {at(ramp.after)}"

    def _entries(self, ids: Iterable[EntryId]) -> dict[EntryId, Entry | None]:
        """These entries as they lie in the journal; None for one that cannot be read now."""
        log = self._bench.books.log
        wanted = {short(entry, 16): entry for entry in ids}
        held = {name[-21:-5]: (name, places) for name, places in log.places().items()} if wanted else {}
        found: dict[EntryId, Entry | None] = {}
        for digits, entry in wanted.items():
            try:
                found[entry] = log.read(*held[digits]) if digits in held else None
            except ArchiveError:
                found[entry] = None
        return found


def value_in_words(parameter: str, value: float) -> str:
    """A parameter's value with its unit; the bare number where the operator is not known here."""
    name, _, own = parameter.partition(".")
    known = {each.name: each for each in operator.declarations()}.get(name)
    declared = known.parameter(own) if known else None
    return operator.told(declared, value) if declared else f"{value:g}".replace("-", "−")


def _says(version: Version, part: str) -> object:
    """What a version says about an operator, its ramps with it, or about the finish."""
    recipe = version.recipe
    if part == FINISH:
        return recipe.finish
    ramps = [replace(r, along=r.along or version.selection) for r in recipe.ramps]
    return recipe.operator(part), [r for r in ramps if r.parameter.partition(".")[0] == part]


def _carried_from(entry: Entry, version: Version) -> str | None:
    for change in entry.about(version.layer):
        if version.selection in change.subjects:
            value = change.value.get("carried_from")
            return value if isinstance(value, str) else None
    return None
