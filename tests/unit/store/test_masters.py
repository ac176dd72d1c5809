"""Hash-list generations of a roll, and masters read with proof."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from support.disks import MemoryDisk
from support.rolls import hashed

from archive.errors import ArchiveError, DamagedFileError
from archive.formats.hashchain import c4, read_chain
from archive.formats.hashlist import HashedFile, read_manifest
from archive.store.digest import digest_bytes
from archive.store.durable import LocalDisk, read_bytes, write_new
from archive.store.masters import read_master, record_generation, roll_path
from archive.store.ports import Disk
from archive.store.volumes import CHAIN, MASTERS, chain_state, held_files

FOLDER = "2026-03-18/north-7c1f9a2e"
HISTORY = f"{MASTERS}/{FOLDER}/ascmhl"
CREATED = datetime(2026, 3, 19, 6, 15, 2, tzinfo=UTC)
FIRST = [hashed("100NOCTU/NOCT0001.DNG", b"one"), hashed("100NOCTU/NOCT0002.DNG", b"two")]
SECOND = [hashed("100NOCTU/NOCT0003.DNG", b"three")]


def record(disk: Disk, files: Sequence[HashedFile], **changed: Any) -> None:
    values: dict[str, Any] = {
        "created": CREATED,
        "tool_version": "0.1.0",
        "process": "transfer",
        "author": "Ingrid",
    }
    record_generation(disk, FOLDER, files, **values | changed)


def generations(disk: Disk) -> list[str]:
    chain = chain_state(disk, FOLDER)
    return [link.path for link in read_chain(chain)] if chain else []


def test_a_first_generation_is_chained_and_says_what_the_roll_holds() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    assert held_files(disk, FOLDER) == {file.path: file for file in FIRST}
    assert generations(disk) == ["0001_north-7c1f9a2e_2026-03-19_061502Z.mhl"]
    assert disk.files("incoming") == []


def test_a_later_generation_adds_only_what_is_new() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    record(disk, [*FIRST, *SECOND], created=CREATED + timedelta(hours=1))
    names = generations(disk)
    assert len(names) == 2
    manifest = read_manifest(read_bytes(disk, f"{HISTORY}/{names[1]}"), names[1])
    assert [file.path for file in manifest.files] == [file.path for file in SECOND]
    assert held_files(disk, FOLDER) == {file.path: file for file in [*FIRST, *SECOND]}


def test_recording_what_is_recorded_writes_nothing() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    steps = disk.steps
    record(disk, FIRST)
    record(disk, [])
    assert disk.steps == steps


def test_a_manifest_that_a_crash_left_outside_the_chain_is_taken_up_if_it_says_the_same() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    (name,) = generations(disk)
    left = read_bytes(disk, f"{HISTORY}/{name}")
    disk.remove(f"{MASTERS}/{FOLDER}/{CHAIN}")
    record(disk, FIRST, created=CREATED + timedelta(hours=5))
    assert generations(disk) == [name]
    assert read_bytes(disk, f"{HISTORY}/{name}") == left


@pytest.mark.parametrize("left", [b"", b"<hashlist", b"other"])
def test_a_damaged_manifest_outside_the_chain_gives_way(left: bytes) -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    write_new(disk, HISTORY, "0002_north-7c1f9a2e_2026-03-19_061502Z.mhl", left)
    record(disk, SECOND, created=CREATED + timedelta(hours=1))
    assert len(disk.files(HISTORY)) == 3
    assert set(held_files(disk, FOLDER)) == {file.path for file in [*FIRST, *SECOND]}


def test_a_manifest_of_other_files_outside_the_chain_gives_way() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    record(disk, SECOND, created=CREATED + timedelta(minutes=1))
    stray = generations(disk)[1]
    links = read_bytes(disk, f"{HISTORY}/{stray}")
    other = MemoryDisk()
    record(other, FIRST)
    write_new(other, HISTORY, stray, links)
    third = [hashed("100NOCTU/NOCT0004.DNG", b"four")]
    record(other, third, created=CREATED + timedelta(hours=1))
    assert stray not in other.files(HISTORY)
    assert set(held_files(other, FOLDER)) == {file.path for file in [*FIRST, *third]}


def test_every_link_of_the_chain_seals_its_manifest() -> None:
    disk = MemoryDisk()
    for index in range(4):
        record(disk, [hashed(f"{index}.DNG", b"x")], created=CREATED + timedelta(hours=index))
    chain = chain_state(disk, FOLDER)
    assert chain is not None
    for number, link in enumerate(read_chain(chain), 1):
        assert link.generation == number
        assert link.c4 == c4(read_bytes(disk, f"{HISTORY}/{link.path}"))


def test_other_bytes_under_a_recorded_path_are_refused_and_the_history_stays_readable() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    with pytest.raises(DamagedFileError, match=r"other bytes of 100NOCTU/NOCT0001\.DNG"):
        record(disk, [hashed("100NOCTU/NOCT0001.DNG", b"else"), *SECOND])
    assert held_files(disk, FOLDER) == {file.path: file for file in FIRST}


def test_a_failed_verification_may_be_recorded_and_leaves_what_is_held() -> None:
    disk = MemoryDisk()
    record(disk, FIRST)
    failed = hashed("100NOCTU/NOCT0001.DNG", b"rotten", action="failed")
    record(disk, [failed], created=CREATED + timedelta(hours=1), process="in-place")
    assert held_files(disk, FOLDER) == {file.path: file for file in FIRST}


def put_master(root: Path, data: bytes = b"pixels") -> LocalDisk:
    disk = LocalDisk(root)
    write_new(disk, f"{MASTERS}/{FOLDER}/100NOCTU", "NOCT0001.DNG", data)
    return disk


def test_a_master_is_read_when_its_bytes_are_the_recorded_ones(tmp_path: Path) -> None:
    disk = put_master(tmp_path)
    assert read_master(disk, FOLDER, "100NOCTU/NOCT0001.DNG", digest_bytes(b"pixels")) == b"pixels"


def test_a_master_with_a_flipped_bit_is_never_handed_out(tmp_path: Path) -> None:
    disk = put_master(tmp_path, b"pixelt")
    with pytest.raises(DamagedFileError, match=r"NOCT0001\.DNG is damaged") as caught:
        read_master(disk, FOLDER, "100NOCTU/NOCT0001.DNG", digest_bytes(b"pixels"))
    assert "noctuary audit" in caught.value.hint


def test_a_missing_master_is_told_apart_from_a_damaged_one(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_master(LocalDisk(tmp_path), FOLDER, "100NOCTU/NOCT0001.DNG", digest_bytes(b""))


def test_a_link_in_place_of_a_master_is_an_error_that_names_it(tmp_path: Path) -> None:
    folder = tmp_path / MASTERS / FOLDER
    folder.mkdir(parents=True)
    (tmp_path / "other").write_bytes(b"pixels")
    (folder / "a.DNG").symlink_to(tmp_path / "other")
    with pytest.raises(ArchiveError, match=r"a\.DNG cannot be read"):
        read_master(LocalDisk(tmp_path), FOLDER, "a.DNG", digest_bytes(b"pixels"))


def test_a_master_lies_below_the_masters_of_its_volume() -> None:
    assert roll_path(FOLDER, "100NOCTU/NOCT0001.DNG") == f"masters/{FOLDER}/100NOCTU/NOCT0001.DNG"
