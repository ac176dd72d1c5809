"""Volumes found where they were last mounted."""

from __future__ import annotations

from pathlib import Path

from archive.formats.volume import VolumeMark
from archive.model.identity import new_token
from archive.store.mounts import remembered_volumes
from archive.store.userplace import remember_mount
from archive.store.volumes import Volume, create_volume


def volume(root: Path, archive: str) -> Volume:
    mark = VolumeMark(archive=archive, volume=new_token(), name=root.name, created="2026-03-19T05:58:31Z")
    made = create_volume(root, mark)
    remember_mount(archive, made.id, root)
    return made


def test_a_volume_is_found_while_it_lies_where_it_was(tmp_path: Path) -> None:
    archive = new_token()
    one, two = volume(tmp_path / "one", archive), volume(tmp_path / "two", archive)
    assert {each.id for each in remembered_volumes(archive, but=[])} == {one.id, two.id}
    assert remembered_volumes(archive, but=[one.id]) == [two]
    (tmp_path / "two").rename(tmp_path / "unplugged")
    assert remembered_volumes(archive, but=[one.id]) == []


def test_another_volume_at_a_remembered_place_is_not_taken_for_it(tmp_path: Path) -> None:
    archive = new_token()
    volume(tmp_path / "one", archive)
    (tmp_path / "one").rename(tmp_path / "away")
    other = volume(tmp_path / "one", new_token())
    assert remembered_volumes(archive, but=[]) == []
    remember_mount(archive, new_token(), other.root)
    assert remembered_volumes(archive, but=[]) == []
