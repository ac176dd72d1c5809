"""One file from its planned inputs: masters decoded, developed, encoded, described."""

from __future__ import annotations

import errno
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Protocol

import archive
from archive.catalogue.books import Books
from archive.engine.decode import DecoderPool
from archive.engine.output import encode_jpeg, encode_png, encode_tiff
from archive.engine.pipeline import render
from archive.errors import ArchiveError, shown
from archive.exports.darks import master_for
from archive.exports.movie import MovieWriter
from archive.exports.ordered import in_order
from archive.exports.plan import Development, PlannedFile, without
from archive.formats.provenance import mp4_uuid_box, packet
from archive.model.product import Spec
from archive.model.results import FileNote
from archive.store.digest import digest_bytes
from archive.store.durable import digest_file, temporary_name

TOOL = f"Noctuary {archive.__version__}"


@dataclass(frozen=True, kw_only=True)
class Marks:
    """What is written into a file about itself: ids and the time of its making."""

    document_id: str
    instance_id: str
    made: str


@dataclass(frozen=True, kw_only=True)
class MadeBytes:
    """A still as it will lie on the disk."""

    data: bytes
    digest: str
    document_id: str
    instance_id: str


def develop_pixels(books: Books, item: Development, spec: Spec, decoder: DecoderPool, *, threads: int) -> Any:
    """The pixels of one frame: uint8 or uint16, (height, width, 3), display-encoded."""
    data = books.master_bytes(item.frame)
    decoded = decoder.decode(data, item.frame.name, orientation=item.frame.facts.orientation)
    dark = master_for(books, decoder, item.effective)
    return render(decoded, item.effective, spec.pixels, threads=threads, dark=dark)


def make_still(
    books: Books, file: PlannedFile, marks: Marks, decoder: DecoderPool, *, threads: int
) -> MadeBytes:
    """One picture, encoded; a function of its inputs, recipe, spec and marks."""
    pixels = develop_pixels(books, file.inputs[0], file.spec, decoder, threads=threads)
    data = encoded(pixels, file.spec, provenance(file, marks))
    return MadeBytes(
        data=data,
        digest=digest_bytes(data),
        document_id=marks.document_id,
        instance_id=marks.instance_id,
    )


def encoded(pixels: Any, spec: Spec, xmp: bytes) -> bytes:
    """Pixels in the spec's container.

    Raises
    ------
    ArchiveError : for a container that this release does not write.
    """
    if spec.container == "jpeg":
        return encode_jpeg(
            pixels, quality=spec.encoder["quality"], subsampling=spec.encoder["subsampling"], xmp=xmp
        )
    if spec.container == "tiff":
        return encode_tiff(pixels, xmp=xmp)
    if spec.container == "png":
        return encode_png(pixels, xmp=xmp)
    raise ArchiveError(
        f"This release writes no {shown(spec.container)} files, which {shown(spec.name)} asks for.",
        hint="Nothing was made. A newer release is needed.",
    )


def provenance(file: PlannedFile, marks: Marks) -> bytes:
    """The XMP packet of a file: its ids, the masters it was made from, and its texts; no paths.

    Raises
    ------
    ArchiveError : when the texts are too long for a packet.
    """
    try:
        return packet(
            document_id=marks.document_id,
            instance_id=marks.instance_id,
            derived_from=[(item.frame.id, item.frame.id) for item in file.inputs],
            created=marks.made,
            tool=TOOL,
            texts=dict(file.texts),
        )
    except ValueError as error:
        raise ArchiveError(
            f"The texts of {shown(file.inputs[0].frame.name)} are too long for a file: {error}.",
            hint="Masters and journal are safe. Shorten them with `noctuary text`, then export again.",
        ) from error


class TakenError(FileExistsError):
    """Other bytes lie at ``path``; ``digest`` is that of the file that was to be put there."""

    def __init__(self, path: str, digest: str) -> None:
        super().__init__(errno.EEXIST, "is there already", path)
        self.path = path
        self.digest = digest


class MarksOf(Protocol):
    """Gives each file the ids and the time that its job writes into it."""

    def marks(self, file: PlannedFile) -> Marks: ...


