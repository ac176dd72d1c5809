"""What taking a card in costs, beside plain ways of doing less; medians of one run.

Run it with ``python tests/benchmarks/ingest_table.py --folder PLACE``; PLACE should lie on the drive to be
measured, with 12 GB free. Two cards are made: 24-megapixel raw files, and small pictures. Cold means that
the card's pages were dropped before (``/proc/sys/vm/drop_caches`` as root, else ``posix_fadvise``). It
prints ratios, because machines differ and drift; nothing here is asserted.

The plain ways: *read* the card once; *write* the same bytes to one volume, synced file by file, and read
them back from the medium; *copy, then checksum both sides*: copy all, sync, read both sides again. With
two volumes, the plain ways do their part for both, one after the other.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import numpy as np
import xxhash

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.cards import BEGIN, jpeg, put  # noqa: E402
from support.tinydng import tiny_dng  # noqa: E402

import archive  # noqa: E402
from archive.workspace import new_archive  # noqa: E402

BLOCK = 4 << 20
_DROP = Path("/proc/sys/vm/drop_caches")


def files_of(folder: Path) -> list[Path]:
    return [path for path in sorted(folder.rglob("*")) if path.is_file()]


def forget(folder: Path) -> None:
    """Drop a folder's pages from memory."""
    os.sync()
    try:
        _DROP.write_text("1")
    except OSError:
        for path in files_of(folder):
            with path.open("rb") as stream:
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def digest(path: Path) -> str:
    state = xxhash.xxh3_128()
    with path.open("rb", buffering=0) as stream:
        while block := stream.read(BLOCK):
            state.update(block)
    return state.hexdigest()


def read_once(card: Path, place: Path, volumes: int) -> None:
    for path in files_of(card):
        with path.open("rb", buffering=0) as stream:
            while stream.read(BLOCK):
                pass


def write_and_read_back(card: Path, place: Path, volumes: int) -> None:
    """The bytes come from memory: what is measured is the volume alone."""
    data = os.urandom(BLOCK)
    for number in range(volumes):
        folder = place / f"written-{number}"
        for path in files_of(card):
            left = path.stat().st_size
            target = folder / path.relative_to(card)
            target.parent.mkdir(parents=True, exist_ok=True)
            with target.open("wb", buffering=0) as stream:
                while left > 0:
                    left -= stream.write(data[:left])
                os.fsync(stream.fileno())
        for path in files_of(folder):
            with path.open("rb", buffering=0) as stream:
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
            digest(path)


def copy_then_checksum(card: Path, place: Path, volumes: int) -> None:
    for number in range(volumes):
        folder = place / f"copied-{number}"
        shutil.copytree(card, folder)
        for path in files_of(folder):
            with path.open("rb") as stream:
                os.fsync(stream.fileno())
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        for path in files_of(card):
            assert digest(path) == digest(folder / path.relative_to(card))


def ingest(card: Path, place: Path, volumes: int) -> None:
    new_archive(place / "archive")
    also = [place / f"also-{number}" for number in range(1, volumes)]
    with archive.open_archive(place / "archive", also=also) as home:
        (report,) = home.ingest.take([card])
        assert not report.failed and not report.waiting
        assert report.copied == len(files_of(card))


WAYS: dict[str, Callable[[Path, Path, int], None]] = {
    "read the card once": read_once,
    "write, sync, read back": write_and_read_back,
    "copy, then checksum both sides": copy_then_checksum,
    "ingest": ingest,
}


def timed(
    way: Callable[[Path, Path, int], None], card: Path, folder: Path, volumes: int, cold: bool
) -> float:
    with tempfile.TemporaryDirectory(dir=folder) as name:
        if cold:
            forget(card)
        else:
            read_once(card, folder, 1)
        start = time.perf_counter()
        way(card, Path(name), volumes)
        taken = time.perf_counter() - start
    return taken


def table(card: Path, folder: Path, volumes: int, cold: bool, rounds: int) -> None:
    size = sum(path.stat().st_size for path in files_of(card))
    taken: dict[str, list[float]] = {name: [] for name in WAYS}
    # In turn, so that a drift of the machine touches every way alike.
    for _ in range(rounds):
        for name, way in WAYS.items():
            taken[name].append(timed(way, card, folder, volumes, cold))
    middle = {name: statistics.median(times) for name, times in taken.items()}
    floor = max(middle["read the card once"], middle["write, sync, read back"])
    copying = middle["copy, then checksum both sides"]
    print(
        f"\n{card.name}: {len(files_of(card))} files, {size / 1e6:.0f} MB, "
        f"{volumes} volume(s), {'cold' if cold else 'warm'}, median of {rounds}"
    )
    for name, seconds in middle.items():
        spread = f"{min(taken[name]):.2f}–{max(taken[name]):.2f}"
        print(f"  {name:32}{seconds:8.2f} s  ({spread}) {size / seconds / 1e6:6.0f} MB/s")
    print(
        f"  ingest: {middle['ingest'] / floor:.2f} x max(reading, writing + reading back), "
        f"{middle['ingest'] / copying:.2f} x copy, then checksum both sides",
        flush=True,
    )


def large_card(folder: Path, frames: int) -> Path:
    """Raw files of 24 megapixels in 16 bits, each of other bytes."""
    mosaic = np.random.default_rng(1).integers(600, 9000, (4000, 6000), dtype=np.uint16)
    data = bytearray(tiny_dng(mosaic))
    for number in range(frames):
        data[-64:-56] = number.to_bytes(8, "big")
        moment = BEGIN + timedelta(seconds=10 * number)
        put(folder, f"DCIM/100NOCTU/NOCT{number:04d}.DNG", bytes(data), modified=moment)
    return folder


def small_card(folder: Path, frames: int) -> Path:
    """Small pictures with the facts of a camera."""
    for number in range(frames):
        moment = BEGIN + timedelta(seconds=10 * number)
        data = jpeg(number, taken=moment, width=160, height=120)
        put(folder, f"DCIM/{100 + number // 1000}NOCTU/NOCT{number:04d}.JPG", data, modified=moment)
    return folder


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--folder", type=Path, default=None, help="on the drive to be measured")
    parser.add_argument("--card", type=Path, default=None, help="where the cards are made, if elsewhere")
    parser.add_argument("--large", type=int, default=100)
    parser.add_argument("--small", type=int, default=5000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--volumes", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--cache", nargs="+", default=["cold", "warm"])
    chosen = parser.parse_args()
    with (
        tempfile.TemporaryDirectory(dir=chosen.folder) as place,
        tempfile.TemporaryDirectory(dir=chosen.card or chosen.folder) as cards,
    ):
        # The catalogue and the writers of these archives go with them.
        os.environ["XDG_CACHE_HOME"] = str(Path(place) / "cache")
        for name, make, count in (("large", large_card, chosen.large), ("small", small_card, chosen.small)):
            if not count:
                continue
            card = make(Path(cards) / name, count)
            for volumes in chosen.volumes:
                for cache in chosen.cache:
                    table(card, Path(place), volumes, cache == "cold", chosen.rounds)
            shutil.rmtree(card)


if __name__ == "__main__":
    main()
