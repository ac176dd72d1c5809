"""Measures every frame that has not been measured yet, roll by roll; may be stopped anywhere."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field

from archive.catalogue.backlog import frames_of_roll
from archive.catalogue.books import Books
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.surveyor import SIDE, Look, look, slices_png
from archive.errors import ArchiveError, DamagedFileError, shown
from archive.formats import survey as survey_format
from archive.formats.survey import MOST_FRAMES
from archive.model.capture import Frame, Role
from archive.model.identity import FrameId
from archive.model.survey import (
    METHOD,
    KeptFile,
    SurveyDocument,
    SurveyedFrame,
    SurveyNote,
    SurveyReport,
)
from archive.store.digest import digest_bytes
from archive.store.durable import tidy
from archive.store.surveys import copy_survey, survey_folder, write_survey
from archive.store.volumes import Volume
from archive.survey.backlog import Complete, Part
from archive.survey.broken import Repaired, clear, repair
from archive.survey.records import unwritable

Progress = Callable[[str, int, int], None]


class _Batches:
    """Frames that were looked at and wait to be written together, at most ``MOST_FRAMES`` at a time.

    Those of one broken document (``origins``, by frame) stay together: measured as they were, they give that
    very document. ``written`` are the names of the documents that were.
    """

    def __init__(self, volumes: Sequence[Volume], origins: Mapping[str, str]) -> None:
        self._volumes = volumes
        self._origins = origins
        self._waiting: dict[tuple[str, str, tuple[int, int]], list[tuple[Frame, Look]]] = {}
        self.written: set[str] = set()

    def add(self, folder: str, frame: Frame, seen: Look) -> None:
        """Let a frame wait; what is complete with it is written."""
        key = (folder, self._origins.get(frame.id, ""), seen.size)
        self._waiting.setdefault(key, []).append((frame, seen))
        if len(self._waiting[key]) == MOST_FRAMES:
            self._write(key)

    def end(self, but: str = "") -> None:
        """Write whatever waits, but for one roll."""
        for key in [key for key in self._waiting if key[0] != but]:
            self._write(key)

    def _write(self, key: tuple[str, str, tuple[int, int]]) -> None:
        self.written.add(_record(self._volumes, key[0], key[2], self._waiting[key]))
        # Only now: a writing that was stopped is made good by the next.
        del self._waiting[key]


@dataclass(kw_only=True)
class _Backlog:
    """The parts, how many frames of each are left, and what became of those that were repaired, by folder."""

    complete: Complete
    parts: list[Part] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    repaired: dict[str, Repaired] = field(default_factory=dict)

    def origins(self) -> dict[str, str]:
        """The broken document that tells of a frame, by frame id."""
        return {
            frame: name
            for repaired in self.repaired.values()
            for name, members in repaired.broken.items()
            for frame in members
        }


def run_survey(books: Books, parts: Sequence[Part], *, progress: Progress) -> SurveyReport:
    """Measure those of these frames that have not been measured, on all processors.

    Records go to every mounted volume, a few dozen frames at a time: stopped, it loses no more than these. A
    volume that is only found beside, and cannot be written, is told and left out.
    A frame that cannot be read or decoded is told, and tried again next time. Of frames that were named, and
    of rolls of which something was seen damaged, previews and records are proven first, and mended from
    another volume or measured again.
    """
    bugs: list[Exception] = []
    failed: list[SurveyNote] = []
    measured = copied = 0
    with ExitStack() as stack:
        volumes = _locked(books, stack, failed)
        decoder = stack.enter_context(DecoderPool(_processors()))
        hurt: set[str] = set()
        if len(volumes) > 1:
            for part in parts:
                copied += _levelled(volumes, part.folder, failed, hurt)
        backlog = _waiting(books, volumes, parts, hurt, progress)
        total = sum(backlog.left)
        # Loaded when their turn comes: a roll at a time, however many wait.
        frames = (
            (frame, part.folder)
            for part, left in zip(backlog.parts, backlog.left, strict=True)
            if left
            for frame in part.unseen(books.mounted)
        )
        batches = _Batches(volumes, backlog.origins())
        try:
            for count, (frame, folder, outcome) in enumerate(_looked_at(books, frames, decoder), 1):
                if isinstance(outcome, Exception):
                    if not isinstance(outcome, ArchiveError):
                        bugs.append(outcome)
                    failed.append(SurveyNote(path=f"{folder}/{shown(frame.path)}", text=str(outcome)))
                else:
                    batches.add(folder, frame, outcome)
                    measured += 1
                batches.end(but=folder)
                progress("Surveying", count, total)
        except KeyboardInterrupt:
            # A few seconds of writing, for minutes of measuring.
            batches.end()
            raise
        batches.end()
        copied += sum(repaired.brought for repaired in backlog.repaired.values())
        for folder, repaired in backlog.repaired.items():
            failed += _cleared(books, volumes, folder, repaired, batches.written, backlog.complete)
    if bugs:
        # Told as what it is, but only now: one fault never stops the rest.
        bugs[0].add_note(
            f"{len(bugs)} of {total} frames met a fault of the program; the others were measured."
        )
        raise bugs[0]
    return SurveyReport(
        measured=measured,
        held=sum(part.frames for part in backlog.parts) - total,
        copied=copied,
        rolls=tuple(part.folder for part in parts),
        failed=tuple(failed),
    )


def _waiting(
    books: Books, volumes: Sequence[Volume], parts: Sequence[Part], hurt: set[str], progress: Progress
) -> _Backlog:
    """What is left of each part; those that a person named, or that are hurt or doubted, are repaired."""
    complete = Complete(books.home)
    backlog = _Backlog(complete=complete)
    try:
        for count, part in enumerate(parts, 1):
            left = complete.left(part)
            if not part.key or part.folder in hurt | complete.doubted:
                part, backlog.repaired[part.folder] = _repaired(books, volumes, part)
                left = part.left(books.mounted)
            elif left and len(books.mounted) > 1:
                left = part.left(books.mounted)
            backlog.parts.append(part)
            backlog.left.append(left)
            progress("Looking for what is new", count, len(parts))
    finally:
        complete.keep()
    return backlog


def _repaired(books: Books, volumes: Sequence[Volume], part: Part) -> tuple[Part, Repaired]:
    """A part with every frame whose document is broken, and what was repaired."""
    named = None if part.key else {frame.id for frame in part.load()}
    repaired = repair(books, volumes, part.folder, named)
    if repaired.broken:
        members = frozenset().union(*repaired.broken.values())
        roll = frames_of_roll(books.catalogue, books.catalogue.rolls()[part.folder])
        part = part.joined([frame for frame in roll if frame.id in members], frozenset(repaired.broken))
    return part, repaired


def _cleared(
    books: Books,
    volumes: Sequence[Volume],
    folder: str,
    repaired: Repaired,
    written: set[str],
    complete: Complete,
) -> list[SurveyNote]:
    notes = clear(books, volumes, folder, repaired, written)
    if not notes and folder in complete.doubted:
        complete.healed(folder)
        complete.keep()
    return notes


def _locked(books: Books, stack: ExitStack, failed: list[SurveyNote]) -> list[Volume]:
    """The volumes that records go to, each under its lock; those in use must be among them."""
    volumes = []
    for volume in sorted(books.mounted, key=lambda volume: volume.id):
        try:
            stack.enter_context(volume.disk.lock("survey", "surveying"))
            tidy(volume.disk, "survey")
        except (ArchiveError, OSError) as error:
            if volume not in books.beside:
                raise
            failed.append(SurveyNote(path=shown(volume.name), text=str(error)))
        else:
            volumes.append(volume)
    return volumes


def _levelled(volumes: Sequence[Volume], roll_folder: str, failed: list[SurveyNote], hurt: set[str]) -> int:
    """Bring records that only some volumes hold to the others; how many came. Damaged rolls are ``hurt``."""
    folder = survey_folder(roll_folder)
    came = 0
    for source in volumes:
        for target in volumes:
            if source.id == target.id:
                continue
            try:
                came += copy_survey(source.disk, target.disk, folder)
            except (DamagedFileError, FileNotFoundError):
                hurt.add(roll_folder)
            except ArchiveError as error:
                failed.append(SurveyNote(path=folder, text=str(error)))
    return came


def _looked_at(
    books: Books, frames: Iterable[tuple[Frame, str]], decoder: DecoderPool
) -> Iterator[tuple[Frame, str, Look | Exception]]:
    """Each frame, its roll's folder, and what it gave or why it gave nothing; in order, a few ahead."""

    def work(frame: Frame) -> Look | Exception:
        try:
            data = books.master_bytes(frame)
            return look(_decoded(data, frame, decoder))
        except OSError:
            raise
        except Exception as error:
            return error

    pending: deque[tuple[Frame, str, Future[Look | Exception]]] = deque()
    with ThreadPoolExecutor(_processors()) as pool:
        try:
            for frame, folder in frames:
                pending.append((frame, folder, pool.submit(work, frame)))
                if len(pending) > 2 * _processors():
                    first, first_folder, future = pending.popleft()
                    yield first, first_folder, future.result()
            while pending:
                first, first_folder, future = pending.popleft()
                yield first, first_folder, future.result()
        finally:
            for *_, future in pending:
                future.cancel()


