"""Volumes on file systems that are really mounted: full ones, exFAT, two on one drive. They need root."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.cards import archive_in, contents, site_of, tiny_card

from archive.errors import ArchiveError, Exit
from archive.store.drives import card_under, footing
from archive.store.durable import LocalDisk
from archive.store.naming import Naming
from archive.store.ports import Grade
from archive.workspace import open_archive

pytestmark = pytest.mark.slow


def does(*words: str | Path) -> None:
    """Run a command of the system, or skip where it cannot be run."""
    if os.geteuid() != 0 or shutil.which(str(words[0])) is None:
        pytest.skip(f"needs root and {words[0]}")
    made = subprocess.run(list(map(str, words)), capture_output=True, text=True)
    if made.returncode != 0:
        pytest.skip(f"this system does not let one: {made.stderr.strip()}")


@pytest.fixture
def mounted(tmp_path: Path) -> Iterator[Callable[..., Path]]:
    """Mounts something by the words of ``mount``, at a new folder."""
    points: list[Path] = []

    def mount(name: str, *words: str | Path) -> Path:
        point = tmp_path / name
        point.mkdir()
        does(*words, point)
        points.append(point)
        return point

    yield mount
    for point in reversed(points):
        subprocess.run(["umount", "-l", str(point)], check=True)


def filled(point: Path) -> None:
    """Leave no byte of a file system."""
    with (point / "everything else").open("wb", buffering=0) as stream:
        for size in (1 << 16, 1):
            while True:
                try:
                    stream.write(bytes(size))
                except OSError:
                    break


def test_a_full_second_volume_is_left_out_by_name_and_a_full_home_too(
    tmp_path: Path, mounted: Callable[..., Path]
) -> None:
    point = mounted("small", "mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs")
    card = tiny_card(tmp_path / "card", 2)
    before = contents(card)
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a", also=[point / "b"]) as workspace:
        site = site_of(workspace)
    filled(point)
    for home, other in ((tmp_path / "a", point / "b"), (point / "b", tmp_path / "a")):
        with open_archive(home, also=[other]) as workspace:
            (report,) = workspace.ingest.take([card], site=site)
            assert (report.copied + len(report.held), report.failed) == (2, ())
            (told,) = report.waiting
            assert told.startswith(f"b was left out: b at {point / 'b'} cannot be written: No space left")
    with open_archive(point / "b") as workspace:
        # Where the other one was last is remembered; it is read, but no cards are brought there.
        with pytest.raises(ArchiveError) as caught:
            workspace.ingest.take([card], site=site)
        assert caught.value.message.startswith(
            f"b at {point / 'b'} cannot be written: No space left on device."
        )
        assert caught.value.exit_code is Exit.REFUSED
    assert contents(card) == before


@pytest.fixture
def exfat(tmp_path: Path, mounted: Callable[..., Path]) -> Iterator[Path]:
    """A drive formatted with exFAT: by the system where it can, else by a program."""
    image = tmp_path / "exfat.img"
    with image.open("wb") as stream:
        stream.truncate(64 << 20)
    does("mkfs.exfat", "-c", "128K", image)
    if "exfat" in Path("/proc/filesystems").read_text():
        yield mounted("exfat", "mount", "-o", "loop", image)
        return
    does("losetup", "--version")
    device = subprocess.run(["losetup", "-f", "--show", str(image)], capture_output=True, text=True)
    if device.returncode != 0:
        pytest.skip(f"this system has no device for a file: {device.stderr.strip()}")
    try:
        yield mounted("exfat", "mount.exfat-fuse", device.stdout.strip())
    finally:
        # Let go of when it is mounted no more.
        subprocess.run(["losetup", "-d", device.stdout.strip()], check=True)


def test_a_volume_on_exfat_is_told_in_time_what_it_lacks_and_holds_the_card(
    tmp_path: Path, exfat: Path
) -> None:
    disk = LocalDisk(exfat)
    assert disk.cluster() == 128 << 10
    traits = disk.traits()
    assert traits.naming in (Naming.CLAIM, Naming.RENAME)
    card = tiny_card(tmp_path / "card", 3)
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a", also=[exfat / "b"]) as workspace:
        (report,) = workspace.ingest.take([card], site=site_of(workspace))
        assert (report.copied, report.failed, report.waiting) == (3, (), ())
        told = [note.text for note in report.remarks if note.path == "b"]
        assert any("keeps no read-only mark" in text for text in told) is not traits.keeps_read_only
        assert any("without replacing another" in text for text in told) is (traits.naming is Naming.CLAIM)
        masters = [path for path in (exfat / "b/masters").rglob("*.JPG") if path.is_file()]
        assert len(masters) == 3
        marked = [path.stat().st_mode & 0o222 == 0 for path in masters]
        assert all(marked) is traits.keeps_read_only
        assert workspace.custody.audit(lambda *_: None).findings == ()
        grade = next(volume.grade for volume in report.volumes if volume.name == "b")
        if "exfat" not in Path("/proc/filesystems").read_text():
            # A program is between the system and the drive: what it holds in memory is not seen.
            assert grade == Grade.CACHED


def test_two_file_systems_on_one_drive_are_one_device(tmp_path: Path, mounted: Callable[..., Path]) -> None:
    here = footing(tmp_path)
    points = []
    for name in ("one", "two"):
        image = tmp_path / f"{name}.img"
        with image.open("wb") as stream:
            stream.truncate(8 << 20)
        does("mkfs.ext4", "-q", image)
        points.append(mounted(name, "mount", "-o", "loop", image))
    one, two = footing(points[0]), footing(points[1])
    assert here is not None and one is not None and two is not None
    assert one.system != two.system
    assert one.drives == two.drives == here.drives
    # What is mounted from the system's own drive is no card; its files are this machine's.
    (points[0] / "DCIM").mkdir()
    card = card_under(points[0] / "DCIM")
    assert card is None if here.drives else card == one


def test_a_full_cache_is_named_and_costs_nothing_of_the_archive(
    tmp_path: Path, mounted: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Commands ended in tracebacks: "database or disk is full", and not of which folder."""
    point = mounted("cache", "mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs")
    monkeypatch.setenv("XDG_CACHE_HOME", str(point))
    card = tiny_card(tmp_path / "card", 2)
    with archive_in(tmp_path / "a") as workspace:
        workspace.ingest.take([card], site=site_of(workspace))
    filled(point)

    def rebuilt() -> None:
        with open_archive(tmp_path / "a", anew=True) as workspace:
            workspace.custody.rebuild(lambda *_: None)

    def rated() -> None:
        with open_archive(tmp_path / "a") as workspace:
            night = workspace.nights()[0].night
            for rating in range(6):
                workspace.statements.rate([night], rating)

    for work in (rebuilt, rated):
        with pytest.raises(ArchiveError, match=f"{point}") as caught:
            work()
        assert "Masters and journal are safe" in caught.value.hint
        assert "XDG_CACHE_HOME" in caught.value.hint
    (point / "everything else").unlink()
    rebuilt()
    with open_archive(tmp_path / "a") as workspace:
        assert sum(line.frames for line in workspace.nights()) == 2