@dataclass(frozen=True, kw_only=True)
class MadeMovie:
    """A published movie; ``file`` is what it really was made of, without the frames that were lost."""

    file: PlannedFile
    digest: str
    size: int
    lost: tuple[FileNote, ...]


def make_movie(
    books: Books,
    planned: PlannedFile,
    job: MarksOf,
    decoder: DecoderPool,
    *,
    threads: int,
    told: Callable[[int], None],
    whole: bool = False,
) -> MadeMovie:
    """Render a movie straight from its masters to its final path.

    A frame that cannot be developed is left out and told; the movie is then another file than planned,
    or, where it is to be ``whole``, none is made.

    Raises
    ------
    TakenError : when something else holds its path.
    ArchiveError : when no frame can be developed, or the movie cannot be written.
    """
    disk = books.home.disk
    temporary = temporary_name("export")
    try:
        lost = _encode_frames(books, planned, decoder, disk.lend(temporary), threads, told)
        if whole and lost:
            raise ArchiveError(
                f"{shown(planned.path)} was not made again: {len(lost)} of its {len(planned.inputs)} frames "
                f"cannot be developed. The first: {next(iter(lost.values())).text}",
                hint="Nothing was published.",
            )
        file = without(planned, lost.keys())
        if not file.inputs:
            raise ArchiveError(
                f"{shown(planned.path)} was not made: none of its {len(planned.inputs)} frames can be "
                f"developed. The first: {next(iter(lost.values())).text}",
                hint="The masters were not changed.",
            )
        with disk.lend(temporary).open("ab") as stream:
            stream.write(mp4_uuid_box(provenance(file, job.marks(file))))
        disk.settle(temporary)
        digest, size = digest_file(disk, temporary)
        try:
            disk.publish(temporary, file.path)
        except FileExistsError:
            if digest_file(disk, file.path)[0] != digest:
                raise TakenError(file.path, digest) from None
    except FileExistsError:
        raise
    except OSError as error:
        raise cannot_write(planned.path, error) from error
    finally:
        disk.remove(temporary)
    disk.sync_folder(file.path.rpartition("/")[0])
    return MadeMovie(file=file, digest=digest, size=size, lost=tuple(lost.values()))


def _encode_frames(
    books: Books,
    file: PlannedFile,
    decoder: DecoderPool,
    target: Path,
    threads: int,
    told: Callable[[int], None],
) -> dict[str, FileNote]:
    """Write the movie's frames in order; answers those that could not be developed, by frame id."""
    lost: dict[str, FileNote] = {}

    def work(item: Development) -> Any:
        return develop_pixels(books, item, file.spec, decoder, threads=1)

    with ExitStack() as stack:
        writer: MovieWriter | None = None
        for done, (item, outcome) in enumerate(in_order(file.inputs, work, threads), 1):
            try:
                pixels = outcome()
            except ArchiveError as error:
                lost[item.frame.id] = FileNote(path=shown(item.frame.name), text=str(error))
            else:
                if writer is None:
                    height, width = pixels.shape[:2]
                    rate = file.spec.rate or Fraction(25)
                    settings = _movie_settings(file.spec)
                    writer = stack.enter_context(
                        MovieWriter(target, width=width, height=height, rate=rate, encoder=settings)
                    )
                writer.add(pixels)
            told(done)
    return lost


def _movie_settings(spec: Spec) -> dict[str, Any]:
    """The encoder's own settings; refuses a codec that this release does not write."""
    settings = dict(spec.encoder)
    codec = settings.pop("codec")
    if codec != "h264":
        raise ArchiveError(
            f"This release writes no {shown(str(codec))} movies, which {shown(spec.name)} asks for.",
            hint="Nothing was made. A newer release is needed.",
        )
    return settings


def cannot_write(path: str, error: OSError) -> ArchiveError:
    return ArchiveError(
        f"{shown(path)} cannot be written: {error.strerror}.",
        hint="Masters and journal are safe. Make room, then run the export again: it goes on.",
    )
