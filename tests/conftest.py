"""Every test run has a cache folder of its own and no archive of the person who runs it."""

from __future__ import annotations

import os
import shutil
import tempfile

import pytest

_FOLDER = pytest.StashKey[str]()


def pytest_configure(config: pytest.Config) -> None:
    """Set the cache folder of this run, which its worker processes inherit: kernels are compiled once."""
    if hasattr(config, "workerinput"):
        return
    os.environ.pop("NOCTUARY_ARCHIVE", None)
    config.stash[_FOLDER] = os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="noctuary-tests-")


def pytest_unconfigure(config: pytest.Config) -> None:
    if folder := config.stash.get(_FOLDER, None):
        shutil.rmtree(folder, ignore_errors=True)
