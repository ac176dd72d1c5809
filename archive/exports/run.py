"""Running an export: render what is not there yet, publish, and put on record what came from what."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from archive.catalogue.books import Books
from archive.catalogue.lineage import derivatives
from archive.engine.decode import DecoderPool
from archive.errors import ArchiveError, shown
from archive.exports.make import MadeBytes, TakenError, cannot_write, make_movie, make_still
from archive.exports.ordered import in_order
from archive.exports.plan import Plan, PlannedFile
from archive.exports.record import Recorder, begin_or_resume, unfinished
from archive.model.results import ExportReport, FileNote, MadeFile
from archive.store.durable import digest_file, tidy, write_new

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, kw_only=True)
class _Work:
    """What one job works with, and what it collects."""

    books: Books
    decoder: DecoderPool
    recorder: Recorder
    threads: int
    progress: Progress
    made: list[MadeFile] = field(default_factory=list)
    lost: list[FileNote] = field(default_factory=list)


def run_export(books: Books, plan: Plan, *, threads: int, progress: Progress) -> ExportReport:
    """Make every file of a plan that is not there yet.

    One unreadable master costs one frame. Killed and run again, it goes on where it stopped.
    """
    with books.home.disk.lock("export", "An export"):
        tidy(books.home.disk, "export")
        fresh = [file for file in plan.files if _is_fresh(books, file)]
        made = [MadeFile(path=file.path, state="fresh", frames=len(file.inputs)) for file in fresh]
        lost: list[FileNote] = []
        job = None
        if len(fresh) < len(plan.files):
            job = begin_or_resume(books, plan)
            with Recorder(books, job, plan.spec) as recorder, DecoderPool(threads) as decoder:
                work = _Work(
                    books=books, decoder=decoder, recorder=recorder, threads=threads, progress=progress
                )
                present = {file.path for file in fresh}
                todo = [f for f in plan.files if f.path not in present and not _taken_up(work, f)]
                if plan.spec.product == "movie":
                    for file in todo:
                        _movie(work, file)
                else:
                    _stills(work, todo)
            recorder.end(failed=[file.path for file in work.made if file.state == "failed"])
            made += work.made
            lost = work.lost
        elif (left := unfinished(books, plan)) is not None:
            # It was killed between its last record and its end.
            Recorder(books, left, plan.spec).end(failed=[])
    return ExportReport(
        job=job.id if job else None,
        spec=plan.spec.name,
        files=tuple(sorted(made, key=lambda file: file.path)),
        contested=plan.contested,
        lost_frames=tuple(lost),
    )


def _is_fresh(books: Books, file: PlannedFile) -> bool:
    """This file, by this key, is on record and still lies there with its size."""
    found = books.home.disk.stat(file.path)
    return found is not None and any(
        derivative.file_key == file.file_key and derivative.size == found.size
        for derivative in derivatives(books.catalogue, path=file.path)
    )


def _taken_up(work: _Work, file: PlannedFile) -> bool:
    """A file that this very job published before it was killed is put on record as it lies there."""
    disk = work.books.home.disk
    if disk.stat(file.path) is None or not work.recorder.made_here(file):
        return False
    digest, size = digest_file(disk, file.path)
    work.recorder.delivered(file, digest=digest, size=size)
    work.made.append(MadeFile(path=file.path, state="made", frames=len(file.inputs)))
    return True


def _stills(work: _Work, files: Sequence[PlannedFile]) -> None:
    inner = max(1, work.threads // max(1, len(files)))

    def make(file: PlannedFile) -> MadeBytes:
        before = work.recorder.same_bytes(file)
        if before is not None:
            return before
        return make_still(work.books, file, work.recorder.marks(file), work.decoder, threads=inner)

    for done, (file, outcome) in enumerate(in_order(files, make, work.threads), 1):
        try:
            made = outcome()
            _publish(work.books, file, made.data)
        except ArchiveError as error:
            work.made.append(MadeFile(path=file.path, state="failed", text=str(error)))
            work.lost.append(FileNote(path=shown(file.inputs[0].frame.name), text=str(error)))
        else:
            ids = (made.document_id, made.instance_id)
            work.recorder.delivered(file, digest=made.digest, size=len(made.data), ids=ids)
            work.made.append(MadeFile(path=file.path, state="made"))
        work.progress("Rendering", done, len(files))


def _publish(books: Books, file: PlannedFile, data: bytes) -> None:
    folder, _, name = file.path.rpartition("/")
    try:
        write_new(books.home.disk, folder, name, data, by="export")
    except FileExistsError as error:
        raise in_the_way(file.path) from error
    except OSError as error:
        raise cannot_write(file.path, error) from error


def _movie(work: _Work, file: PlannedFile) -> None:
    total = len(file.inputs)
    try:
        made = make_movie(
            work.books,
            file,
            work.recorder,
            work.decoder,
            threads=work.threads,
            told=lambda done: work.progress("Rendering", done, total),
        )
    except (TakenError, ArchiveError) as error:
        trouble = in_the_way(error.path) if isinstance(error, TakenError) else error
        work.made.append(MadeFile(path=file.path, state="failed", text=str(trouble), frames=total))
    else:
        work.lost.extend(made.lost)
        work.recorder.delivered(made.file, digest=made.digest, size=made.size)
        work.made.append(MadeFile(path=made.file.path, state="made", frames=len(made.file.inputs)))


def in_the_way(path: str) -> ArchiveError:
    return ArchiveError(
        f"{shown(path)} is there already and is not what this export makes.",
        hint="It was not overwritten. Move it away, then run the export again.",
    )
