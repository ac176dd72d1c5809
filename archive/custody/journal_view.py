"""The newest entries of the journal in words, and everything odd about it in one place."""

from __future__ import annotations

from archive.catalogue.books import Books
from archive.catalogue.noticing import NOTICES
from archive.custody.entry_words import in_words
from archive.journal.log import Fault
from archive.model.entry import PAIRING
from archive.model.identity import is_frame_id
from archive.model.uniting import JournalLine, JournalView


def look(books: Books, *, newest: int) -> JournalView:
    """The newest entries first, as many as asked for, and what is odd about any."""
    places = books.log.places()
    names = sorted(places, reverse=True)[: max(newest, 0)]
    chosen = set(places) - set(names)
    entries = [item for item in books.log.read_new(chosen, places) if not isinstance(item, Fault)]
    changes = [change for each in entries for change in each.changes]
    spoken = {subject for change in changes for subject in change.subjects}
    spoken |= {str(c.value["frame"]) for c in changes if c.layer == PAIRING and isinstance(c.value, dict)}
    frames = books.catalogue.frames_by_id(sorted(filter(is_frame_id, spoken)))
    told = books.catalogue.faults()
    return JournalView(
        entries=len(places),
        lines=tuple(
            JournalLine(entry=each, about=in_words(each, frames))
            for each in sorted(entries, key=lambda entry: entry.order, reverse=True)
        ),
        faults=tuple(fault.message for fault in told if fault.place not in NOTICES),
        noticed=tuple(fault.message for fault in told if fault.place in NOTICES),
    )
