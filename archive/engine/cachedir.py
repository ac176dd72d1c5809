"""Where compiled kernels are kept between runs: below the user's own cache directory and nowhere else.

Files of kernels are read with pickle, so a cache in a place that others can write to would run their code.
A kernel holds what it inlines from other modules, so the folder's name is a digest of every source with
kernels in it and of the versions that decide what is compiled.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import stat
from importlib.metadata import version
from pathlib import Path

_COMPILERS = ("numba", "numpy", "llvmlite")
_DIGITS = 24
_OURS = re.compile(f"[0-9a-f]{{{_DIGITS}}}")
_KEPT = 2


def sources_digest(*roots: Path) -> str:
    """Hexadecimal digest over every Python source below the folders, and the compilers' versions."""
    digest = hashlib.sha256()
    for name in _COMPILERS:
        digest.update(f"{name} {version(name)}\n".encode())
    for root in roots:
        for source in sorted(root.rglob("*.py")):
            data = source.read_bytes()
            digest.update(f"{source.relative_to(root).as_posix()} {len(data)}\n".encode())
            digest.update(data)
    return digest.hexdigest()[:_DIGITS]


def user_cache() -> Path:
    """The user's cache directory: ``XDG_CACHE_HOME`` where that is an absolute path, else ``~/.cache``."""
    named = os.environ.get("XDG_CACHE_HOME", "")
    if named and Path(named).is_absolute():
        return Path(named)
    return Path.home() / ".cache"


def kernel_cache() -> Path | None:
    """The folder for this release's compiled kernels, made if need be; None where none may be used.

    When it is made, those of older releases go, but for the two that were used last.

    None is answered when the folder cannot be made or written, or belongs to or can be written by
    somebody else: kernels are then compiled anew in each process.
    """
    try:
        engine = Path(__file__).parent
        # The demo's kernels are compiled by the same decorator, so their sources count as well.
        digest = sources_digest(engine, engine.parent / "demo")
        folder = user_cache() / "noctuary" / "kernels" / digest
        is_new = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not _is_private(folder.stat()) or not os.access(folder, os.W_OK | os.X_OK):
            return None
        # Told by its time, which folder was used last.
        os.utime(folder)
    except (OSError, RuntimeError):
        return None
    if is_new:
        _prune(folder)
    return folder


def _is_private(state: os.stat_result) -> bool:
    if not hasattr(os, "getuid"):
        return True
    return state.st_uid == os.getuid() and not state.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _prune(used: Path) -> None:
    """Remove the folders of other releases beside this one, but for those used last.

    Several processes may do so at once; what another has removed already is gone.
    """
    others: list[tuple[float, Path]] = []
    try:
        beside = list(used.parent.iterdir())
    except OSError:
        return
    for each in beside:
        try:
            state = each.lstat()
        except OSError:
            continue
        if each != used and _OURS.fullmatch(each.name) and stat.S_ISDIR(state.st_mode) and _is_private(state):
            others.append((state.st_mtime, each))
    for _, old in sorted(others, reverse=True)[_KEPT:]:
        shutil.rmtree(old, ignore_errors=True)
