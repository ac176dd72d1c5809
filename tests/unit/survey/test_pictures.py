"""Kept pictures of a survey, read back."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from support.exports import SEQUENCE, Studio, studio

from archive.errors import ArchiveError, DamagedFileError
from archive.survey.pictures import kept_bytes, middle_columns, preview_picture
from archive.survey.records import seen_of


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    made.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    yield made
    made.workspace.close()


def test_previews_and_columns_belong_to_their_frames(place: Studio) -> None:
    books = place.workspace.books
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    seen = seen_of(books, frames)
    assert set(seen) == {frame.id for frame in frames}
    for frame in frames:
        picture = preview_picture(books, seen[frame.id])
        master = np.asarray(Image.open(io.BytesIO(books.master_bytes(frame))).convert("RGB"))
        assert picture.shape == master.shape
        assert np.abs(picture.astype(int) - master.astype(int)).mean() < 6
        (column,) = middle_columns(books, [seen[frame.id]])
        assert column is not None
        assert np.abs(column.astype(int) - master[:, master.shape[1] // 2].astype(int)).mean() < 6


def test_a_damaged_preview_is_told_and_a_damaged_slices_file_is_a_gap(place: Studio) -> None:
    books = place.workspace.books
    frame = place.workspace.frames(f"{SEQUENCE}#1")[0].frame
    seen = seen_of(books, [frame])[frame.id]
    for kept in (seen.surveyed.preview, seen.surveyed.slices):
        path = place.root / seen.folder / kept.path
        path.chmod(0o600)
        path.write_bytes(b"x")
    with pytest.raises(DamagedFileError, match="is damaged"):
        preview_picture(books, seen)
    assert middle_columns(books, [seen]) == [None]
    (place.root / seen.folder / seen.surveyed.preview.path).unlink()
    with pytest.raises(ArchiveError, match="on no mounted volume"):
        kept_bytes(books, seen.folder, seen.surveyed.preview)
