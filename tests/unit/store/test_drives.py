"""Which drives are under a place. The trees of devices are laid out as Linux shows them below /sys."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.store.drives import card_under, drives_under, footing, pool_of


class Machine:
    """The devices of an invented machine."""

    def __init__(self, root: Path) -> None:
        self.blocks = root / "dev/block"
        self.blocks.mkdir(parents=True)
        self._devices = root / "devices"
        self._places: dict[str, Path] = {}

    def drive(self, name: str, number: int, *, virtual: bool = False) -> None:
        self._add(name, number, self._devices / ("virtual" if virtual else "pci0000") / "block" / name)

    def partition(self, of: str, name: str, number: int) -> None:
        place = self._places[of] / name
        self._add(name, number, place)
        (place / "partition").write_text("1\n")

    def mapped(self, name: str, number: int, *below: str) -> None:
        self.drive(name, number, virtual=True)
        for each in below:
            (self._places[name] / "slaves" / each).symlink_to(self._places[each])

    def loop(self, name: str, number: int, backing: Path) -> None:
        self.drive(name, number, virtual=True)
        (self._places[name] / "loop").mkdir()
        (self._places[name] / "loop/backing_file").write_text(f"{backing}\n")

    def _add(self, name: str, number: int, place: Path) -> None:
        (place / "slaves").mkdir(parents=True)
        (self.blocks / f"8:{number}").symlink_to(place)
        self._places[name] = place

    def under(self, number: int) -> set[str]:
        return set(drives_under(os.makedev(8, number), blocks=self.blocks))


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    made = Machine(tmp_path / "sys")
    made.drive("sda", 0)
    made.partition("sda", "sda1", 1)
    made.partition("sda", "sda2", 2)
    made.drive("sdb", 16)
    made.partition("sdb", "sdb1", 17)
    return made


def test_two_partitions_of_one_drive_have_one_drive_under_them(machine: Machine) -> None:
    assert machine.under(1) == machine.under(2) == machine.under(0) == {"sda"}
    assert machine.under(17) == {"sdb"}


def test_encryption_volume_groups_and_mirrors_are_followed_down(machine: Machine) -> None:
    machine.mapped("dm-0", 100, "sda2")
    machine.mapped("dm-1", 101, "dm-0")
    machine.mapped("md0", 102, "sda1", "sdb1")
    assert machine.under(101) == {"sda"}
    assert machine.under(102) == {"sda", "sdb"}


def test_what_cannot_be_followed_to_its_end_is_not_known(machine: Machine) -> None:
    machine.drive("zram0", 110, virtual=True)
    machine.mapped("md1", 111, "sda1", "zram0")
    assert machine.under(110) == machine.under(111) == machine.under(99) == set()


def test_devices_in_a_ring_come_to_an_end(machine: Machine) -> None:
    machine.mapped("dm-0", 100)
    machine.mapped("dm-1", 101, "dm-0")
    (machine._places["dm-0"] / "slaves/dm-1").symlink_to(machine._places["dm-1"])
    assert machine.under(100) == set()


def test_a_file_that_is_mounted_lies_on_the_drive_that_holds_it(machine: Machine, tmp_path: Path) -> None:
    here = tmp_path.stat().st_dev
    if not os.major(here):
        pytest.skip("this folder's file system is on no block device")
    (machine.blocks / f"{os.major(here)}:{os.minor(here)}").symlink_to(machine._places["sdb1"])
    image = tmp_path / "card.img"
    image.touch()
    machine.loop("loop0", 120, image)
    assert machine.under(120) == {"sdb"}
    machine.loop("loop1", 121, tmp_path / "gone.img")
    assert machine.under(121) == set()
    found = footing(tmp_path, blocks=machine.blocks)
    assert found is not None and (found.system, found.drives) == (here, {"sdb"})


def test_a_place_that_is_not_there_has_no_footing(tmp_path: Path) -> None:
    assert footing(tmp_path / "none") is None
    with pytest.raises(FileNotFoundError):
        pool_of(tmp_path / "none")


class Numbered:
    """A folder whose file system has a number that is no block device's, as subvolumes and shares do."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *places: Path) -> None:
        stat = Path.stat

        def numbered(self: Path, **options: bool) -> os.stat_result:
            found = list(stat(self, **options))
            full = stat(self, **options)
            for number, place in enumerate(places, 40):
                if self == place:
                    found[2] = os.makedev(0, number)
                    return os.stat_result(found)
            return full

        monkeypatch.setattr(Path, "stat", numbered)


def test_subvolumes_share_the_room_and_the_drive_of_what_they_are_mounted_from(
    machine: Machine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, other, share = (tmp_path / name for name in ("one", "other", "share"))
    for place in (one, other, share):
        place.mkdir()
    table = tmp_path / "mounts"
    table.write_bytes(
        b"/dev/sda1 %s btrfs rw 0 0\n/dev/sda1 %s btrfs rw 0 0\nnas:/pictures %s nfs4 rw 0 0\n"
        % (os.fsencode(one), os.fsencode(other), os.fsencode(share))
    )
    Numbered(monkeypatch, one, other, share)
    assert pool_of(one, mounts=table) == pool_of(other, mounts=table) == "/dev/sda1"
    assert pool_of(share, mounts=table) == os.makedev(0, 42)
    found = footing(share, blocks=machine.blocks, mounts=table)
    assert found is not None and found.drives == frozenset()
    null = Path("/dev/null")
    if not null.is_char_device():
        pytest.skip("this system has no device files")
    number = null.stat().st_rdev
    (machine.blocks / f"{os.major(number)}:{os.minor(number)}").symlink_to(machine._places["sda1"])
    table.write_bytes(table.read_bytes().replace(b"/dev/sda1", b"/dev/null"))
    for place in (one, other):
        found = footing(place, blocks=machine.blocks, mounts=table)
        assert found is not None and found.drives == {"sda"}


def test_the_card_is_what_is_mounted_above_any_folder_of_it(
    machine: Machine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    below = tmp_path / "CARD/DCIM/100NOCTU"
    below.mkdir(parents=True)
    monkeypatch.setattr(Path, "is_mount", lambda self: self in (tmp_path / "CARD", Path("/")))
    found = card_under(below, blocks=machine.blocks)
    assert found is not None and found.system == tmp_path.stat().st_dev


def test_a_folder_of_the_systems_own_drive_is_no_card(
    machine: Machine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "is_mount", lambda self: self == Path("/"))
    assert card_under(tmp_path, blocks=machine.blocks) is None
    here = tmp_path.stat().st_dev
    if here != Path("/").stat().st_dev or not os.major(here):
        pytest.skip("the temporary folder does not lie on the system's own drive here")
    (machine.blocks / f"{os.major(here)}:{os.minor(here)}").symlink_to(machine._places["sda2"])
    monkeypatch.setattr(Path, "is_mount", lambda self: self in (tmp_path, Path("/")))
    assert card_under(tmp_path, blocks=machine.blocks) is None
