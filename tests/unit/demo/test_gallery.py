"""The gallery: pages whose links lead somewhere, and samples that are found or told of."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest
from PIL import Image

from archive.demo import cards, exhibits, gallery
from archive.engine import operator
from archive.errors import UsageError


def test_pages_link_to_pictures_that_exist_and_broken_samples_are_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = tuple(each for each in operator.declarations() if each.name in ("exposure", "chroma", "crop"))
    monkeypatch.setattr(operator, "declarations", lambda: few)
    samples = tmp_path / "samples"
    samples.mkdir()
    (raw,) = cards.raw_files("north", [9], size=(144, 96), frames=12)
    (samples / "<odd> name.dng").write_bytes(raw)
    (samples / "z-broken.dng").write_bytes(raw[:900])
    told: list[tuple[int, int]] = []
    made = gallery.make_gallery(
        tmp_path / "g", samples=samples, size=200, demo=0,
        progress=lambda _name, done, total: told.append((done, total)),
    )  # fmt: skip
    assert told == [(0, 2), (1, 2)]
    assert (made.frames, [note.path for note in made.failed]) == (1, ["z-broken.dng"])
    pages = sorted((tmp_path / "g").glob("*.html"))
    assert [page.name for page in pages] == ["01.html", "index.html"]
    links = 0
    for page in pages:
        text = page.read_text()
        assert "<odd>" not in text
        for link in re.findall(r'(?:href|src)="([^"]+)"', text):
            if link.startswith("#"):
                assert f'id="{link[1:]}"' in text
            else:
                assert (tmp_path / "g" / unquote(link)).is_file()
                links += 1
    assert made.pictures == len(list((tmp_path / "g" / "01").iterdir())) == 2 + 2 + 3 * len(few)
    assert links > 2 * made.pictures
    with Image.open(tmp_path / "g" / "01" / "before.jpg") as picture:
        assert picture.size == (144, 96)


def test_samples_are_looked_for_in_folders_too_and_what_is_left_out_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(operator, "declarations", lambda: ())
    monkeypatch.setattr(gallery, "_FILES", 3)
    monkeypatch.setattr(gallery, "_DEPTH", 2)
    samples = tmp_path / "samples"
    (samples / "b" / "c" / "d").mkdir(parents=True)
    (raw,) = cards.raw_files("north", [9], size=(144, 96), frames=12)
    for name in ("a.dng", "b/1.dng", "b/c/2.dng", "z.dng", "b/c/d/deep.dng"):
        (samples / name).write_bytes(raw)
    (samples / "b" / "back").symlink_to(samples)
    (samples / "link.dng").symlink_to(samples / "a.dng")
    made = gallery.make_gallery(tmp_path / "g", samples=samples, size=200, demo=0)
    assert made.frames == 3
    assert {note.path: note.text for note in made.failed} == {
        "b/c/d": "lies more than 2 folders deep",
        "b/back": "is a link, which is not followed",
        "link.dng": "is a link, which is not followed",
        "z.dng": "was left out; 3 files are shown at most",
    }


def test_what_changes_nothing_is_told_and_not_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    few = tuple(each for each in operator.declarations() if each.name == "hot_pixels")
    monkeypatch.setattr(operator, "declarations", lambda: few)
    samples = tmp_path / "samples"
    samples.mkdir()
    Image.fromarray(np.full((90, 120, 3), 80, np.uint8)).save(samples / "plain.png")
    gallery.make_gallery(tmp_path / "g", samples=samples, size=200, demo=0)
    assert "It changes nothing in this frame." in (tmp_path / "g" / "01.html").read_text()
    assert not list((tmp_path / "g" / "01").glob("hot_pixels-*"))


def test_a_gallery_that_was_stopped_goes_on_and_becomes_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = tuple(each for each in operator.declarations() if each.name in ("exposure", "chroma"))
    monkeypatch.setattr(operator, "declarations", lambda: few)
    samples = tmp_path / "samples"
    samples.mkdir()
    for number, raw in enumerate(cards.raw_files("north", [9, 10, 11], size=(144, 96), frames=12)):
        (samples / f"{number}.dng").write_bytes(raw)
    usual = gallery.encode_jpeg
    made: list[object] = []

    def stopping(pixels: np.ndarray, *, quality: int) -> bytes:
        if len(made) == 12:
            raise KeyboardInterrupt
        made.append(pixels)
        return usual(pixels, quality=quality)

    monkeypatch.setattr(gallery, "encode_jpeg", stopping)
    with pytest.raises(KeyboardInterrupt):
        gallery.make_gallery(tmp_path / "g", samples=samples, size=200, demo=0)
    monkeypatch.setattr(gallery, "encode_jpeg", usual)
    assert (tmp_path / "g" / "02").is_dir()
    with pytest.raises(UsageError, match="an unfinished gallery of other frames"):
        gallery.make_gallery(tmp_path / "g", samples=samples, size=300, demo=0)
    kept = (tmp_path / "g" / "01" / "before.jpg").stat()
    told: list[tuple[int, int]] = []
    went_on = gallery.make_gallery(
        tmp_path / "g", samples=samples, size=200, demo=0,
        progress=lambda _name, done, total: told.append((done, total)),
    )  # fmt: skip
    assert told == [(1, 3), (2, 3)]
    assert (tmp_path / "g" / "01" / "before.jpg").stat() == kept
    at_once = gallery.make_gallery(tmp_path / "h", samples=samples, size=200, demo=0)
    assert (went_on.frames, went_on.pictures, went_on.failed) == (3, at_once.pictures, ())
    found = [
        {path.relative_to(root): path.read_bytes() for path in root.rglob("*") if path.is_file()}
        for root in (tmp_path / "g", tmp_path / "h")
    ]
    assert found[0] == found[1]
    with pytest.raises(UsageError, match="already holds something"):
        gallery.make_gallery(tmp_path / "g", samples=samples, size=200, demo=0)


def test_a_simulated_frame_is_the_same_whether_those_before_it_were_made_or_not() -> None:
    first, second = exhibits.EXHIBITS[:2]
    assert list(exhibits.raw_files((first, second)))[1] == next(exhibits.raw_files((second,)))


def test_a_folder_in_use_and_an_impossible_size_are_refused(tmp_path: Path) -> None:
    (tmp_path / "something").touch()
    with pytest.raises(UsageError, match="already holds something"):
        gallery.make_gallery(tmp_path)
    with pytest.raises(UsageError, match="outside 200 to 4000"):
        gallery.make_gallery(tmp_path / "new", size=50)
    assert not (tmp_path / "new").exists()
