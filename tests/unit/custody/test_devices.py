"""Which volumes lie on one physical thing."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import archive_in

from archive.custody.devices import count, declare_device, devices_of, other_volumes
from archive.errors import UsageError
from archive.store.drives import Footing
from archive.workspace import open_archive


def test_a_device_is_stated_once_and_stands_when_volumes_are_written_again(tmp_path: Path) -> None:
    with archive_in(tmp_path / "a") as workspace:
        workspace.ingest.take([_card(tmp_path / "one")])
        volume = declare_device(workspace.books, "BLUE", " grey drive ")
        count = len(workspace.books.log.names())
        assert declare_device(workspace.books, volume[:8], "grey drive") == volume
        assert len(workspace.books.log.names()) == count
        workspace.ingest.take([_card(tmp_path / "two")])
        stated = workspace.books.catalogue.stated(f"volume:{volume}", "volume")
        assert stated["device"] == "grey drive"
        assert stated["name"] == "BLUE" and stated["created"].endswith("Z")


def test_a_device_can_be_said_before_the_first_ingest(tmp_path: Path) -> None:
    with archive_in(tmp_path / "a") as workspace:
        volume = declare_device(workspace.books, "BLUE", "grey drive")
        found = devices_of(workspace.books, [volume], {volume: workspace.books.home})
        assert (found[volume].name, found[volume].declared, found[volume].counts) == (
            "grey drive",
            True,
            True,
        )


@pytest.mark.parametrize("device", ["", "  ", "x" * 101])
def test_a_device_without_a_name_is_refused(tmp_path: Path, device: str) -> None:
    with archive_in(tmp_path / "a") as workspace, pytest.raises(UsageError, match="1 to 100 characters"):
        declare_device(workspace.books, "BLUE", device)


def test_a_volume_that_is_unknown_or_one_of_several_is_not_guessed(tmp_path: Path) -> None:
    with archive_in(tmp_path / "a") as workspace:
        with pytest.raises(UsageError, match="No volume is called RED") as caught:
            declare_device(workspace.books, "RED", "x")
        assert "BLUE" in caught.value.hint
    with open_archive(tmp_path / "a", also=[tmp_path / "b/BLUE"]) as workspace:
        assert [volume.name for volume in workspace.books.volumes] == ["BLUE", "BLUE"]
        with pytest.raises(UsageError, match="2 volumes are called BLUE"):
            declare_device(workspace.books, "BLUE", "x")


def test_groups_of_names_and_file_systems_that_touch_are_one_device(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive_in(tmp_path / "a").close()
    systems = {tmp_path / "a": 1, tmp_path / "b": 2, tmp_path / "c": 2, tmp_path / "d": 4}
    monkeypatch.setattr("archive.custody.devices.footing", lambda root: Footing(system=systems[root]))
    others = [tmp_path / name for name in "bcd"]
    with open_archive(tmp_path / "a", also=others) as workspace:
        for name, device in (("BLUE", "grey"), ("b", "grey"), ("d", "red")):
            declare_device(workspace.books, name, device)
        mounted = {volume.id: volume for volume in workspace.books.volumes}
        found = devices_of(workspace.books, mounted, mounted)
        keys = [found[volume.id].key for volume in workspace.books.volumes]
        assert keys[0] == keys[1] == keys[2] != keys[3]
        assert [found[volume.id].declared for volume in workspace.books.volumes] == [True, True, False, True]
        assert count(found.values()) == 2
        assert all(device.apart for device in found.values())


def test_volumes_over_one_drive_are_one_device_however_it_is_divided(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive_in(tmp_path / "a").close()
    drives = {"a": "sda", "b": "sdb sda", "c": "sdc", "d": ""}

    def on(root: Path) -> Footing:
        return Footing(system=ord(root.name), drives=frozenset(drives[root.name].split()))

    monkeypatch.setattr("archive.custody.devices.footing", on)
    with open_archive(tmp_path / "a", also=[tmp_path / name for name in "bcd"]) as workspace:
        mounted = {volume.id: volume for volume in workspace.books.volumes}
        devices = devices_of(workspace.books, mounted, mounted)
        found = [devices[volume] for volume in mounted]
        assert found[0].key == found[1].key != found[2].key
        assert [device.name for device in found] == [
            "drive sda",
            "drive sda and sdb",
            "drive sdc",
            "the file system of d",
        ]
        assert [device.apart for device in found] == [True, True, True, False]
        assert (count(found), count(found[:2]), count(found[3:]), count([])) == (2, 1, 1, 0)


def test_volumes_are_found_where_they_were_mounted_and_strangers_there_are_not(tmp_path: Path) -> None:
    archive_in(tmp_path / "a").close()
    open_archive(tmp_path / "a", also=[tmp_path / "b", tmp_path / "c"]).close()
    (tmp_path / "c").rename(tmp_path / "gone")
    archive_in(tmp_path / "c", "OTHER").close()
    with open_archive(tmp_path / "a") as workspace:
        assert [volume.name for volume in other_volumes(workspace.books)] == ["b"]


def _card(folder: Path) -> Path:
    folder.mkdir()
    (folder / "A.JPG").write_bytes(b"\xff\xd8" + folder.name.encode() + b"\xff\xd9")
    return folder
