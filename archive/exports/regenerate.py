"""Making a derivative again: the exact old one, compared with its record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from archive.catalogue.books import Books
from archive.catalogue.lineage import effectives
from archive.engine.decode import DecoderPool
from archive.errors import ArchiveError, shown
from archive.exports.make import Marks, TakenError, cannot_write, make_movie, make_still
from archive.exports.plan import PlannedFile, recorded_plan
from archive.model.product import Derivative
from archive.model.results import ExportReport, FileNote, MadeFile
from archive.store.durable import digest_file, tidy, write_new

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, kw_only=True)
class _RecordedMarks:
    """The ids and the date that a derivative was made with, given to it again."""

    derivative: Derivative

    def marks(self, _file: PlannedFile) -> Marks:
        return Marks(
            document_id=self.derivative.document_id,
            instance_id=self.derivative.instance_id,
            made=self.derivative.made,
        )


def regenerate_exact(
    books: Books, chosen: Sequence[Derivative], *, threads: int, progress: Progress
) -> ExportReport:
    """Make these derivatives again from their records, with their recorded ids and dates.

    A missing file is put back in its place. A file that is there is compared and left as it is: states
    are ``same`` (byte for byte), ``made`` (was missing, and is byte for byte what it was) and ``differs``.
    """
    made: list[MadeFile] = []
    lost: list[FileNote] = []
    with books.home.disk.lock("export", "Regenerating"), DecoderPool(threads) as decoder:
        tidy(books.home.disk, "export")
        for done, derivative in enumerate(chosen, 1):
            try:
                made.append(_again(books, derivative, decoder, threads, progress))
            except ArchiveError as error:
                made.append(MadeFile(path=derivative.path, state="failed", text=str(error)))
                lost.append(FileNote(path=shown(derivative.path), text=str(error)))
            progress("Regenerating", done, len(chosen))
    spec = chosen[0].spec.name if chosen else ""
    return ExportReport(job=None, spec=spec, files=tuple(made), lost_frames=tuple(lost))


def _again(
    books: Books, derivative: Derivative, decoder: DecoderPool, threads: int, progress: Progress
) -> MadeFile:
    keys = sorted({origin.effective for origin in derivative.origins})
    planned = recorded_plan(books, derivative, effectives(books.catalogue, keys))
    marks = _RecordedMarks(derivative=derivative)
    disk = books.home.disk
    count = len(planned.inputs)
    there = disk.stat(derivative.path) is not None
    if derivative.spec.product == "movie":
        return _movie_again(books, planned, marks, decoder, threads, progress, there=there)
    still = make_still(books, planned, marks.marks(planned), decoder, threads=threads)
    same = still.digest == derivative.digest
    if there:
        return _compared(books, derivative, same, count)
    if not same:
        # Other bytes than those on record would lie there under a record that does not fit them.
        text = "this machine makes other bytes than were recorded; nothing was written"
        return MadeFile(path=derivative.path, state="differs", text=text, frames=count)
    folder, _, name = derivative.path.rpartition("/")
    try:
        write_new(disk, folder, name, still.data, by="export")
    except OSError as error:
        raise cannot_write(derivative.path, error) from error
    return MadeFile(path=derivative.path, state="made", frames=count)


def _movie_again(
    books: Books,
    planned: PlannedFile,
    marks: _RecordedMarks,
    decoder: DecoderPool,
    threads: int,
    progress: Progress,
    *,
    there: bool,
) -> MadeFile:
    derivative = marks.derivative
    total = len(planned.inputs)
    try:
        again = make_movie(
            books,
            planned,
            marks,
            decoder,
            threads=threads,
            told=lambda done: progress("Rendering", done, total),
            whole=True,
        )
    except TakenError as error:
        return _compared(books, derivative, error.digest == derivative.digest, total)
    if there:
        return _compared(books, derivative, again.digest == derivative.digest, total)
    state = "made" if again.digest == derivative.digest else "differs"
    return MadeFile(path=again.file.path, state=state, frames=len(again.file.inputs))


def _compared(books: Books, derivative: Derivative, same: bool, frames: int) -> MadeFile:
    """What is to be said of a file that is there already."""
    altered = digest_file(books.home.disk, derivative.path)[0] != derivative.digest
    if same and altered:
        text = "the file there was altered; move it away and regenerate to have the original back"
        return MadeFile(path=derivative.path, state="differs", text=text, frames=frames)
    if same:
        return MadeFile(path=derivative.path, state="same", text="byte for byte", frames=frames)
    text = "this machine makes other bytes than were recorded"
    return MadeFile(path=derivative.path, state="differs", text=text, frames=frames)
