"""The newest entries of the journal in words, and everything odd about it in one place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from archive.catalogue.books import Books
from archive.catalogue.noticing import NOTICED
from archive.errors import shown
from archive.journal.log import Fault
from archive.model.capture import Frame
from archive.model.entry import OWN, SELECTION, SHARED, Change, Entry
from archive.model.identity import is_frame_id, short
from archive.model.uniting import JournalLine, JournalView

_MOST_NAMES = 3
_LONGEST = 60


def look(books: Books, *, newest: int) -> JournalView:
    """The newest entries first, as many as asked for, and what is odd about any."""
    places = books.log.places()
    names = sorted(places, reverse=True)[: max(newest, 0)]
    chosen = set(places) - set(names)
    entries = [item for item in books.log.read_new(chosen, places) if not isinstance(item, Fault)]
    frames = books.catalogue.frames_by_id(
        sorted({s for each in entries for change in each.changes for s in change.subjects if is_frame_id(s)})
    )
    told = books.catalogue.faults()
    return JournalView(
        entries=len(places),
        lines=tuple(
            JournalLine(entry=each, about=in_words(each, frames))
            for each in sorted(entries, key=lambda entry: entry.order, reverse=True)
        ),
        faults=tuple(fault.message for fault in told if fault.place != NOTICED),
        noticed=tuple(fault.message for fault in told if fault.place == NOTICED),
    )


def in_words(entry: Entry, frames: Mapping[str, Frame]) -> str:
    """What an entry states, short enough for one line."""
    if not entry.understood:
        return "something that only a newer release can tell"
    parts = [_change(change, frames) for change in entry.changes if change.layer != SELECTION]
    return "; ".join(parts[:_MOST_NAMES]) + (f"; and {len(parts) - 3} more" if len(parts) > 3 else "")


def _change(change: Change, frames: Mapping[str, Frame]) -> str:
    whom = _subjects(change.subjects, frames)
    match change.layer:
        case "rating":
            return f"rated {change.value}: {whom}"
        case "keyword":
            return f"{'given' if change.value else 'taken off'} the keyword {shown(change.line)}: {whom}"
        case "recipe" | "recipe-shared":
            kind = {OWN: "recipe", SHARED: "shared recipe"}[change.layer]
            note = change.value.get("note") if isinstance(change.value, dict) else ""
            remark = f" ({shown(str(note))[:_LONGEST]})" if note else ""
            return f"{kind}, line {shown(change.line)}{remark}: {whom}"
        case "ingest":
            files = change.value.get("files") if isinstance(change.value, dict) else None
            return f"taken in: {whom}" + (f", {len(files)} files" if isinstance(files, list) else "")
        case _:
            what = f"{change.layer} {shown(change.line)}".strip()
            if change.value is None or change.value == "":
                return f"{what} taken off: {whom}"
            if isinstance(change.value, str):
                return f"{what} “{shown(change.value[:_LONGEST])}”: {whom}"
            return f"{what} of {whom}"


def _subjects(subjects: Iterable[str], frames: Mapping[str, Frame]) -> str:
    names = [
        shown(frames[subject].name) if subject in frames else shown(_bare(subject)) for subject in subjects
    ]
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return ", ".join(names[:_MOST_NAMES]) + more


def _bare(subject: str) -> str:
    """An id as people read it: digests cut, names as they are."""
    kind, _, rest = subject.partition(":")
    return f"{kind} {short(rest)}" if len(rest) > 30 else f"{kind} {rest}"
