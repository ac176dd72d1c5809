"""Dark frames in what is made: subtracted once, part of the key, made again."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from support.cards import archive_in, site_of
from support.rawcard import glow, level, raw_card

from archive.editing import optics
from archive.engine import sampling
from archive.engine.decode import DecoderPool
from archive.errors import ArchiveError
from archive.exports import darks
from archive.model.product import PixelSpec, Spec
from archive.workspace import Workspace

DARKS = [f"NOCT{number:04d}.DNG" for number in (3, 4, 5)]


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Workspace]:
    mosaics = [level(0.1 + glow()), level(0.1 + glow(), 9), *(level(glow(), seed) for seed in (1, 2, 3))]
    card = raw_card(tmp_path / "card", mosaics)
    with archive_in(tmp_path / "archive") as workspace:
        workspace.ingest.take([card], site=site_of(workspace))
        yield workspace


def spread(place: Workspace, path: str) -> float:
    """How unevenly a picture of an even sky came out, in 8-bit steps."""
    with Image.open(place.books.home.root / path) as picture:
        return float(np.ptp(np.asarray(picture.convert("L")).astype(int)))


def test_glow_and_hot_samples_are_gone_from_what_is_exported(place: Workspace) -> None:
    plain = place.exports.export("NOCT0001.DNG", "still-web")
    place.optics.use_darks("NOCT0001.DNG", DARKS)
    made = place.exports.export("NOCT0001.DNG", "still-web")
    assert spread(place, plain.files[0].path) > 40
    assert spread(place, made.files[0].path) < 12
    again = place.exports.export("NOCT0001.DNG", "still-web")
    assert again.files[0].path == made.files[0].path


def test_the_key_names_the_dark_frames(place: Workspace) -> None:
    from archive.exports.plan import develop

    bench = place.recipes.bench
    frame = bench.one("NOCT0001.DNG")
    spec = Spec(name="s", product="still", container="jpeg", pixels=PixelSpec(fit=None), encoder={})
    keys = set()
    for chosen in (DARKS, DARKS[:2]):
        place.optics.use_darks("NOCT0001.DNG", chosen)
        keys.add(develop(frame, place.recipes.effective(frame), (), spec).pixel_key)
    assert len(keys) == 2


def test_a_master_is_made_once_for_a_job(place: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    made = []
    usual = darks.master_dark
    monkeypatch.setattr(darks, "master_dark", lambda *given: made.append(1) or usual(*given))
    place.optics.use_darks("NOCT0001.DNG", DARKS)
    recipe = place.recipes.effective(place.recipes.bench.one("NOCT0001.DNG"))
    plain = place.recipes.effective(place.recipes.bench.one("NOCT0002.DNG"))
    with DecoderPool(1) as decoder:
        first = darks.master_for(place.books, decoder, recipe)
        assert darks.master_for(place.books, decoder, recipe) is first
        assert darks.master_for(place.books, decoder, plain) is None
    assert made == [1]


def test_a_light_among_the_dark_frames_is_named_when_they_are_used(
    place: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Recipes made elsewhere, or carried, may name frames that nobody looked at here."""
    monkeypatch.setattr(optics, "light_in", lambda _: None)
    place.optics.use_darks("NOCT0001.DNG", [*DARKS, "NOCT0002.DNG"])
    with pytest.raises(ArchiveError, match=r"NOCT0002\.DNG is not dark") as caught:
        place.exports.viewing.preview("NOCT0001.DNG", size=200)
    assert "no master was changed" in caught.value.hint


def test_previews_show_the_frame_without_its_glow(place: Workspace) -> None:
    place.optics.use_darks("NOCT0001.DNG", DARKS)
    assert place.exports.viewing.preview("NOCT0001.DNG", size=200)[:2] == b"\xff\xd8"


def test_dark_frames_are_not_decoded_and_the_sensor_not_gone_back_to_for_a_second_look(
    place: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    decoded, sampled = [], []
    decode, sample = DecoderPool.decode, sampling.sampled
    monkeypatch.setattr(DecoderPool, "decode", lambda *a, **k: decoded.append(a[2]) or decode(*a, **k))
    monkeypatch.setattr(sampling, "sampled", lambda *a, **k: sampled.append(1) or sample(*a, **k))
    place.optics.use_darks("NOCT0001.DNG", DARKS)
    decoded.clear()
    for stops in (0, 0.5, 1):
        place.recipes.set("NOCT0001.DNG", [f"exposure.stops={stops}"])
        place.exports.viewing.preview("NOCT0001.DNG", size=200, before=False)
    assert sorted(decoded) == ["NOCT0001.DNG", *DARKS]
    assert sampled == [1]


def test_states_with_and_without_dark_frames_are_compared_as_they_are_exported(
    place: Workspace, tmp_path: Path
) -> None:
    place.optics.use_darks("NOCT0001.DNG", DARKS)
    sheet = tmp_path / "sheet.png"
    found = place.compare("NOCT0001.DNG", "plain", "now", size=100, to=sheet)
    assert [row.part for row in found.rows] == ["dark_frame"]
    assert found.largest > 5
    assert sheet.exists()
    with pytest.raises(ArchiveError, match="its dark frames were not given"):
        place.recipes.compare("NOCT0001.DNG", "plain", "now", size=100, to=tmp_path / "other.png")
    assert not (tmp_path / "other.png").exists()
