"""May a card be erased? Only when each of its files has enough proven copies on different devices.

Proven is what was read just now around the cache or after emptying it, or what an audit covered lately.
A device is what its owner declares; drives that are mounted together are told apart by the system.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from archive.catalogue.books import Books
from archive.catalogue.holdings import copies_of, held_count
from archive.custody.devices import Device, count, devices_of
from archive.errors import ArchiveError, UsageError, shown
from archive.model.entry import Entry
from archive.model.erasing import CardItem, CardReading, EraseAnswer, Evidence, Lacking
from archive.model.listing import Copy
from archive.store.ports import Grade
from archive.store.volumes import MASTERS, Volume

Progress = Callable[[str, int, int], None]
_NOT_INGESTED = "held on no volume: take this card in with `noctuary ingest`"


@dataclass(kw_only=True)
class _Proofs:
    """What is found on the way: for each volume how it proves, for each file who proves it or why not."""

    by_volume: dict[str, set[int]] = field(default_factory=dict)
    read: dict[str, Grade] = field(default_factory=dict)
    audited: dict[str, str] = field(default_factory=dict)


def may_erase(
    books: Books,
    reading: CardReading,
    *,
    copies: int,
    within: timedelta,
    also: Sequence[Volume] = (),
    now: datetime | None = None,
    progress: Progress,
) -> EraseAnswer:
    """Whether every file of a card that was read is proven on ``copies`` different devices.

    Mounted volumes are read; what an audit newer than ``within`` covered counts for those that are not.
    Nothing is written and nothing erased.

    Raises
    ------
    UsageError : for fewer than one copy, or a span that is none.
    """
    if copies < 1 or within < timedelta(0):
        raise UsageError(
            "A card is erased against one or more copies, proven now or within some time.",
            hint="Nothing was changed. Write it like --copies 2 --within 30d.",
        )
    moment = now or datetime.now(UTC)
    mounted = {volume.id: volume for volume in (*also, *books.volumes)}
    held = copies_of(books.catalogue, [item.digest for item in reading.items if item.digest])
    volumes = sorted({copy.volume for found in held.values() for copy in found})
    devices = devices_of(books, volumes, mounted, card=Path(reading.source))
    audits = Audits(books, moment - within, moment)
    proofs = _Proofs()
    reasons: dict[str, list[str]] = {}
    total = sum(item.size for item in reading.items if item.digest)
    done = 0
    seen: dict[str, tuple[set[str], list[str]]] = {}
    for number, item in enumerate(reading.items):
        if item.digest is None:
            reasons.setdefault(item.fault or "cannot be read on the card", []).append(item.path)
            continue
        done += item.size
        if item.digest not in seen:
            found = held.get(item.digest, [])
            seen[item.digest] = _prove(item, found, books, mounted, audits, proofs)
        proven, doubts = seen[item.digest]
        for volume in proven:
            proofs.by_volume.setdefault(volume, set()).add(number)
        counted = count(devices[volume] for volume in proven)
        if counted < copies:
            unsure = [devices[volume].doubt for volume in sorted(proven) if devices[volume].doubt]
            reason = _reason(counted, copies, proven, [*doubts, *unsure], books)
            reasons.setdefault(reason, []).append(item.path)
        progress("Reading the copies", done, total)
    for note in reading.failed:
        reasons.setdefault(note.text, []).append(note.path)
    lacking = tuple(Lacking(reason=reason, files=tuple(files)) for reason, files in sorted(reasons.items()))
    return EraseAnswer(
        source=reading.source,
        may_erase=not lacking and bool(reading.items),
        checked=moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
        files=len(reading.items),
        size=sum(item.size for item in reading.items),
        wanted=copies,
        within_s=within.total_seconds(),
        card_grade=reading.grade,
        evidence=tuple(
            Evidence(
                volume=books.volume_name(volume),
                device=devices[volume].name,
                declared=devices[volume].declared,
                how=_how(volume, proofs),
                files=len(files),
            )
            for volume, files in sorted(proofs.by_volume.items())
        ),
        lacking=lacking,
        ignored=reading.ignored,
        remarks=tuple(_remarks(reading, proofs.by_volume, devices)),
    )


def _prove(
    item: CardItem,
    found: Sequence[Copy],
    books: Books,
    mounted: Mapping[str, Volume],
    audits: Audits,
    proofs: _Proofs,
) -> tuple[set[str], list[str]]:
    """The volumes that prove a file's bytes, and in words why others do not."""
    proven: set[str] = set()
    doubts = []
    for copy in found:
        if copy.volume in proven:
            continue
        name = shown(books.volume_name(copy.volume))
        volume = mounted.get(copy.volume)
        if volume is None:
            when, doubt = audits.proof(copy)
            if when is not None:
                proven.add(copy.volume)
                proofs.audited[copy.volume] = min(proofs.audited.get(copy.volume, when), when)
            else:
                doubts.append(f"{name} is not mounted, and {doubt}")
            continue
        grade, fault = _read(volume, copy, item)
        if grade is None:
            doubts.append(f"on {name} it {fault}")
        elif grade is Grade.CACHED:
            when, doubt = audits.proof(copy)
            if when is not None:
                proven.add(copy.volume)
                proofs.audited[copy.volume] = min(proofs.audited.get(copy.volume, when), when)
            else:
                doubts.append(f"{name} could only be read from memory, which proves nothing of the drive")
        else:
            proven.add(copy.volume)
            weakest = proofs.read.get(copy.volume, grade)
            proofs.read[copy.volume] = Grade.EVICTED if Grade.EVICTED in (grade, weakest) else grade
    return proven, doubts


