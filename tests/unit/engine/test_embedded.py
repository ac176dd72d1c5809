"""Previews that lie inside raw files."""

from __future__ import annotations

import io
import struct

import pytest
from PIL import Image
from support.samples import sample

from archive.demo import cards
from archive.engine.embedded import Preview, previews


def largest(data: bytes) -> Preview | None:
    return max(previews(data), key=lambda each: each.width, default=None)


def jpeg(width: int, height: int, mode: str = "RGB") -> bytes:
    out = io.BytesIO()
    Image.new(mode, (width, height)).save(out, "JPEG")
    return out.getvalue()


def tiff(*pictures: bytes, order: str = "<", old: bool = False) -> bytes:
    """A chain of directories with one JPEG each, by strips or by the older pair of tags (TIFF 6.0)."""
    each = 2 + 12 * 3 + 4
    at = 8 + each * len(pictures)
    head = struct.pack(order + "2sHI", b"II" if order == "<" else b"MM", 42, 8)
    for number, data in enumerate(pictures, 1):
        tags = [(259, 7), (513, at), (514, len(data))] if old else [(259, 7), (273, at), (279, len(data))]
        head += struct.pack(order + "H", 3)
        head += b"".join(struct.pack(order + "HHII", tag, 4, 1, value) for tag, value in tags)
        head += struct.pack(order + "I", 8 + each * number if number < len(pictures) else 0)
        at += len(data)
    return head + b"".join(pictures)


def test_previews_come_from_the_smallest_to_the_largest() -> None:
    found = previews(tiff(jpeg(32, 24), jpeg(64, 40), jpeg(16, 8)))
    assert [(each.width, each.height) for each in found] == [(16, 8), (32, 24), (64, 40)]


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("old", [False, True])
def test_the_largest_of_several_is_found_whole(order: str, old: bool) -> None:
    found = largest(tiff(jpeg(16, 8), jpeg(64, 40), jpeg(32, 24), order=order, old=old))
    assert found is not None
    assert (found.width, found.height, found.data) == (64, 40, jpeg(64, 40))


def test_what_is_cut_grey_or_no_jpeg_is_passed_over() -> None:
    small = jpeg(16, 8)
    assert largest(tiff(small, jpeg(64, 40)[:-9])) is not None
    found = largest(tiff(small, jpeg(64, 40, "L"), b"\xff\xd8 nothing", jpeg(64, 40)[:-2]))
    assert found is not None
    assert found.data == small
    for data in (b"", b"II*\0", jpeg(64, 40), tiff(b"plain samples"), tiff(small)[:-20]):
        assert largest(data) is None


def test_an_raf_names_its_preview_in_its_head() -> None:
    picture = jpeg(48, 32)
    head = b"FUJIFILMCCD-RAW ".ljust(84, b"0") + struct.pack(">II", 120, len(picture))
    found = largest(head.ljust(120, b"\0") + picture)
    assert found is not None
    assert found.data == picture


def test_the_simulated_cameras_embed_a_preview_of_half_their_size() -> None:
    found = largest(next(cards.raw_files("north", [3], size=(240, 160), frames=5)))
    assert found is not None
    assert (found.width, found.height) == (120, 80)


@pytest.mark.parametrize(
    ("name", "size"),
    [("ARW.exif", (1616, 1080)), ("sample.cr2", (160, 120)), ("sample.arw", (160, 120)), ("Sigma.x3f", None)],
)
def test_previews_of_real_cameras(name: str, size: tuple[int, int] | None) -> None:
    found = largest(sample(f"broken/{name}").read_bytes())
    assert (found and (found.width, found.height)) == size
