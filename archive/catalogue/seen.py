"""The journal's folders as they were when their entries were last taken in: what was left alone is known."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from sqlalchemy import Engine, delete, func, select

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.inserting import insert_rows
from archive.catalogue.rows import EntryRow, JournalFolderRow
from archive.journal.folders import Folder

_LONGEST_PATH = 400
Seen = dict[str, dict[str, Folder]]
"""Folders by path, by volume."""


def seen_folders(engine: Engine) -> Seen:
    """What was seen of every volume's journal."""
    found: Seen = {}
    with transaction(engine) as session:
        row = JournalFolderRow
        for volume, path, mark, entries, others in session.execute(
            select(row.volume, row.path, row.mark, row.entries, row.others)
        ):
            strange, below = json.loads(others)
            found.setdefault(volume, {})[path] = Folder(
                mark=mark,
                entries=tuple(entries.split("\n")) if entries else (),
                strange=tuple(strange),
                below=tuple(below),
            )
    return found


def note_folders(
    engine: Engine, volume: str, now: Mapping[str, Folder], before: Mapping[str, Folder]
) -> None:
    """Put down how a volume's folders are, once every entry in them was taken in or set aside."""
    changed = [path for path, folder in now.items() if before.get(path) != folder]
    gone = [*changed, *(before.keys() - now.keys())]
    if not gone:
        return
    rows = [
        {
            "volume": volume,
            "path": path,
            "mark": now[path].mark,
            "entries": "\n".join(now[path].entries),
            "others": json.dumps([now[path].strange, now[path].below]),
        }
        for path in changed
        if len(path) <= _LONGEST_PATH and path.isprintable()
    ]
    with transaction(engine) as session:
        for chunk in chunks(gone):
            some = JournalFolderRow.path.in_([path for path in chunk if path.isprintable()])
            session.execute(delete(JournalFolderRow).where(JournalFolderRow.volume == volume, some))
        insert_rows(session, JournalFolderRow, rows)


def came(held: Mapping[str, Mapping[str, Folder]], seen: Seen) -> set[str] | None:
    """Names that came since the folders were seen; None where only all names together can tell.

    That is so when some went, for they may lie elsewhere now, and for a volume that was never seen.
    """
    new: set[str] = set()
    for volume, folders in held.items():
        before = seen.get(volume)
        if before is None or before.keys() - folders.keys():
            return None
        for path, folder in folders.items():
            known = before.get(path)
            if known is None:
                new.update(folder.entries)
            elif known.entries != folder.entries:
                if set(known.entries) - set(folder.entries):
                    return None
                new.update(set(folder.entries) - set(known.entries))
    return new


def known_among(engine: Engine, names: Iterable[str]) -> set[str]:
    """Those of these entries that were taken in."""
    asked, found = sorted(names), set[str]()
    with transaction(engine) as session:
        for chunk in chunks(asked):
            query = select(EntryRow.name).where(EntryRow.name.in_(chunk))
            found.update(session.scalars(query))
    return found


def entry_count(engine: Engine) -> int:
    """How many entries were taken in."""
    with transaction(engine) as session:
        return session.scalar(select(func.count()).select_from(EntryRow)) or 0
