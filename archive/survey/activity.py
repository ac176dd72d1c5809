"""Files of the planetary index Kp, kept in the archive as they were published, and looked up by time."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from archive.catalogue.books import Books
from archive.errors import ArchiveError, UsageError, shown
from archive.formats.activity import read_activity
from archive.model.entry import ACTIVITY, Change, Draft
from archive.model.results import ActivityImport
from archive.model.sky import ActivityLine
from archive.store.digest import digest_bytes
from archive.store.durable import read_bytes, write_new

FOLDER = "activity"
_LARGEST = 64 << 20


class Activity:
    """The planetary index as far as its files were taken in."""

    def __init__(self, books: Books) -> None:
        self._books = books
        self._read: dict[str, bytes] = {}

    def take_in(self, source: Path) -> ActivityImport:
        """Keep a file on every mounted volume, and state it; the same file again brings it where it lacks.

        Raises
        ------
        UsageError : when there is no such file, or it is far too large.
        DamagedFileError : when it is no file of the index.
        ArchiveError : when a volume cannot be written.
        """
        try:
            if source.stat().st_size > _LARGEST:
                raise UsageError(
                    f"{shown(str(source))} is too large for an index.", hint="Nothing was changed."
                )
            data = source.read_bytes()
        except OSError as error:
            raise UsageError(
                f"{shown(str(source))} cannot be read: {error.strerror}.", hint="Nothing was changed."
            ) from error
        lines = read_activity(data, source.name)
        digest = digest_bytes(data)
        token = digest.removeprefix("xxh128:")
        name = f"kp-{token[:16]}.txt"
        for volume in self._books.mounted:
            try:
                write_new(volume.disk, FOLDER, name, data)
            except FileExistsError:
                self._proven(name, digest)
            except OSError as error:
                if volume in self._books.beside:
                    # It was only found here: one that cannot be written now has to wait, as for the journal.
                    continue
                raise ArchiveError(
                    f"{shown(volume.name)} cannot be written: {error.strerror}.",
                    hint="Nothing was stated about it. Make room, then run the same command again.",
                ) from error
        value = {
            "path": f"{FOLDER}/{name}",
            "size": len(data),
            "digest": digest,
            "from": lines[0].begins.isoformat(),
            "until": (lines[-1].begins + timedelta(hours=lines[-1].hours)).isoformat(),
        }
        subject = f"activity:{token}"
        if self._books.catalogue.stated(subject, ACTIVITY) != value:
            change = Change(subjects=(subject,), layer=ACTIVITY, value=value)
            self._books.state(Draft(kind=ACTIVITY, changes=(change,)))
        return ActivityImport(
            path=f"{FOLDER}/{name}",
            intervals=len(lines),
            first=lines[0].begins,
            last=lines[-1].begins,
            highest=max(line.kp for line in lines),
        )

    def between(
        self, begins: datetime, ends: datetime
    ) -> tuple[tuple[ActivityLine, ...], tuple[ArchiveError, ...]]:
        """The intervals that overlap a span, in order; of two files that cover it, the one stated last.

        With them, what is wrong with files that cover it too: damaged, or on no mounted volume.
        """
        found: dict[datetime, ActivityLine] = {}
        trouble: list[ArchiveError] = []
        for value in self._books.catalogue.layer(ACTIVITY).values():
            if (
                datetime.fromisoformat(value["from"]) >= ends
                or datetime.fromisoformat(value["until"]) <= begins
            ):
                continue
            name = value["path"].rpartition("/")[2]
            try:
                if value["digest"] not in self._read:
                    self._read[value["digest"]] = self._proven(name, value["digest"])
                data = self._read[value["digest"]]
                lines = list(read_activity(data, name, days=(begins - timedelta(days=1), ends)))
            except ArchiveError as error:
                # Entries travel ahead of files: what other files tell of the night still counts.
                trouble.append(error)
                continue
            for line in lines:
                if begins < line.begins + timedelta(hours=line.hours) and line.begins < ends:
                    found[line.begins] = line
        return tuple(found[moment] for moment in sorted(found)), tuple(trouble)

    def _proven(self, name: str, digest: str) -> bytes:
        """The bytes of a kept file, from the first mounted volume that has them sound."""
        damaged = False
        for volume in self._books.mounted:
            try:
                data = read_bytes(volume.disk, f"{FOLDER}/{name}", limit=_LARGEST)
            except OSError:
                continue
            if digest_bytes(data) == digest:
                return data
            damaged = True
        fault = "is damaged" if damaged else "is on no mounted volume"
        raise ArchiveError(
            f"The activity file {shown(name)} {fault}.",
            hint="Nothing was changed. Mount a volume that holds it, or import the published file again.",
        )
