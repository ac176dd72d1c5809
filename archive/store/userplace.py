"""What belongs to this machine, not to an archive: cache folder, writer ids, where volumes were mounted."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

import platformdirs

from archive.errors import ArchiveError, shown
from archive.model.identity import new_token


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


def writer_of(archive: str, volume: str) -> str:
    """The id of this working copy on this machine; a new one where there is none."""
    path = cache_folder(archive) / f"writer-{volume}"
    with contextlib.suppress(OSError, UnicodeDecodeError):
        held = path.read_text().strip()
        if held:
            return held
    writer = new_token()
    path.write_text(writer + "\n")
    return writer


def remember_mount(archive: str, volume: str, root: Path) -> None:
    """Note where a volume was last mounted, so that it is found again without being named."""
    mounts = _mounts(archive)
    if mounts.get(volume) != str(root):
        mounts[volume] = str(root)
        path = cache_folder(archive) / "mounts.json"
        path.write_text(json.dumps(mounts, indent=1))


def remembered_mounts(archive: str) -> dict[str, Path]:
    """Where volumes were last mounted, by volume id."""
    return {volume: Path(root) for volume, root in _mounts(archive).items()}


def _mounts(archive: str) -> dict[str, str]:
    try:
        held = json.loads((cache_folder(archive) / "mounts.json").read_bytes())
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in held.items()} if isinstance(held, dict) else {}
