"""Cards for tests: the two demo cards, made once and copied, and tiny ones written by hand."""

from __future__ import annotations

import atexit
import functools
import io
import os
import shutil
import struct
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from archive.demo.cards import DemoNight, write_cards
from archive.model.place import Site
from archive.workspace import Workspace, new_archive, open_archive

BEGIN = datetime(2026, 3, 18, 22, 0, 0)
"""What the clock of every tiny card reads at its first frame; the site's wall clock."""
SITE = ("River bend", 69.2, 20.1, 40.0, "Europe/Oslo")
NIGHT = "2026-03-18"
CAMERA = "one"


@functools.cache
def _demo_made() -> DemoNight:
    folder = Path(tempfile.mkdtemp(prefix="noctuary-cards-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return write_cards(folder, size=(144, 96), frames=8)


def demo_cards(folder: Path) -> DemoNight:
    """Both demo cards below ``folder``, with their own modification times."""
    made = _demo_made()
    cards = []
    for card in made.cards:
        target = folder / card.folder.name
        shutil.copytree(card.folder, target)
        cards.append(replace(card, folder=target))
    return replace(made, cards=tuple(cards))


def jpeg(
    number: int,
    *,
    taken: datetime | None = None,
    serial: str = "000417",
    model: str = "One",
    width: int = 64,
    height: int = 48,
    exposure_s: float = 8,
    orientation: int = 1,
) -> bytes:
    """A picture of its own colours with the EXIF that a camera writes; ``taken`` None writes no time."""
    rows = np.linspace(0, 1, height)[:, None]
    columns = np.linspace(0, 1, width)[None, :]
    planes = [rows + 0 * columns, columns + 0 * rows, np.full((height, width), (number * 37 % 256) / 255)]
    picture = Image.fromarray(np.round(np.stack(planes, -1) * 255).astype(np.uint8))
    exif = Image.Exif()
    exif[271], exif[272], exif[274] = "Invented", model, orientation
    below = exif.get_ifd(0x8769)
    if taken is not None:
        below[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
    below[0x829A], below[0x829D], below[0x8827], below[0x920A] = exposure_s, 2.8, 3200, 20.0
    below[0xA431] = serial
    sink = io.BytesIO()
    picture.save(sink, "JPEG", quality=90, exif=exif.tobytes())
    return sink.getvalue()


def wav(seconds: float = 0.1) -> bytes:
    """A sound note of silence."""
    data = bytes(int(8000 * seconds))
    head = struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + len(data), b"WAVE", b"fmt ", 16, 1, 1, 8000, 8000,
                       1, 8, b"data", len(data))  # fmt: skip
    return head + data


def put(card: Path, path: str | bytes, data: bytes, *, modified: datetime = BEGIN) -> Path:
    """A file on a card with its time; ``path`` may hold bytes that are no UTF-8."""
    target = card / os.fsdecode(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(data)
    moment = modified.replace(tzinfo=UTC).timestamp()
    os.utime(target, (moment, moment))
    return target


def tiny_card(
    card: Path,
    frames: int = 6,
    *,
    serial: str = "000417",
    model: str = "One",
    begin: datetime = BEGIN,
    cadence_s: float = 10,
    first: int = 1,
    folder: str = "DCIM/100NOCTU",
) -> Path:
    """A card with a sequence of small pictures, at a steady cadence."""
    for position in range(frames):
        taken = begin + timedelta(seconds=position * cadence_s)
        data = jpeg(first + position, taken=taken, serial=serial, model=model)
        put(card, f"{folder}/NOCT{first + position:04d}.JPG", data, modified=taken)
    return card


def archive_in(folder: Path, name: str = "BLUE") -> Workspace:
    """A new archive at ``folder`` that knows one site, opened."""
    new_archive(folder, name)
    workspace = open_archive(folder, person="Ingrid")
    workspace.statements.add_site(*SITE)
    return workspace


def site_of(workspace: Workspace) -> Site:
    return workspace.statements.site_named(SITE[0])


def contents(folder: Path) -> Mapping[str, tuple[bytes, int]]:
    """Every plain file below a folder: bytes and modification time."""
    return {
        str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


def spoil(path: Path, at: int = -5) -> None:
    """Flip one bit of a file that is read-only, and leave its size and time as they were."""
    before = path.stat()
    path.chmod(0o644)
    data = bytearray(path.read_bytes())
    data[at] ^= 0x10
    path.write_bytes(data)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    path.chmod(0o444)