def _read(volume: Volume, copy: Copy, item: CardItem) -> tuple[Grade | None, str]:
    """How a copy was read and found equal; None and why it does not count otherwise."""
    path = f"{MASTERS}/{copy.path}"
    try:
        if volume.disk.stat(path) is None:
            return None, "is missing: run `noctuary audit`"
        digest, grade = volume.disk.read_back(path)
    except OSError as error:
        return None, f"cannot be read ({error.strerror})"
    except ArchiveError as error:
        return None, f"cannot be reached: {error.message}"
    if digest != item.digest:
        return None, "is damaged: run `noctuary audit`"
    return grade, ""


def _reason(have: int, wanted: int, proven: set[str], doubts: Sequence[str], books: Books) -> str:
    if not have and not doubts:
        return _NOT_INGESTED
    names = " and ".join(sorted(shown(books.volume_name(volume)) for volume in proven))
    told = f"proven on {have} of {wanted} devices" + (f" ({names})" if names else "")
    if doubts:
        told += "; " + "; ".join(dict.fromkeys(doubts))
    return told


def _how(volume: str, proofs: _Proofs) -> str:
    parts = []
    if volume in proofs.read:
        around = proofs.read[volume] is Grade.DIRECT
        parts.append(
            "read now, around the cache" if around else "read now, after the cache was emptied of it"
        )
    if volume in proofs.audited:
        parts.append(f"by the audit of {proofs.audited[volume].replace('T', ' ').removesuffix('Z')} UTC")
    return " and ".join(parts)


def _remarks(
    reading: CardReading, proofs: Mapping[str, set[int]], devices: Mapping[str, Device]
) -> Iterator[str]:
    if not reading.items and not reading.failed:
        yield "The card holds no file that an archive would keep: there is nothing to judge."
    if reading.grade == Grade.CACHED:
        yield (
            "Some files of the card were perhaps read from memory: what was compared is what was read when "
            "it was last in the reader. Take it out, put it back and ask again to be sure."
        )
    undeclared = sorted({devices[volume].name for volume in proofs if not devices[volume].declared})
    if count(devices[volume] for volume in proofs) > 1 and undeclared:
        yield (
            f"Not told by you, but by what the system sees: {', '.join(undeclared)}. Where a box shows "
            "several drives as one, or one as several, say so with `noctuary volume device VOLUME NAME`."
        )


class Audits:
    """What the audits of a span of time say about copies, newest first; read when first asked."""

    def __init__(self, books: Books, since: datetime, until: datetime) -> None:
        self._books = books
        self._since, self._until = since, until
        self._known: dict[str, list[tuple[str, dict[str, object]]]] | None = None
        self._sizes: dict[tuple[str, str], int] = {}

    def proof(self, copy: Copy) -> tuple[str | None, str]:
        """The time of the newest audit that read a copy and found it sound, or None and why there is none.

        A later audit that found fault with it outweighs an earlier one that did not.
        """
        night, roll, _ = copy.path.split("/", 2)
        folder, path = f"{night}/{roll}", f"{MASTERS}/{copy.path}"
        for when, value in self._of(copy.volume):
            exceptions = {str(found.get("path")) for found in _listed(value.get("exceptions"))}
            if exceptions & {path, f"{MASTERS}/{folder}", f"{MASTERS}/{folder}/ascmhl"}:
                return None, f"the audit of {when[:10]} found fault with it"
            coverage = value.get("coverage")
            count = coverage.get(folder) if isinstance(coverage, dict) else None
            if not isinstance(count, int) or count < self._size(copy.volume, folder):
                continue
            if value.get("grade") not in (Grade.DIRECT, Grade.EVICTED):
                continue
            return when, ""
        return None, "no audit within the time asked for proves it"

    def _size(self, volume: str, folder: str) -> int:
        if (volume, folder) not in self._sizes:
            self._sizes[volume, folder] = held_count(self._books.catalogue, volume, folder)
        return self._sizes[volume, folder]

    def _of(self, volume: str) -> list[tuple[str, dict[str, object]]]:
        if self._known is None:
            self._known = {}
            log = self._books.log
            others = {name for name in log.names() if "-audit-" not in name}
            entries = [item for item in log.read_new(others) if isinstance(item, Entry)]
            for entry in sorted(entries, key=lambda entry: entry.order, reverse=True):
                # A clock that runs ahead would keep a proof young for ever: such an audit is not counted.
                if not self._since <= _moment(entry.time) <= self._until + timedelta(minutes=5):
                    continue
                for change in entry.about("audit"):
                    for subject in change.subjects:
                        value = change.value if isinstance(change.value, dict) else {}
                        found = self._known.setdefault(subject.removeprefix("volume:"), [])
                        found.append((entry.time, value))
        return self._known.get(volume, [])


def _listed(value: object) -> list[dict[str, object]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))
