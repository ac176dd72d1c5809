"""Every roll that an ingest leaves, on every volume, held against the standard's reference implementation."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from support import mhl_reference
from support.cards import BEGIN, archive_in, put, site_of, tiny_card, wav
from support.exif_bytes import movie
from support.slots import both_cards, raw_card

from archive.store.volumes import held_files, roll_folders
from archive.workspace import Workspace, open_archive

pytestmark = pytest.mark.slow


def two_slots(workspace: Workspace, folder: Path) -> None:
    for card in both_cards(folder, 3):
        workspace.ingest.take([card], site=site_of(workspace))


def everything_beside_pictures(workspace: Workspace, folder: Path) -> None:
    card = raw_card(folder / "card", 2)
    put(card, "DCIM/100NOCTU/NOCT0001.WAV", wav())
    put(card, "DCIM/100NOCTU/NOCT0001.XMP", b"<x/>")
    put(card, "DCIM/100NOCTU/NOCT0007.MP4", movie(3_856_000_000))
    put(card, "MISC/INDEX.CTG", b"index")
    put(card, "readme & more <here>.txt", b"notes")
    put(card, "deep/er/and/deeper/x.bin", b"x")
    workspace.ingest.take([card], site=site_of(workspace))


def bodies_and_nights(workspace: Workspace, folder: Path) -> None:
    card = tiny_card(folder / "card", 2)
    tiny_card(card, 2, serial="000999", model="Two", first=50, folder="DCIM/101NOCTU")
    tiny_card(card, 2, begin=BEGIN + timedelta(days=1), first=70, folder="DCIM/102NOCTU")
    workspace.ingest.take([card], site=site_of(workspace))


def a_volume_completed_later(workspace: Workspace, folder: Path) -> None:
    card = tiny_card(folder / "card", 3)
    workspace.ingest.take([card], site=site_of(workspace))
    workspace.close()
    with open_archive(workspace.root, also=[folder / "RED"]) as both:
        both.ingest.take([card], site=site_of(both))


def taken_in_twice(workspace: Workspace, folder: Path) -> None:
    card = tiny_card(folder / "card", 3)
    workspace.ingest.take([card], site=site_of(workspace))
    tiny_card(card, 2, first=20)
    shutil.move(card / "DCIM/100NOCTU/NOCT0001.JPG", card / "renamed.jpg")
    workspace.ingest.take([card], site=site_of(workspace))


@pytest.mark.parametrize(
    "fill",
    [two_slots, everything_beside_pictures, bodies_and_nights, a_volume_completed_later, taken_in_twice],
)
def test_every_roll_proves_good(tmp_path: Path, fill: Callable[[Workspace, Path], None]) -> None:
    workspace = archive_in(tmp_path / "a")
    fill(workspace, tmp_path)
    workspace.close()
    count = 0
    for root in (tmp_path / "a", tmp_path / "RED"):
        if not root.exists():
            continue
        with open_archive(root) as opened:
            disk = opened.books.home.disk
            for folder in roll_folders(disk):
                roll = root / "masters" / folder
                assert held_files(disk, folder).keys() == {
                    path.relative_to(roll).as_posix()
                    for path in roll.rglob("*")
                    if path.is_file() and path.parent.name != "ascmhl"
                }
                assert mhl_reference.verify_folder(roll, folder_hashes=True) == mhl_reference.CLEAN
                count += 1
    assert count >= 1
