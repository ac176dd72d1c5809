"""Files that a person names: never written over another, never among an archive's own, never in part."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

from archive.errors import ArchiveError, UsageError, shown
from archive.formats import volume
from archive.model.identity import new_token
from archive.store.naming import give_name
from archive.store.volumes import MASTERS, find_volume

_OWN = {
    *("activity", "exports", "finished", "incoming", "journal", MASTERS, "survey"),
    *("formats.md", "start-here.html", volume.NAME),
}
"""Names at the top of a volume (FORMATS.md §2), folded; other names there are the owner's."""


def check_target(path: Path, *, replace: bool | None = None) -> None:
    """Whether a file may be written at a path; asked before the work that makes it, and when it is written.

    Beside an archive's folders, in the one that holds them all, a file may lie; not in any of them.

    Parameters
    ----------
    replace : a file that is there is replaced; False and None refuse it, None where nobody could ask for it.

    Raises
    ------
    UsageError : it is a folder, or something is there already.
    ArchiveError : it would lie in an archive, or there is no such folder.
    """
    if path.is_dir():
        raise UsageError(f"{shown(str(path))} is a folder.", hint="Name a file to write, such as look.jpg.")
    check_outside(path)
    if not path.parent.is_dir():
        raise ArchiveError(
            f"{shown(str(path))} cannot be written: there is no folder {shown(str(path.parent))}.",
            hint="Nothing was made. Make the folder, or name another place.",
        )
    if os.path.lexists(path) and not (replace and path.is_file()):
        raise UsageError(
            f"{shown(str(path))} is there already.",
            hint="Nothing was made. Choose another name"
            + (", or replace it with --replace." if replace is False else "."),
        )


def check_outside(path: Path) -> None:
    """Whether a path is none of an archive's own.

    Raises
    ------
    ArchiveError : it is.
    """
    try:
        folder = path.parent.resolve()
    except RuntimeError:
        # Links that lead in a circle lead nowhere, as whoever writes there will find.
        return
    around = find_volume(folder)
    if around is not None and (folder != around or path.name.casefold() in _OWN):
        raise ArchiveError(
            f"{shown(str(path))} would lie in the archive {shown(str(around))}, where only the archive's own "
            "files lie.",
            hint="Nothing was changed. Name a place outside of its folders.",
        )


@contextlib.contextmanager
def new_target(path: Path, *, replace: bool | None = None) -> Iterator[Path]:
    """Where to write what is to lie at a path: named so when the block ends, removed when that fails.

    Raises
    ------
    UsageError, ArchiveError : as ``check_target``. OSError : it cannot be written.
    """
    check_target(path, replace=replace)
    temporary = path.with_name(f".noctuary-{new_token(8)}.part")
    try:
        yield temporary
        with temporary.open("r+b") as stream:
            os.fsync(stream.fileno())
        if replace:
            temporary.replace(path)
        else:
            # Where the file system has no way to give only free names, a look has to do.
            give_name(temporary, path, claim=nullcontext)
    except FileExistsError:
        check_target(path, replace=replace)
        raise
    finally:
        temporary.unlink(missing_ok=True)


def write_target(path: Path, data: bytes, *, replace: bool | None = None) -> None:
    """Write a file that a person named.

    Raises
    ------
    UsageError, ArchiveError : as ``check_target``, or it cannot be written.
    """
    try:
        with new_target(path, replace=replace) as temporary:
            temporary.write_bytes(data)
    except OSError as error:
        raise ArchiveError(
            f"{shown(str(path))} cannot be written: {error.strerror}.",
            hint="Nothing was changed. Check its folder and the room there, or name another place.",
        ) from error
