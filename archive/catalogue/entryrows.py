"""What entries tell, as rows; no database is asked, so that any process can do it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from archive.catalogue.affected import Affected
from archive.catalogue.checking import check_value
from archive.catalogue.inserting import Stored
from archive.catalogue.registers import written
from archive.catalogue.rollrows import roll_rows
from archive.errors import DamagedFileError, shown
from archive.journal.current import Development, Statement, developments, selections, statements
from archive.journal.log import Fault
from archive.model.capture import Selection
from archive.model.entry import PAIRING, SEALED, Entry
from archive.model.identity import canonical, sha256_id

FRAME_LAYERS = frozenset({"facts", "pairing", "sequence-number", "sequence-break", "sequence-join"})
"""Layers stated about frames that change where a frame stands in time or sequence."""
MARK_LAYERS = frozenset({"rating", "keyword"})
"""Layers stated about frames that are put beside a frame, and change nothing else."""


class EntryRows:
    """The rows of some entries, in the order of each table's columns.

    ``held`` are rows whose own order means nothing, by table and whether a greater (counter, entry) wins;
    ``rolls`` with their files, and ``derivatives`` with their inputs, give way to later ones as a whole;
    ``faults`` are names with what is wrong. ``affected`` is what follows from all this, ``size`` about how
    many rows it is.
    """

    def __init__(self, items: Iterable[Entry | Fault] = ()) -> None:
        self.held: dict[tuple[str, bool], list[Stored]] = {}
        self.rolls: list[tuple[Stored, list[Stored]]] = []
        self.derivatives: list[tuple[Stored, list[Stored]]] = []
        self.faults: list[tuple[str, str]] = []
        self.affected = Affected()
        self.size = 0
        for item in items:
            self.add(item)

    def plain(self) -> tuple[Any, ...]:
        """All of it as dictionaries, lists, sets, tuples, texts and numbers."""
        return (
            self.held,
            self.rolls,
            self.derivatives,
            self.faults,
            self.size,
            vars(self.affected),
        )

    @staticmethod
    def of_plain(plain: Sequence[Any]) -> EntryRows:
        rows = EntryRows()
        rows.held, rows.rolls, rows.derivatives, rows.faults, rows.size, affected = plain
        rows.affected = Affected(**affected)
        return rows

    def add(self, item: Entry | Fault) -> None:
        """Take in one entry, or nothing of it: what cannot be read is noticed before anything is kept."""
        if isinstance(item, Fault):
            self.faults.append((item.name, str(item.error)))
            return
        if not item.understood:
            self._set_aside(item)
        else:
            try:
                self._add(item)
            except DamagedFileError as error:
                self.faults.append((item.name, str(error)))
        row = (item.id, item.name, item.counter, item.kind)
        self._keep("entry", [(*row, item.time, item.writer, item.previous, item.person)])

    def _keep(self, table: str, rows: list[Stored], *, newer_wins: bool = False) -> None:
        if rows:
            self.size += len(rows)
            self.held.setdefault((table, newer_wins), []).extend(rows)

    def _set_aside(self, entry: Entry) -> None:
        """A newer entry: told, and if it is essential its subjects are not to be changed here."""
        what = "it is in a format that" if entry.newer else f"its kind, {entry.kind},"
        closed = " What it speaks about cannot be changed here." if entry.essential else ""
        message = (
            f"The journal entry {entry.name} was written by a newer release: {what} is not known here. "
            f"It was left as it is and does not count.{closed} Update Noctuary to use it."
        )
        self.faults.append((entry.name, message))
        if entry.essential:
            subjects = {subject for change in entry.changes for subject in change.subjects}
            rows = [(each, SEALED, entry.id, entry.counter, entry.id, "true") for each in sorted(subjects)]
            self._keep("statement", rows, newer_wins=True)

    def _add(self, entry: Entry) -> None:
        told = list(statements(entry))
        listed = selections(entry)
        developed = list(developments(entry, listed))
        try:
            rolls = [roll_rows(each) for each in told if each.layer == "ingest"]
            for statement in told:
                if statement.layer != "ingest":
                    check_value(statement)
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError, OSError) as error:
            raise DamagedFileError(
                f"The journal entry {entry.name} is whole, but what it tells cannot be read "
                f"({shown(str(error))[:200]}).",
                hint="It was left as it is and set aside; every other entry still counts.",
            ) from error
        self.rolls += rolls
        self.size += sum(len(files) for _, files in rolls)
        for statement in told:
            if statement.layer == "delivered":
                self._deliver(statement)
        self._state([each for each in told if each.layer not in ("ingest", "delivered")])
        for selection in listed.values():
            self._keep("selection_frame", _selection(selection))
        self._develop(entry, developed)

    def _state(self, told: Sequence[Statement]) -> None:
        rows, affected = [], self.affected
        for each in told:
            rows.append((each.subject, each.layer, each.line, each.counter, each.entry, written(each.value)))
            if each.layer == "clock":
                affected.cameras.add(each.subject)
            elif each.layer == "site":
                affected.sites.add(each.subject)
            elif each.layer in FRAME_LAYERS:
                affected.frames.add(each.subject)
            elif each.layer in MARK_LAYERS:
                affected.marked.add(each.subject)
            if each.layer == PAIRING and each.line == "":
                frame = each.value["frame"] if each.value else None
                affected.frames.update([frame] if frame else [])
                self._keep("pair", [(each.subject, frame, False, each.counter, each.entry)], newer_wins=True)
        self._keep("statement", rows, newer_wins=True)

    def _develop(self, entry: Entry, told: Sequence[Development]) -> None:
        keys: dict[int, str] = {}
        rows: list[Stored] = []
        replaced: list[Stored] = []
        for each in told:
            # What several subjects share is one recipe object, and so one document.
            key = keys.get(id(each.recipe))
            if key is None:
                document = json.dumps(each.recipe.to_json(), ensure_ascii=False, sort_keys=True)
                key = keys[id(each.recipe)] = sha256_id(document.encode())
                self._keep("recipe", [(key, document)])
            layer, line = each.change.layer, each.change.line
            said = (entry.counter, entry.time, entry.person, key, each.in_sequence, each.selection, each.note)
            rows += [(frame, layer, line, entry.id, *said) for frame in each.frames]
            replaced += [
                (frame, layer, line, older, entry.id)
                for older in each.change.builds_on
                for frame in each.frames
            ]
            self.affected.developed.update(each.frames)
        self._keep("version", rows)
        self._keep("builds_on", replaced)

    def _deliver(self, statement: Statement) -> None:
        """The outputs of one batch of a job, with their lineage."""
        job = statement.subject.removeprefix("job:")
        value = statement.value
        effectives = [(key, canonical(document).decode()) for key, document in value["effective"].items()]
        self._keep("effective", effectives)
        spec = canonical(value["spec"]).decode()
        for each in value["outputs"]:
            texts = canonical(each["texts"]).decode() if each.get("texts") else None
            row = (
                *(job, each["path"], each["size"], each["digest"], spec, each["file_key"], value["made"]),
                *(each["document_id"], each["instance_id"], texts, statement.counter, statement.entry),
            )
            origins = [
                (
                    *(job, each["path"], position, origin["frame"]),
                    *(origin["pixel_key"], origin["effective"], json.dumps(origin["versions"])),
                )
                for position, origin in enumerate(each["inputs"])
            ]
            self.derivatives.append((row, origins))
            self.affected.marked.update(origin["frame"] for origin in each["inputs"])


def _selection(selection: Selection) -> list[Stored]:
    moments = zip(selection.frames, selection.milliseconds, strict=True)
    return [(selection.id, position, frame, moment) for position, (frame, moment) in enumerate(moments)]
