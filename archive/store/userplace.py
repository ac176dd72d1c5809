"""What belongs to this machine, not to an archive: cache, writer ids, mounts, complete surveys."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Mapping
from pathlib import Path

import platformdirs

from archive.errors import ArchiveError, shown
from archive.model.identity import new_token

_MOUNTS = "mounts.json"
DOUBTED = "damaged"
"""The state of a survey that was seen damaged; no state of a sound one reads so."""


def cache_folder(archive: str) -> Path:
    """The folder of one archive in the user's cache; made if need be.

    Raises
    ------
    ArchiveError : when it cannot be made.
    """
    folder = Path(platformdirs.user_cache_dir("noctuary", appauthor=False)) / archive
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ArchiveError(
            f"The cache folder {shown(str(folder))} cannot be made: {error.strerror}.",
            hint="The archive itself is untouched. Set XDG_CACHE_HOME to a folder that can be written.",
        ) from error
    return folder


def database_url(archive: str) -> str:
    """The URL of the catalogue's database: a file in the cache."""
    return f"sqlite:///{cache_folder(archive) / 'catalogue.sqlite'}"


class Writer:
    """Who writes entries here: one working copy of an archive on one machine, and the last it wrote.

    Parameters
    ----------
    id : as it stands in entries.
    last : name and id of the newest entry that is known to be its own; None if none is known.
    path : where this is kept for the next run; None keeps it in memory only.
    complete : it has written nothing but what ``last`` tells; otherwise the journal must be searched for it.
    """

    def __init__(
        self,
        id: str,
        *,
        last: tuple[str, str] | None = None,
        path: Path | None = None,
        complete: bool = False,
    ) -> None:
        self.id = id
        self.last = last
        self.complete = complete
        self._path = path

    def refresh(self) -> None:
        """Take up what another program on this machine has written as the same writer since."""
        kept = None if self._path is None else _kept(self._path)
        if kept is not None:
            self.id, self.last = kept
            self.complete = True

    def wrote(self, name: str, entry: str) -> None:
        """Remember an entry as the last one. A record that cannot be kept costs a search, nothing else."""
        self.last, self.complete = (name, entry), True
        self._keep()

    def renew(self) -> None:
        """Become another writer, who has written nothing yet."""
        self.id, self.last, self.complete = new_token(), None, True
        self._keep()

    def _keep(self) -> None:
        if self._path is None:
            return
        document = {"writer": self.id, "last": list(self.last) if self.last else None}
        temporary = self._path.with_name(f"{self._path.name}.{new_token(8)}")
        with contextlib.suppress(OSError):
            temporary.write_text(json.dumps(document))
            temporary.replace(self._path)


def writer_of(archive: str, volume: str) -> Writer:
    """This working copy on this machine, as it was left; a new writer where there is none.

    Raises
    ------
    ArchiveError : when the cache folder cannot be made.
    """
    path = cache_folder(archive) / f"writer-{volume}.json"
    kept = _kept(path)
    if kept is not None:
        return Writer(kept[0], last=kept[1], path=path, complete=True)
    writer = Writer("", path=path)
    writer.renew()
    return writer


def _kept(path: Path) -> tuple[str, tuple[str, str] | None] | None:
    """The writer that a file tells of; None where it cannot be made out."""
    try:
        document = json.loads(path.read_bytes())
        writer, last = document["writer"], document["last"]
        if not isinstance(writer, str) or not writer:
            return None
        if last is None:
            return writer, None
        name, entry = last
        return writer, (str(name), str(entry))
    except (OSError, ValueError, TypeError, KeyError):
        return None


def remember_mount(archive: str, volume: str, root: Path) -> None:
    """Note where a volume was last mounted, so that it is found again without being named."""
    mounts = _noted(archive, _MOUNTS)
    if mounts.get(volume) != str(root):
        mounts[volume] = str(root)
        path = cache_folder(archive) / _MOUNTS
        path.write_text(json.dumps(mounts, indent=1))


def remembered_mounts(archive: str) -> dict[str, Path]:
    """Where volumes were last mounted, by volume id."""
    return {volume: Path(root) for volume, root in _noted(archive, _MOUNTS).items()}


def remember_surveyed(archive: str, volume: str, states: Mapping[str, str]) -> None:
    """Note in which state each roll's survey on a volume was seen to be complete, by its survey folder.

    A note that cannot be kept costs that the records are read again.
    """
    path = cache_folder(archive) / _surveyed(volume)
    temporary = path.with_name(f"{path.name}.{new_token(8)}")
    with contextlib.suppress(OSError):
        temporary.write_text(json.dumps(states))
        temporary.replace(path)


def remembered_surveyed(archive: str, volume: str) -> dict[str, str]:
    """The states in which the surveys of a volume were seen to be complete, by the rolls' survey folders."""
    return _noted(archive, _surveyed(volume))


def doubt_surveyed(archive: str, volume: str, folder: str) -> None:
    """Note that something of a roll's survey was seen damaged: the next survey is to look at all of it."""
    states = remembered_surveyed(archive, volume)
    if states.get(folder) != DOUBTED:
        remember_surveyed(archive, volume, {**states, folder: DOUBTED})


def _surveyed(volume: str) -> str:
    return f"surveyed-{volume}.json"


def _noted(archive: str, name: str) -> dict[str, str]:
    try:
        held = json.loads((cache_folder(archive) / name).read_bytes())
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in held.items()} if isinstance(held, dict) else {}
