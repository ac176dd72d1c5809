"""The first table of figures: ingest, raw → HD, movie, each beside a plain way, medians of one run.

Run it with ``python tests/benchmarks/first_table.py``; it makes its own 24-megapixel night in a temporary
folder. It prints ratios, because machines differ and drift; nothing here is asserted.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import os
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import rawpy
import xxhash
from PIL import Image

import archive
from archive.demo.cards import write_cards
from archive.workspace import new_archive

RECIPE = (
    "hot_pixels.reach=12",
    "vignetting.corner=0.8",
    "exposure.stops=0.3",
    "highlight_recovery.stops=0.6",
    "shadow_lift.stops=0.8",
    "contrast.amount=0.15",
    "chroma.amount=0.1",
    "luminance_noise.strength=3.2",
    "colour_noise.strength=4",
    "sharpness.amount=0.4",
)
BLOCK = 4 << 20


def median(work: Callable[[], object], times: int) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def evict(folder: Path) -> None:
    """Drop a folder's files from the page cache, so that reading them means reading the drive."""
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb") as stream:
                os.fsync(stream.fileno())
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def read_all(folder: Path) -> None:
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            with path.open("rb") as stream:
                while stream.read(BLOCK):
                    pass


def digest(path: Path) -> str:
    state = xxhash.xxh3_128()
    with path.open("rb") as stream:
        while block := stream.read(BLOCK):
            state.update(block)
    return state.hexdigest()


def plain_copy(source: Path, target: Path) -> None:
    """Copy, sync, then checksum both sides, one after the other."""
    shutil.copytree(source, target)
    for path in target.rglob("*"):
        if path.is_file():
            with path.open("rb") as stream:
                os.fsync(stream.fileno())
    evict(target)
    for path in sorted(source.rglob("*")):
        if path.is_file():
            assert digest(path) == digest(target / path.relative_to(source))


def half_size_way(path: Path) -> bytes:
    """LibRaw at half size, reduced, a tone curve, JPEG: no more than that."""
    with rawpy.imread(str(path)) as raw:
        picture = raw.postprocess(
            half_size=True, output_bps=16, gamma=(1, 1), no_auto_bright=True, use_camera_wb=True
        )
    height, width = picture.shape[:2]
    fitted = Image.fromarray((picture >> 8).astype(np.uint8)).resize((1920, 1920 * height // width))
    light = np.asarray(fitted, np.float32) / 255
    out = io.BytesIO()
    Image.fromarray((np.clip(light, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)).save(out, "JPEG", quality=90)
    return out.getvalue()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=12)
    parser.add_argument("--size", default="6000x4000")
    parser.add_argument("--folder", type=Path, default=None)
    chosen = parser.parse_args()
    width, height = (int(side) for side in chosen.size.split("x"))
    with tempfile.TemporaryDirectory(dir=chosen.folder) as name:
        place = Path(name)
        night = write_cards(place / "cards", size=(width, height), frames=chosen.frames)
        for card in night.cards:
            bench_ingest(card.folder, place)
        bench_pictures(place, night.cards)


def bench_ingest(card: Path, place: Path) -> None:
    size = sum(path.stat().st_size for path in card.rglob("*") if path.is_file())

    def reading() -> None:
        evict(card)
        read_all(card)

    def copying() -> None:
        evict(card)
        plain_copy(card, place / "copy")
        shutil.rmtree(place / "copy")

    def taking() -> float:
        target = place / f"archive-{hashlib.sha256(os.urandom(8)).hexdigest()[:8]}"
        new_archive(target)
        evict(card)
        with archive.open_archive(target) as home:
            start = time.perf_counter()
            (report,) = home.ingest.take([card])
            taken = time.perf_counter() - start
            assert not report.failed
        shutil.rmtree(target)
        return taken

    read, copied = median(reading, 3), median(copying, 3)
    taken = statistics.median(taking() for _ in range(3))
    print(f"{card.name}: {size / 1e6:.0f} MB, cold")
    print(f"  read the card once          {read:7.2f} s   {size / read / 1e6:6.0f} MB/s")
    print(f"  copy, then checksum both    {copied:7.2f} s   {copied / read:5.2f} x reading")
    print(f"  ingest                      {taken:7.2f} s   {taken / read:5.2f} x reading, "
          f"{taken / copied:4.2f} x copying")  # fmt: skip


def bench_pictures(place: Path, cards: object) -> None:
    root = place / "archive"
    new_archive(root)
    with archive.open_archive(root) as home:
        for card in cards:  # type: ignore[attr-defined]
            home.ingest.take([card.folder])
        for line in home.sequences():
            first = f"{line.address}#1"
            home.recipes.set(first, RECIPE)
            home.recipes.carry(first, line.address)
            home.exports.export(first, "still-web")
            frames = home.frames(line.address)
            masters = [
                root / "masters" / home.books.catalogue.copies(frame.frame.id)[0].path for frame in frames
            ]
            start = time.perf_counter()
            home.exports.export(line.address, "set-hd")
            ours = (time.perf_counter() - start) / line.frames
            plain = statistics.median(median(lambda p=path: half_size_way(p), 1) for path in masters[:5])
            start = time.perf_counter()
            home.exports.export(line.address, "movie-hd")
            movie = (time.perf_counter() - start) / line.frames
            print(f"{line.address}: {line.frames} frames")
            print(f"  raw → HD JPEG, every operator   {ours * 1e3:6.0f} ms a frame, two threads")
            print(f"  LibRaw half size, no operators  {plain * 1e3:6.0f} ms a frame, one thread")
            print(f"  raw → movie-hd                  {movie * 1e3:6.0f} ms a frame")


if __name__ == "__main__":
    main()