def _decoded(data: bytes, frame: Frame, decoder: DecoderPool) -> Decoded:
    """A frame, with the preview that its camera put into the file where it shows the frame large enough."""
    turned = frame.facts.orientation
    if frame.role is Role.RAW:
        try:
            return decoder.decode(data, frame.name, orientation=turned, preview=SIDE)
        except DamagedFileError:
            # It may be the preview alone that nobody can read.
            pass
    return decoder.decode(data, frame.name, orientation=turned)


def _record(
    volumes: Sequence[Volume], roll_folder: str, size: tuple[int, int], looks: Sequence[tuple[Frame, Look]]
) -> str:
    """Write one document with its previews and slices to every volume; gives its name."""
    slices_data = slices_png([seen.column for _, seen in looks])
    slices = _kept("slices", "png", slices_data)
    files = {slices.path: slices_data}
    surveyed = []
    for at, (frame, seen) in enumerate(looks):
        preview = _kept("previews", "jpg", seen.preview)
        files[preview.path] = seen.preview
        surveyed.append(
            SurveyedFrame(
                frame=frame.id,
                path=frame.path,
                preview=preview,
                preview_from=seen.origin,
                slices=slices,
                slice_at=at,
                measures=seen.measures,
            )
        )
    document = SurveyDocument(
        method=METHOD,
        roll=roll_folder.rpartition("-")[2],
        size=size,
        slices=slices,
        frames=tuple(surveyed),
    )
    for volume in volumes:
        try:
            write_survey(volume.disk, survey_folder(roll_folder), files, document)
        except OSError as error:
            raise unwritable(volume, error) from error
    return survey_format.encode(document)[0]


def _kept(folder: str, ending: str, data: bytes) -> KeptFile:
    digest = FrameId(digest_bytes(data))
    return KeptFile(
        path=f"{folder}/{digest.removeprefix('xxh128:')[:16]}.{ending}", size=len(data), digest=digest
    )


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
