"""The preview that a camera put into its raw file, found and judged in the decoding process."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from support.rawcard import HEIGHT, WIDTH, level, raw_card
from support.samples import sample

from archive.engine import dng, embedded, ownpreview, picturefile, worker
from archive.engine.decode import DecoderPool
from archive.engine.embedded import Preview
from archive.formats.container import Kind


def jpeg(width: int, height: int) -> bytes:
    """Red left, blue right."""
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[:, : width // 2, 0] = pixels[:, width // 2 :, 2] = 200
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=95, subsampling=0)
    return out.getvalue()


def raw_file(folder: Path, size: tuple[int, int], data: bytes | None = None) -> bytes:
    card = raw_card(folder / "card", [level(0.1)], preview=(data or jpeg(*size), size))
    return next(card.rglob("*.DNG")).read_bytes()


@pytest.fixture(scope="module")
def pool() -> Iterator[DecoderPool]:
    with DecoderPool(1) as made:
        yield made


@pytest.mark.parametrize(
    ("size", "used"),
    [
        ((WIDTH, HEIGHT), True),
        ((WIDTH - 2, HEIGHT), True),
        ((WIDTH - 6, HEIGHT - 4), False),
        ((WIDTH, HEIGHT - 8), False),
        ((HEIGHT, WIDTH), False),
    ],
    ids=["as large", "trimmed", "too small", "letterboxed", "turned"],
)
def test_only_a_preview_that_shows_the_frame_whole_and_large_enough_is_used(
    pool: DecoderPool, tmp_path: Path, size: tuple[int, int], used: bool
) -> None:
    side = WIDTH - 3
    decoded = pool.decode(raw_file(tmp_path, size), "one", preview=side)
    assert decoded.is_mosaic
    assert (decoded.preview is not None) == used
    if decoded.preview is not None:
        assert decoded.preview.pixels.shape == (size[1], size[0], 3)


def test_the_preview_is_turned_as_the_frame_is(pool: DecoderPool, tmp_path: Path) -> None:
    data = raw_file(tmp_path, (WIDTH, HEIGHT))
    turned = pool.decode(data, "one", orientation=8, preview=WIDTH)
    assert turned.preview is not None
    assert (turned.orientation, turned.preview.orientation) == (8, 8)
    assert pool.decode(data, "one").preview is None


def test_a_picture_has_no_preview_but_itself(pool: DecoderPool) -> None:
    assert pool.decode(jpeg(64, 48), "one", preview=32).preview is None


@pytest.mark.parametrize("spoilt", [b"", b"\xff\xd8\xff\xd9", jpeg(WIDTH, HEIGHT)[:-200]])
def test_a_broken_preview_leaves_the_frame_as_it_came(
    pool: DecoderPool, tmp_path: Path, spoilt: bytes
) -> None:
    data = raw_file(tmp_path, (WIDTH, HEIGHT), spoilt or b"plain bytes")
    decoded = pool.decode(data, "one", preview=WIDTH)
    assert decoded.preview is None
    assert np.array_equal(decoded.pixels, pool.decode(data, "one").pixels)


def test_of_several_the_smallest_that_is_large_enough_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = raw_file(tmp_path, (16, 12))
    facts, arrays = worker.decode(data)
    sizes = [(96, 64), (144, 96), (288, 192)]
    told = [Preview(data=jpeg(*size), width=size[0], height=size[1]) for size in sizes]
    monkeypatch.setattr(embedded, "previews", lambda _data: iter(told))
    for side, expected in ((100, (96, 144)), (96, (64, 96)), (5000, (96, 144))):
        found, pictures = ownpreview.added(data, facts, arrays, side)
        assert found["arrays"] == len(arrays) == len(pictures) - 3
        assert pictures[len(arrays)].shape[:2] == expected


def test_a_large_preview_is_read_at_a_part_of_its_size() -> None:
    _, (pixels, *_) = picturefile.read(jpeg(1200, 800), Kind.JPEG, (290, 190))
    assert pixels.shape == (200, 300, 3)
    whole = np.asarray(Image.open(io.BytesIO(jpeg(1200, 800))).reduce(4), np.int16)
    assert np.abs(pixels.astype(np.int16) - whole).mean() < 1
    _, (pixels, *_) = picturefile.read(jpeg(1200, 800), Kind.JPEG, (700, 400))
    assert pixels.shape == (800, 1200, 3)


def test_what_the_directories_do_not_name_libraw_finds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = raw_file(tmp_path, (WIDTH, HEIGHT))
    monkeypatch.setattr(embedded, "previews", lambda _data: iter(()))
    monkeypatch.setattr(dng, "is_dng", lambda _data: False)
    facts, arrays = worker.decode(data)
    found, pictures = ownpreview.added(data, facts, arrays, WIDTH)
    assert "preview" in found
    red, blue = (float(pictures[len(arrays)][HEIGHT // 2, at, 0]) for at in (WIDTH // 4, 3 * WIDTH // 4))
    assert red > 150 > 50 > blue


@pytest.mark.parametrize(
    "name",
    [
        "raw/canon-powershot-g2/CRW_0313.CRW",
        "raw/colorchart.dng",
        "raw/kodak-dc50/DC0010S.KDC",
        "raw/kodak-dc120/P003908.KDC",
    ],
)
def test_real_files_with_small_previews_or_none_are_rendered(pool: DecoderPool, name: str) -> None:
    assert pool.decode(sample(name).read_bytes(), name, preview=1024).preview is None
