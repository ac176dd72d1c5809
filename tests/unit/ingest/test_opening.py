"""Opening files of a card."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.ingest.opening import open_plain


@pytest.mark.parametrize("buffered", [False, True])
def test_a_plain_file_is_opened_at_its_begin(tmp_path: Path, buffered: bool) -> None:
    (tmp_path / "a").write_bytes(b"bytes")
    with open_plain(tmp_path / "a", buffered=buffered) as stream:
        assert stream.read() == b"bytes"
        assert hasattr(stream, "peek") is buffered


def test_links_folders_and_pipes_are_refused_without_waiting(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"bytes")
    (tmp_path / "link").symlink_to(tmp_path / "a")
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    for name in ("link", "folder", "pipe", "none"):
        with pytest.raises(OSError):
            open_plain(tmp_path / name)
