"""Every test run has a cache folder of its own and no archive of the person who runs it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(scope="session", autouse=True)
def own_place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The cache folder of this session; nothing of the user's own is read or written."""
    cache = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(cache))
        patch.delenv("NOCTUARY_ARCHIVE", raising=False)
        yield cache
