"""Audit: everything that is held is re-read from its medium and compared with what was recorded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field

from archive.catalogue.books import Books
from archive.catalogue.lineage import derivatives
from archive.custody.records import held_records, look_at
from archive.errors import ArchiveError
from archive.formats.hashlist import HashedFile
from archive.journal.log import Fault
from archive.model.entry import Change, Draft
from archive.model.results import AuditFinding, AuditReport
from archive.store.masters import roll_path
from archive.store.ports import Grade
from archive.store.surveys import SURVEY
from archive.store.userplace import doubt_surveyed
from archive.store.volumes import MASTERS, Volume, held_files, roll_folders

Progress = Callable[[str, int, int], None]
_WEAKEST = (Grade.CACHED, Grade.EVICTED, Grade.DIRECT)


@dataclass(kw_only=True)
class _Tally:
    files: int = 0
    size: int = 0
    findings: list[AuditFinding] = field(default_factory=list)
    grade: Grade = Grade.DIRECT
    coverage: dict[str, int] = field(default_factory=dict)

    def graded(self, grade: Grade) -> None:
        self.grade = min(self.grade, grade, key=_WEAKEST.index)


def run_audit(books: Books, *, progress: Progress) -> AuditReport:
    """Re-read every master, hash list, record, entry and derivative of the mounted volumes.

    The result is an entry: coverage of each roll, and the exceptions only. Nothing is repaired.
    """
    totals = _Tally()
    entries = 0
    for volume in books.mounted:
        tally = _Tally()
        _audit_masters(volume, tally, progress)
        _audit_records(books, volume, tally)
        entries += _audit_journal(books, volume, tally)
        totals.files += tally.files
        totals.size += tally.size
        totals.graded(tally.grade)
        _state(books, volume, tally)
        totals.findings += tally.findings
    made = _audit_derivatives(books, totals)
    return AuditReport(
        volumes=tuple(volume.name for volume in books.mounted),
        files=totals.files,
        size=totals.size,
        entries=entries,
        derivatives=made,
        findings=tuple(totals.findings),
        grade=str(totals.grade),
    )


def _audit_masters(volume: Volume, tally: _Tally, progress: Progress) -> None:
    rolls = list(_rolls(volume, tally))
    total = sum(file.size for _, held in rolls for file in held.values())
    done = 0
    for folder, held in rolls:
        for path, file in sorted(held.items()):
            where = roll_path(folder, path)
            fault = _check(volume, where, file, tally)
            if fault:
                tally.findings.append(AuditFinding(volume=volume.name, path=where, fault=fault))
            tally.files += 1
            tally.size += file.size
            done += file.size
            progress(f"Reading {volume.name}", done, total)
        tally.coverage[folder] = len(held)
        for path, _ in volume.disk.walk(f"{MASTERS}/{folder}"):
            below = path.removeprefix(f"{MASTERS}/{folder}/")
            if below not in held and not below.startswith("ascmhl/"):
                fault = "is in no hash list: it did not come by an ingest"
                tally.findings.append(AuditFinding(volume=volume.name, path=path, fault=fault))


def _rolls(volume: Volume, tally: _Tally) -> Iterator[tuple[str, dict[str, HashedFile]]]:
    for folder in roll_folders(volume.disk):
        try:
            held = held_files(volume.disk, folder)
        except ArchiveError as error:
            where = f"{MASTERS}/{folder}/ascmhl"
            tally.findings.append(AuditFinding(volume=volume.name, path=where, fault=str(error)))
            continue
        if not held:
            fault = "has no hash list: an ingest was interrupted; run it again with the card"
            tally.findings.append(AuditFinding(volume=volume.name, path=f"{MASTERS}/{folder}", fault=fault))
            continue
        yield folder, held


def _check(volume: Volume, where: str, file: HashedFile, tally: _Tally) -> str | None:
    try:
        found = volume.disk.stat(where)
        if found is None:
            return "is missing"
        if found.size != file.size:
            return f"has {found.size} bytes, {file.size} were recorded"
        digest, grade = volume.disk.read_back(where)
    except (ArchiveError, OSError) as error:
        return _unreadable(error)
    tally.graded(grade)
    if digest != f"xxh128:{file.xxh128}":
        return "is damaged: its bytes do not match its hash list"
    if found.writable:
        # A volume that is mounted read-only keeps the bit; nobody can write there now anyway.
        with suppress(OSError):
            volume.disk.protect(where)
    return None


def _unreadable(error: ArchiveError | OSError) -> str:
    why = error.message.rstrip(".") if isinstance(error, ArchiveError) else error.strerror or str(error)
    return f"cannot be read: {why}"


def _audit_records(books: Books, volume: Volume, tally: _Tally) -> None:
    """Survey documents and what they name, and files of the activity index."""
    for record in held_records(books, volume.disk):
        size, fault = look_at(volume.disk, record)
        tally.files += 1
        tally.size += size
        if fault:
            tally.findings.append(AuditFinding(volume=volume.name, path=record.path, fault=fault))
            if record.path.startswith(f"{SURVEY}/"):
                folder = "/".join(record.path.split("/")[:2])
                doubt_surveyed(books.home.mark.archive, books.home.id, folder)


def _audit_journal(books: Books, volume: Volume, tally: _Tally) -> int:
    """Every entry of the volume is read and held against its own name."""
    count = 0
    for item in books.log.on(volume.disk).read_new(set()):
        count += 1
        if isinstance(item, Fault):
            tally.findings.append(
                AuditFinding(volume=volume.name, path=f"journal: {item.name}", fault=item.error.message)
            )
    return count


def _audit_derivatives(books: Books, tally: _Tally) -> int:
    """Derivatives that lie on the home volume; one that is gone may have been deleted and is no fault."""
    count = 0
    # A file that was deleted and made again has two records; the later one speaks of what lies there.
    newest = {derivative.path: derivative for derivative in derivatives(books.catalogue)}
    for derivative in newest.values():
        try:
            if books.home.disk.stat(derivative.path) is None:
                continue
            count += 1
            digest = books.home.disk.read_back(derivative.path)[0]
        except (ArchiveError, OSError) as error:
            fault = _unreadable(error)
            tally.findings.append(AuditFinding(volume=books.home.name, path=derivative.path, fault=fault))
            continue
        if digest != derivative.digest:
            fault = "was altered since it was made; `noctuary regenerate` can make it again"
            tally.findings.append(AuditFinding(volume=books.home.name, path=derivative.path, fault=fault))
    return count


def _state(books: Books, volume: Volume, tally: _Tally) -> None:
    value = {
        "volume": volume.id,
        "grade": str(tally.grade),
        "coverage": tally.coverage,
        "exceptions": [{"path": f.path, "fault": f.fault} for f in tally.findings],
    }
    change = Change(subjects=(f"volume:{volume.id}",), layer="audit", value=value)
    try:
        books.state(Draft(kind="audit", changes=(change,)))
    except (OSError, ArchiveError) as error:
        why = error.message if isinstance(error, ArchiveError) else f"cannot be written: {error.strerror}."
        fault = f"{why} This audit is not on record."
        tally.findings.append(AuditFinding(volume=volume.name, path="journal", fault=fault))
