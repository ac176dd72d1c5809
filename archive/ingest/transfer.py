"""One file from a card to every volume: read once, hash, write all, read back, compare, publish."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.errors import ArchiveError, DamagedFileError, Exit, shown
from archive.model.identity import FrameId
from archive.store.digest import Digester, blocks, digest_at
from archive.store.ports import Grade, Writing
from archive.store.volumes import Volume

_ATTEMPTS = 3
_WEAKEST = (Grade.CACHED, Grade.EVICTED, Grade.DIRECT)


class CardReadError(Exception):
    """The card gave no whole reading of a file; the text says why."""


@dataclass(frozen=True, kw_only=True)
class Copied:
    """A file that now lies, proven, on every volume; ``grades`` by volume id."""

    digest: FrameId
    grades: dict[str, Grade]
    written: bool


def weaker(one: Grade | None, other: Grade) -> Grade:
    return other if one is None else min(one, other, key=_WEAKEST.index)


def read_digest(path: Path) -> FrameId:
    """The digest of a file on the card, from one whole reading.

    Raises
    ------
    CardReadError : when it cannot be read, or changes while being read.
    """
    return _retried(path, lambda: _steady(path, lambda: digest_at(path)))


def copy_file(
    source: Path,
    target: str,
    volumes: Sequence[Volume],
    *,
    temporary: str,
    modified_ns: int,
    progress: Callable[[int], None],
) -> Copied:
    """Copy a card's file to ``target`` on every volume that lacks it; what lies there already is proven.

    Raises
    ------
    CardReadError : when the card gives no whole reading.
    ArchiveError : when a volume cannot be written, or its copy never matches the card.
    """
    lacking = [volume for volume in volumes if volume.disk.stat(target) is None]
    grades: dict[str, Grade] = {}
    digest: FrameId | None = None
    if len(lacking) < len(volumes):
        digest = read_digest(source)
        for volume in volumes:
            if volume in lacking:
                continue
            held, grade = _read_back(volume, target)
            if held != digest:
                raise DamagedFileError(
                    f"{shown(target)} on {shown(volume.name)} does not match the card.",
                    hint="Neither was changed. Run `noctuary audit` to see which copy is sound.",
                )
            if volume.disk.stat(target).writable:  # type: ignore[union-attr]
                volume.disk.protect(target)
            grades[volume.id] = grade
    if not lacking:
        assert digest is not None
        progress(source.stat().st_size)
        return Copied(digest=digest, grades=grades, written=False)
    for attempt in range(_ATTEMPTS):
        try:
            copied = _retried(source, lambda: _copy_once(source, lacking, temporary, modified_ns, progress))
            mismatched = []
            for volume in lacking:
                held, grade = _read_back(volume, temporary)
                grades[volume.id] = grade
                if held != copied:
                    mismatched.append(volume)
            if digest is not None and copied != digest:
                raise CardReadError("two readings of it differ")
            if not mismatched:
                for volume in lacking:
                    _publish(volume, temporary, target)
                return Copied(digest=copied, grades=grades, written=True)
        except BaseException:
            _discard(lacking, temporary)
            raise
        _discard(lacking, temporary)
        if attempt == _ATTEMPTS - 1:
            names = ", ".join(shown(volume.name) for volume in mismatched)
            raise DamagedFileError(
                f"{shown(source.name)} on the card does not match its copy on {names}, "
                f"written {_ATTEMPTS} times.",
                hint="The card was not changed and the copy was removed. Run `noctuary ingest` again "
                "for this card; if it repeats, try another drive, cable or reader.",
            )
    raise AssertionError("unreachable")


def _copy_once(
    source: Path, volumes: Sequence[Volume], temporary: str, modified_ns: int, progress: Callable[[int], None]
) -> FrameId:
    """One reading into a new temporary file on every volume; durable, read-only, its digest."""
    writings: list[Writing] = []
    try:
        for volume in volumes:
            volume.disk.remove(temporary)
            try:
                writings.append(volume.disk.begin(temporary))
            except OSError as error:
                raise _cannot_write(volume, error) from error
        digester = Digester()

        def read() -> FrameId:
            with source.open("rb", buffering=0) as stream:
                for block in blocks(stream):
                    digester.update(block)
                    for volume, writing in zip(volumes, writings, strict=True):
                        try:
                            writing.write(block)
                        except OSError as error:
                            raise _cannot_write(volume, error) from error
                    progress(len(block))
            return digester.id

        digest = _steady(source, read)
        for volume, writing in zip(volumes, writings, strict=True):
            try:
                writing.finish(modified_ns=modified_ns)
            except OSError as error:
                raise _cannot_write(volume, error) from error
    except BaseException:
        for writing in writings:
            writing.abandon()
        raise
    return digest


def _steady(source: Path, read: Callable[[], FrameId]) -> FrameId:
    """A reading during which the file kept its size and time."""
    before = source.stat()
    digest = read()
    after = source.stat()
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise CardReadError("it changed while it was being read")
    return digest


def _retried(source: Path, read: Callable[[], FrameId]) -> FrameId:
    last: OSError | None = None
    for _ in range(_ATTEMPTS):
        try:
            return read()
        except OSError as error:
            last = error
            if not source.exists():
                break
    assert last is not None
    raise CardReadError(f"cannot be read: {last.strerror or last}") from last


def _read_back(volume: Volume, path: str) -> tuple[str, Grade]:
    try:
        return volume.disk.read_back(path)
    except OSError as error:
        raise _cannot_write(volume, error, "read back") from error


def _publish(volume: Volume, temporary: str, target: str) -> None:
    try:
        volume.disk.publish(temporary, target)
    except OSError as error:
        raise _cannot_write(volume, error) from error


def _cannot_write(volume: Volume, error: OSError, doing: str = "written") -> ArchiveError:
    return ArchiveError(
        f"{shown(volume.name)} cannot be {doing}: {error.strerror}.",
        hint="The card was not changed, and what was copied before is safe. Make room or mend the drive, "
        "then run the same command again: it goes on where it stopped.",
        exit_code=Exit.ATTENTION,
    )


def _discard(volumes: Sequence[Volume], temporary: str) -> None:
    for volume in volumes:
        volume.disk.remove(temporary)
