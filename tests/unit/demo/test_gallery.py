"""The gallery: what is tried of every operator, and pages whose links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest
from PIL import Image

from archive.demo import cards, gallery
from archive.engine import operator
from archive.errors import UsageError


@pytest.mark.parametrize("declared", gallery.shown_operators(), ids=lambda each: each.name)
def test_every_operator_is_tried_three_times_in_its_range_and_never_neutral(declared: object) -> None:
    looks = gallery.looks_of(declared)
    assert len({label for label, _ in looks}) == len(looks) >= 3
    for _, values in looks:
        assert not operator.is_neutral(values)
        assert operator.checked(values.name, values.values) == values


def test_what_needs_dark_frames_of_ones_own_is_not_shown() -> None:
    left = {each.name for each in operator.declarations()} - {e.name for e in gallery.shown_operators()}
    assert left == {"dark_frame"}


def test_a_strength_that_runs_one_way_grows() -> None:
    stops = [values["stops"] for _, values in gallery.steps(operator.declaration("highlight_recovery"))]
    assert stops == pytest.approx([0.6, 1.4, 2.7], abs=0.11)


def test_a_strength_that_runs_both_ways_is_tried_on_both_sides() -> None:
    labels, values = zip(*gallery.steps(operator.declaration("exposure")), strict=True)
    assert [each["stops"] for each in values] == pytest.approx([-2, 7 / 6, 19 / 6], abs=0.17)
    assert labels[0] == "low: stops −2 EV"


def test_kelvins_are_spread_as_the_eye_sees_them() -> None:
    kelvin = [values["kelvin"] for _, values in gallery.steps(operator.declaration("balance"))]
    assert kelvin[0] < 5500 < kelvin[1] < kelvin[2]


def test_pages_link_to_pictures_that_exist_and_broken_samples_are_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = tuple(each for each in operator.declarations() if each.name in ("exposure", "chroma", "crop"))
    monkeypatch.setattr(gallery.operator, "declarations", lambda: few)
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
            assert (tmp_path / "g" / unquote(link)).is_file()
            links += 1
    assert made.pictures == 2 + 3 * len(few)
    assert links > 2 * made.pictures
    with Image.open(tmp_path / "g" / "01" / "before.jpg") as picture:
        assert picture.size == (144, 96)


def test_samples_are_looked_for_in_folders_too_and_what_is_left_out_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gallery.operator, "declarations", lambda: ())
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


def test_steps_of_what_is_as_fine_as_a_pixel_differ_in_what_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    few = tuple(each for each in operator.declarations() if each.name == "sharpness")
    monkeypatch.setattr(gallery.operator, "declarations", lambda: few)
    samples = tmp_path / "samples"
    samples.mkdir()
    (raw,) = cards.raw_files("north", [9], size=(960, 640), frames=12)
    (samples / "a.dng").write_bytes(raw)
    gallery.make_gallery(tmp_path / "g", samples=samples, size=200, demo=0)
    shown = []
    for number in range(4):
        with Image.open(tmp_path / "g" / "01" / f"sharpness-{number}.jpg") as picture:
            assert picture.size == (420, 420)
            shown.append(np.asarray(picture).astype(int))
    away = [float(np.abs(each - shown[0]).mean()) for each in shown]
    assert away[0] < 0.5 * away[1] < away[1] < away[2] < away[3]


def test_a_folder_in_use_and_an_impossible_size_are_refused(tmp_path: Path) -> None:
    (tmp_path / "something").touch()
    with pytest.raises(UsageError, match="already holds something"):
        gallery.make_gallery(tmp_path)
    with pytest.raises(UsageError, match="outside 200 to 4000"):
        gallery.make_gallery(tmp_path / "new", size=50)
    assert not (tmp_path / "new").exists()
