"""Measures every frame that has not been measured yet, roll by roll; may be stopped anywhere."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field

from archive.catalogue.books import Books
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.surveyor import SIDE, Look, look, slices_png
from archive.errors import ArchiveError, DamagedFileError, shown
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

Progress = Callable[[str, int, int], None]


@dataclass(kw_only=True)
class _Batch:
    """Frames of one preview size that wait to be written together."""

    size: tuple[int, int]
    frames: list[Frame] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)


def run_survey(books: Books, parts: Sequence[Part], *, progress: Progress) -> SurveyReport:
    """Measure those of these frames that have not been measured, on all processors.

    Records go to every mounted volume, a few dozen frames at a time: stopped, it loses no more than these. A
    volume that is only found beside, and cannot be written, is told and left out.
    A frame that cannot be read or decoded is told, and tried again next time.
    """
    failed: list[SurveyNote] = []
    measured = copied = 0
    with ExitStack() as stack:
        volumes = _locked(books, stack, failed)
        decoder = stack.enter_context(DecoderPool(_processors()))
        if len(volumes) > 1:
            for part in parts:
                copied += _levelled(volumes, part.folder, failed)
        waiting = _waiting(books, parts, progress)
        total = sum(waiting.values())
        # Loaded when their turn comes: a roll at a time, however many wait.
        frames = (
            (frame, part.folder)
            for part in parts
            if part.folder in waiting
            for frame in part.unseen(books.mounted)
        )
        batches: dict[tuple[str, tuple[int, int]], _Batch] = {}
        for count, (frame, folder, outcome) in enumerate(_looked_at(books, frames, decoder), 1):
            if isinstance(outcome, ArchiveError):
                failed.append(SurveyNote(path=f"{folder}/{shown(frame.path)}", text=str(outcome)))
            else:
                key = (folder, outcome.size)
                batch = batches.setdefault(key, _Batch(size=outcome.size))
                batch.frames.append(frame)
                batch.looks.append(outcome)
                measured += 1
                if len(batch.frames) == MOST_FRAMES:
                    _record(volumes, folder, batches.pop(key))
            for ended, size in [each for each in batches if each[0] != folder]:
                _record(volumes, ended, batches.pop((ended, size)))
            progress("Surveying", count, total)
        for (folder, _), batch in batches.items():
            _record(volumes, folder, batch)
    return SurveyReport(
        measured=measured,
        held=sum(part.frames for part in parts) - total,
        copied=copied,
        rolls=tuple(part.folder for part in parts),
        failed=tuple(failed),
    )


def _waiting(books: Books, parts: Sequence[Part], progress: Progress) -> dict[str, int]:
    """How many frames of each part were not measured yet, by folder; parts of which all were are left out."""
    complete = Complete(books.home)
    waiting: dict[str, int] = {}
    try:
        for count, part in enumerate(parts, 1):
            left = complete.left(part)
            if left and len(books.mounted) > 1:
                left = part.left(books.mounted)
            if left:
                waiting[part.folder] = left
            progress("Looking for what is new", count, len(parts))
    finally:
        complete.keep()
    return waiting


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


def _levelled(volumes: Sequence[Volume], roll_folder: str, failed: list[SurveyNote]) -> int:
    """Bring records that only some volumes hold to the others; how many came."""
    folder = survey_folder(roll_folder)
    came = 0
    for source in volumes:
        for target in volumes:
            if source.id == target.id:
                continue
            try:
                came += copy_survey(source.disk, target.disk, folder)
            except ArchiveError as error:
                failed.append(SurveyNote(path=folder, text=str(error)))
    return came


def _looked_at(
    books: Books, frames: Iterable[tuple[Frame, str]], decoder: DecoderPool
) -> Iterator[tuple[Frame, str, Look | ArchiveError]]:
    """Each frame, its roll's folder, and what it gave or why it gave nothing; in order, a few ahead."""

    def work(frame: Frame) -> Look | ArchiveError:
        try:
            data = books.master_bytes(frame)
            return look(_decoded(data, frame, decoder))
        except ArchiveError as error:
            return error

    pending: deque[tuple[Frame, str, Future[Look | ArchiveError]]] = deque()
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


def _record(volumes: Sequence[Volume], roll_folder: str, batch: _Batch) -> None:
    """Write one document with its previews and slices to every volume."""
    slices_data = slices_png([seen.column for seen in batch.looks])
    slices = _kept("slices", "png", slices_data)
    files = {slices.path: slices_data}
    surveyed = []
    for at, (frame, seen) in enumerate(zip(batch.frames, batch.looks, strict=True)):
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
        size=batch.size,
        slices=slices,
        frames=tuple(surveyed),
    )
    for volume in volumes:
        try:
            write_survey(volume.disk, survey_folder(roll_folder), files, document)
        except OSError as error:
            raise ArchiveError(
                f"The survey cannot be written to {shown(volume.name)}: {error.strerror}.",
                hint="What was surveyed before is safe. Make room, then run the same command again.",
            ) from error


def _kept(folder: str, ending: str, data: bytes) -> KeptFile:
    digest = FrameId(digest_bytes(data))
    return KeptFile(
        path=f"{folder}/{digest.removeprefix('xxh128:')[:16]}.{ending}", size=len(data), digest=digest
    )


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
