"""Lines: named lines of states beside the main one, of which one speaks for a frame."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import replace

from archive.catalogue.lineage import lines_of, standings, versions_of
from archive.editing.bench import NOTHING, Bench, plain_recipe, version_named
from archive.editing.history import History
from archive.errors import UsageError, shown
from archive.journal.recipes import Standing, version_value
from archive.journal.sharing import Share, elsewhere, settled_on, shared_draft
from archive.model.capture import Frame
from archive.model.editing import LineState, Saved
from archive.model.entry import LINE, LINE_NAME, MAIN, OWN, Change, Draft, Version
from archive.model.recipe import Recipe


class Lines:
    """The lines of one archive's frames."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def of(self, name: str) -> list[LineState]:
        """The lines that the named frames have, the main one first."""
        frames = self._bench.several(name)
        ids = [frame.id for frame in frames]
        catalogue = self._bench.books.catalogue
        called = self._bench.line_names(ids)
        now = set(self._in_use(frames).values())
        states = []
        for key in dict.fromkeys([*lines_of(catalogue, ids), *sorted(now)]):
            found = versions_of(catalogue, ids, key)
            versions = {v.entry: v for listed in found.values() for v in listed}
            newest = max(versions.values(), key=lambda v: (v.counter, v.entry), default=None)
            states.append(
                LineState(
                    name=called.get(key, key),
                    started_as=key,
                    current=key in now,
                    versions=len(versions),
                    newest=newest,
                )
            )
        return states

    def start(
        self, name: str, line: str, *, version: str | None = None, shared: bool = False, aside: bool = False
    ) -> Saved:
        """Start a line from what speaks now, or from a version; it is the current one unless ``aside``.

        A frame's line begins with an own version; with ``shared``, that of many frames begins with what
        they share, ramps and all.

        Raises
        ------
        UsageError : for a name that is no name or is in use here, or a version that there is not.
        """
        frames = self._bench.several(name) if shared else (self._bench.one(name),)
        title = _title(line)
        states = self.of(name)
        if title in {state.name for state in states}:
            raise UsageError(
                f"There is a line {shown(title)} here already.",
                hint=f"{NOTHING} `noctuary recipe line use` makes it the current one.",
            )
        # A line that was renamed keeps the name it was started under, so that nothing that was said moves.
        taken = {state.started_as for state in states}
        key = next(k for k in (title, *(f"{title} {n}" for n in range(2, 10_000))) if k not in taken)
        standing = self._bench.standings(frames)
        draft = (
            self._shared_start(frames, standing, key, version)
            if shared
            else self._own_start(frames[0], standing[frames[0].id], key, version)
        )
        extra = [] if key == title else [_statement(frames, LINE_NAME, title, key)]
        extra += [] if aside else [_statement(frames, LINE, key)]
        changes = (*draft.changes, *extra)
        entry = self._bench.state(replace(draft, changes=changes, essential=not aside))
        words = (f"the line {shown(title)} begins{'' if aside else ' and is the current one'}",)
        return Saved(frame=frames[0], entry=entry, words=words, frames=len(frames), shared=shared, line=title)

    def _own_start(self, frame: Frame, standing: Standing, key: str, version: str | None) -> Draft:
        own = standing.own[0] if standing.own else None
        recipe, counts = self._bench.own_recipe(standing), bool(own and own.in_sequence)
        copied = [*standing.own]
        if version is not None:
            history = History(self._bench)
            older = version_named(history.versions(frame), version)
            recipe = plain_recipe(older, replace(standing, selections=history.along(older)))
            counts = older.in_sequence and older.selection is None
            copied.append(older)
        self._bench.refuse_unrenderable(recipe, copied)
        value = version_value(recipe, counts, "")
        return Draft(kind="line", changes=(Change(subjects=(frame.id,), layer=OWN, line=key, value=value),))

    def _shared_start(
        self, frames: Sequence[Frame], standing: Mapping[str, Standing], key: str, version: str | None
    ) -> Draft:
        select = self._bench.selecting(frames)
        history = History(self._bench)
        groups: dict[object, tuple[Version, list[str]]] = {}
        if version is not None:
            parts = history.shared_version(frames, version)
            groups = {each.selection: (each, [f.id for f in members]) for each, members in parts}
        else:
            found = {f: s.shared[0] for f, s in standing.items() if s.shared}
            for each in frames:
                if each.id in found:
                    head = found[each.id]
                    groups.setdefault((head.entry, head.selection), (head, []))[1].append(each.id)
        shares = []
        for head, members in groups.values():
            known = history.along(head)
            held = known.get(head.selection or "")
            whole = held is not None and set(held.frames) == set(members)
            selection = held if whole and held is not None else select(members)
            recipe = settled_on(elsewhere(head), selection)
            shares.append(Share(selection=selection, recipe=recipe, before=(), along=known))
        if not shares:
            nothing = Recipe(foundation=self._bench.foundation)
            ids = [frame.id for frame in frames]
            shares = [Share(selection=select(ids), recipe=nothing, before=(), along={})]
        self._bench.refuse_unrenderable_shares(shares, {}, [head for head, _ in groups.values()])
        draft = shared_draft(shares, line=key, kind="line")
        assert draft is not None
        return draft

    def use(self, name: str, line: str) -> Saved:
        """Make a line the current one of the named frames: it speaks for them, and edits go on there.

        Raises
        ------
        UsageError : when none of the frames has a line of that name.
        """
        frames = self._bench.several(name)
        state = self._state(name, line)
        in_use = self._in_use(frames)
        changed = [frame for frame in frames if in_use[frame.id] != state.started_as]
        words = (f"the line {shown(state.name)} speaks now",) if changed else ()
        entry = None
        if changed:
            change = _statement(changed, LINE, state.started_as)
            entry = self._bench.state(Draft(kind="line", changes=(change,), essential=True))
        first = (*changed, *frames)[0]
        return Saved(
            frame=first, entry=entry, words=words, frames=len(changed), line=state.name, version=False
        )

    def rename(self, name: str, line: str, to: str) -> Saved:
        """Call a line of the named frames something else.

        Raises
        ------
        UsageError : when there is no such line, it is the main one, or the new name is in use here.
        """
        frames = self._bench.several(name)
        title = _title(to)
        state = self._state(name, line)
        key = state.started_as
        if key == MAIN:
            raise UsageError("The main line keeps its name.", hint=f"{NOTHING} Start a line from it instead.")
        if title == state.name:
            return Saved(frame=frames[0], entry=None, words=(), line=title, version=False)
        if title in {each.name for each in self.of(name)}:
            raise UsageError(f"There is a line {shown(title)} here already.", hint=NOTHING)
        having = {f for f, listed in self._versions(frames, key).items() if listed}
        ours = [frame for frame in frames if frame.id in having] or list(frames)
        entry = self._bench.state(Draft(kind="line", changes=(_statement(ours, LINE_NAME, title, key),)))
        words = (f"the line {shown(state.name)} is called {shown(title)} now",)
        return Saved(frame=ours[0], entry=entry, words=words, frames=len(ours), line=title, version=False)

    def key_of(self, name: str, line: str) -> str:
        """The name under which a line of the named frames was started.

        Raises
        ------
        UsageError : when none of the frames has a line of that name.
        """
        return self._state(name, line).started_as

    def _state(self, name: str, line: str) -> LineState:
        """A line by what it is called now, else by the name it was started under, where none is called so."""
        states = self.of(name)
        for wanted in ([s for s in states if s.name == line], [s for s in states if s.started_as == line]):
            if wanted:
                return wanted[0]
        raise UsageError(
            f"There is no line {shown(line)} here.",
            hint=f"{NOTHING} Lines here: {', '.join(shown(state.name) for state in states)}.",
        )

    def _versions(self, frames: Sequence[Frame], key: str) -> Mapping[str, Sequence[object]]:
        found = standings(self._bench.books.catalogue, [frame.id for frame in frames], key)
        return {f: [v for v in (*s.own, *s.shared) if v.line == key] for f, s in found.items()}

    def _in_use(self, frames: Sequence[Frame]) -> dict[str, str]:
        ids = [frame.id for frame in frames]
        stated = self._bench.books.catalogue.stated_about(ids, LINE)
        return {frame: stated.get((frame, ""), MAIN) for frame in ids}


def _title(text: str) -> str:
    """A line's name as it is kept.

    Raises
    ------
    UsageError : for one that is empty, long, or would be taken for an id.
    """
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or len(name) > 60 or not name.isprintable():
        raise UsageError("A line's name has 1 to 60 characters, all of which can be seen.", hint=NOTHING)
    return name


def _statement(frames: Sequence[Frame], layer: str, value: str, line: str = "") -> Change:
    return Change(subjects=tuple(frame.id for frame in frames), layer=layer, line=line, value=value)
