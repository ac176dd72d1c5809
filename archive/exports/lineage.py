"""What made this file? Asked of a frame, a sequence, a derivative, or any file from anywhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from archive.catalogue.books import Books
from archive.catalogue.lineage import derivatives, effectives
from archive.catalogue.pairs import frames_as_made, frames_now
from archive.catalogue.resolve import find
from archive.errors import ArchiveError, UsageError, shown
from archive.formats.provenance import Provenance, find_packet, read_packet
from archive.model.capture import Frame
from archive.model.identity import short
from archive.model.product import Derivative
from archive.model.recipe import OperatorValues
from archive.model.results import LineageAnswer, LineageInput
from archive.store.digest import digest_at

SayStep = Callable[[OperatorValues], str]


def lineage_of(books: Books, asked: str, say: SayStep) -> LineageAnswer:
    """Everything known about what was asked: found by digest, by embedded id, or by name.

    Raises
    ------
    UsageError : when it is neither a file nor anything that the archive knows.
    """
    path = Path(asked)
    if _is_file(path):
        answer = _of_file(books, path, say)
        if answer is not None:
            return answer
        raise UsageError(
            f"{shown(path.name)} is not known here: neither its bytes nor an id inside it are on record.",
            hint="It was made elsewhere, or by another archive; unite that archive to find it.",
        )
    # Bytes that are no text are in no name on record, and no database takes them.
    asked = shown(asked)
    recorded = derivatives(books.catalogue, path=asked) or derivatives(books.catalogue, digest=asked)
    if recorded:
        return _answer(books, asked, recorded[-1], "its path on record", "certain", say)
    frames = find(books.catalogue, asked).frames
    return _of_frames(books, asked, frames, "its name", "certain")


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        # No file has a name this long; a frame may still be meant.
        return False


def _of_file(books: Books, path: Path, say: SayStep) -> LineageAnswer | None:
    digest = digest_at(path)
    asked = path.name
    made = derivatives(books.catalogue, digest=digest)
    if made:
        return _answer(books, asked, made[-1], "its bytes (XXH3-128)", "certain: byte for byte", say)
    masters = books.catalogue.frames_by_id([digest])
    if masters:
        return _of_frames(books, asked, list(masters.values()), "its bytes (XXH3-128)", "certain: a master")
    owners = [master for _, _, master in books.catalogue.files_by_digest(digest) if master]
    frames = list(frames_now(books.catalogue, [digest, *owners]).values())
    if frames:
        return _of_frames(books, asked, frames, "its bytes", "certain: a companion of this frame")
    return _by_embedded_id(books, path, say)


def _by_embedded_id(books: Books, path: Path, say: SayStep) -> LineageAnswer | None:
    embedded = _embedded(path)
    if embedded is None:
        return None
    by_instance = derivatives(books.catalogue, instance_id=embedded.instance_id)
    if by_instance:
        how = "sure of the origin; the bytes were changed since it was made"
        return _answer(books, path.name, by_instance[-1], "the instance id inside it", how, say)
    by_document = derivatives(books.catalogue, document_id=embedded.document_id)
    if by_document:
        how = "sure of the picture; this version of it was saved by other software"
        return _answer(books, path.name, by_document[-1], "the document id inside it", how, say)
    embedded_ids = [document for document, _ in embedded.derived_from if document]
    frames = frames_now(books.catalogue, embedded_ids)
    if frames:
        how = "sure of the masters; the file itself is not on record"
        return _of_frames(books, path.name, list(frames.values()), "the master ids inside it", how)
    return None


def _embedded(path: Path) -> Provenance | None:
    try:
        with path.open("rb") as stream:
            found = find_packet(stream)
        return None if found is None else read_packet(found)
    except (ArchiveError, OSError, ValueError):
        return None


def _answer(
    books: Books, asked: str, derivative: Derivative, found_by: str, certainty: str, say: SayStep
) -> LineageAnswer:
    keys = sorted({origin.effective for origin in derivative.origins})
    recipes = effectives(books.catalogue, keys)
    frames = frames_as_made(books.catalogue, [origin.frame for origin in derivative.origins])
    inputs = []
    for origin in derivative.origins:
        frame = frames.get(origin.frame)
        recipe = recipes.get(origin.effective)
        steps = [say(step) for step in (*recipe.base, *recipe.finish)] if recipe else []
        inputs.append(
            LineageInput(
                frame=origin.frame,
                address=_address(books, frame),
                name=frame.name if frame else "not held here",
                master=_where(books, origin.frame),
                versions=tuple(origin.versions),
                recipe=tuple(steps),
                pixel_key=origin.pixel_key,
            )
        )
    generations = {recipe.foundation.generation for recipe in recipes.values()}
    return LineageAnswer(
        asked=asked,
        found_by=found_by,
        certainty=certainty,
        path=derivative.path,
        spec=derivative.spec.name,
        made=derivative.made,
        made_by=f"job {short(derivative.job, 8)}",
        generation=max(generations, default=None),
        inputs=tuple(inputs),
        outputs=(),
    )


def _of_frames(
    books: Books, asked: str, frames: Sequence[Frame], found_by: str, certainty: str
) -> LineageAnswer:
    outputs: dict[str, None] = {}
    for frame in frames:
        for derivative in derivatives(books.catalogue, frame=frame.id):
            outputs[derivative.path] = None
    return LineageAnswer(
        asked=asked,
        found_by=found_by,
        certainty=certainty,
        path=None,
        spec=None,
        made=None,
        made_by=None,
        generation=None,
        inputs=tuple(
            LineageInput(
                frame=frame.id,
                address=_address(books, frame),
                name=frame.name,
                master=_where(books, frame.id),
                versions=(),
                recipe=(),
                pixel_key="",
            )
            for frame in frames
        ),
        outputs=tuple(outputs),
    )


def _address(books: Books, frame: Frame | None) -> str | None:
    return None if frame is None else books.address_of(frame)


def _where(books: Books, frame: str) -> str:
    copies = books.catalogue.copies(frame)
    if not copies:
        return "no volume known here holds it"
    return "; ".join(f"masters/{copy.path} on {books.volume_name(copy.volume)}" for copy in copies)
