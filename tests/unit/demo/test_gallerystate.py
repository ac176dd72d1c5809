"""What an unfinished gallery notes of itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.demo import gallerystate
from archive.demo.gallerypage import Picture, Row, Series, Shot
from archive.errors import UsageError

PLAN = {"size": 200, "samples": [["<odd> nåme.dng", 12, 34]]}


def shot(folder: Path, key: str) -> Shot:
    """A frame of the gallery with one picture, whose files are made."""
    (folder / key).mkdir()
    (folder / key / "before.jpg").write_bytes(b"a picture")
    (folder / f"{key}.html").write_text("a page")
    picture = Picture(label="before", file=f"{key}/before.jpg", width=20, height=10)
    row = Row(
        title="Before", note="told", operator="exposure", series=(Series(pictures=(picture,), place="sky"),)
    )
    return Shot(key=key, title="Ü", note="sample", rows=(row,))


def test_frames_that_are_whole_are_given_back_and_others_not(tmp_path: Path) -> None:
    folder = tmp_path / "g"
    assert gallerystate.begin(folder, PLAN) == {}
    shots = [shot(folder, key) for key in ("01", "02", "03", "04")]
    gallerystate.keep(folder, PLAN, shots)
    (folder / "02.html").unlink()
    (folder / "03" / "before.jpg").write_bytes(b"")
    assert gallerystate.begin(folder, PLAN) == {"01": shots[0], "04": shots[3]}
    gallerystate.finish(folder)
    with pytest.raises(UsageError, match="already holds something"):
        gallerystate.begin(folder, PLAN)


def test_another_plan_and_what_is_no_gallery_are_refused(tmp_path: Path) -> None:
    gallerystate.begin(tmp_path, PLAN)
    with pytest.raises(UsageError, match="an unfinished gallery of other frames"):
        gallerystate.begin(tmp_path, {**PLAN, "size": 300})
    for text in ("", "[]", '{"plan": {}, "frames": [{}]}', '{"plan": {}}', "\x00"):
        (tmp_path / gallerystate.NAME).write_text(text)
        with pytest.raises(UsageError, match="already holds something"):
            gallerystate.begin(tmp_path, PLAN)
        assert (tmp_path / gallerystate.NAME).read_text() == text
