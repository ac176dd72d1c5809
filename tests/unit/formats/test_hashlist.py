from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from support import mhl_reference
from support.rolls import STARTED, hashed, manifest, write_generation

from archive.errors import DamagedFileError
from archive.formats.hashchain import CHAIN_NAME, c4, read_chain
from archive.formats.hashlist import (
    NAMESPACE,
    OtherHash,
    directory_hashes,
    fold_history,
    generation_of,
    manifest_name,
    read_manifest,
)

DIGEST = "a96faf705af16834e6c632b61e964e1f"  # XXH3-128 of "a"
AWKWARD = {
    "100NOCTU/NOCT0001.DNG": b"one",
    "100NOCTU/with space .DNG": b"two",
    "100NOCTU/a&b <c> 'd' \"e\".DNG": b"three",
    "100NOCTU/ÄØ-星空.DNG": b"four",
    "100NOCTU/twin.DNG": b"one",
    "100NOCTU-B/NOCT0001.DNG": b"six",
    "empty.txt": b"",
}


def document(hashes: str, *, process: str = "transfer", version: str = "2.0") -> bytes:
    return (
        f'<hashlist version="{version}" xmlns="{NAMESPACE}"><creatorinfo>\n'
        "<creationdate>2026-03-19T06:15:02+00:00</creationdate><hostname>dome</hostname>\n"
        f'<tool version="1">other</tool></creatorinfo><processinfo><process>{process}</process>\n'
        f"</processinfo><hashes>\n{hashes}\n</hashes></hashlist>"
    ).encode()


def one(path: str = "a.DNG", size: str = "1", digest: str = DIGEST, action: str = "original") -> str:
    return f'<hash><path size="{size}">{path}</path><xxh128 action="{action}">{digest}</xxh128></hash>'


def test_a_manifest_is_named_by_generation_folder_and_start_in_utc() -> None:
    started = datetime(2026, 3, 19, 7, 15, 2, tzinfo=timezone(timedelta(hours=1)))
    assert manifest_name(1, "north-7c1f9a2e", started) == "0001_north-7c1f9a2e_2026-03-19_061502Z.mhl"


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("0001_north_2026-03-19_061502Z.mhl", 1),
        ("12345_n.mhl", 12345),
        ("0002.mhl", 2),
        ("._0001_n.mhl", None),
    ],
)
def test_the_generation_is_read_from_the_name(name: str, number: int | None) -> None:
    assert generation_of(name) == number


def test_a_manifest_reads_back_as_it_was_written() -> None:
    files = [
        replace(hashed(path, data), modified=datetime(2026, 3, 18, 22, 30, 16, 250000, tzinfo=UTC))
        for path, data in AWKWARD.items()
    ]
    files[1] = replace(files[1], action="verified")
    files[2] = replace(files[2], action="failed")
    read = read_manifest(manifest(files, comment="taken in wind & <rain>"))
    assert read.files == tuple(sorted(files, key=lambda file: file.path))
    assert (read.created, read.hostname, read.tool, read.tool_version) == (
        STARTED,
        "dome",
        "noctuary",
        "0.1.0",
    )
    assert (read.process, read.author, read.comment) == ("transfer", "A. Watcher", "taken in wind & <rain>")
    assert read.folders == directory_hashes(files)
    assert read.ignored == (".DS_Store", "ascmhl", "ascmhl/")


def test_the_same_values_in_any_order_have_the_same_bytes() -> None:
    files = [hashed(path, data) for path, data in AWKWARD.items()]
    assert manifest(files) == manifest(files[::-1])


def test_elements_are_written_in_the_order_of_the_schema() -> None:
    order = re.findall(rb"<([a-z0-9]+)", manifest([hashed("100/a.DNG", b"a")], comment="c"))
    assert (
        order
        == (
            b"hashlist creatorinfo creationdate hostname tool author comment processinfo process roothash "
            b"content xxh128 structure xxh128 ignore pattern pattern pattern hashes hash path xxh128 "
            b"directoryhash path content xxh128 structure xxh128"
        ).split()
    )


def test_folder_hashes_of_a_later_generation_speak_of_the_whole_roll() -> None:
    first, second = hashed("100/a.DNG", b"a"), hashed("100/b.DNG", b"b")
    read = read_manifest(manifest([second], held=[first]))
    assert [file.path for file in read.files] == ["100/b.DNG"]
    assert read.folders == directory_hashes([first, second])


def test_empty_folders_are_listed() -> None:
    read = read_manifest(manifest([hashed("a.DNG", b"a")], empty_folders=["101NOCTU"]))
    assert set(read.folders) == {"", "101NOCTU"}


@pytest.mark.parametrize("path", ["../a", "/a", "a\nb", "a\x01", "", "a//b", "\udcff"])
def test_a_path_that_no_hash_list_can_hold_is_not_written(path: str) -> None:
    with pytest.raises(ValueError, match="cannot hold"):
        manifest([replace(hashed("a", b""), path=path)])


def test_neither_nothing_nor_the_same_path_twice_is_written() -> None:
    with pytest.raises(ValueError, match="at least one"):
        manifest([])
    with pytest.raises(ValueError, match="same path twice"):
        manifest([hashed("a", b"1"), hashed("a", b"2")])
    with pytest.raises(ValueError, match="size, action or digest"):
        manifest([replace(hashed("a", b"1"), xxh128="A" * 32)])


@pytest.mark.parametrize(
    ("hashes", "told"),
    [
        (one(path="../../etc/passwd"), "leaves its folder"),
        (one(path="a\\..\\..\\b"), "leaves its folder"),
        (one(path="/etc/passwd"), "an absolute path"),
        (one(path="C:/boot"), "an absolute path"),
        (one(path=""), "an empty path"),
        ("<hash><xxh128 action='original'>" + DIGEST + "</xxh128></hash>", "no path"),
        (one() + "\n" + one(), "'a.DNG' a second time"),
        (one() + "\n<directoryhash><path>a.DNG</path></directoryhash>", "'a.DNG' a second time"),
        (one(size="-1"), "impossible size"),
        (one(size="1e9"), "impossible size"),
        (one(size="9" * 40), "impossible size"),
        (one(digest="00"), "impossible xxh128"),
        (one(digest="z" * 32), "impossible xxh128"),
        (one(action="assumed"), "impossible xxh128 or action"),
        ("<hash><path>a</path></hash>", "no digest"),
        (f"<hash><path lastmodificationdate='soon'>a</path>"
         f"<xxh128 action='original'>{DIGEST}</xxh128></hash>", "impossible lastmodificationdate, 'soon'"),
        (f"<hash><path>a</path><xxh128 action='original'>{DIGEST}</xxh128>"
         "<previousPath>../b</previousPath></hash>", "impossible previous path"),
        ("<directoryhash><path>b</path><content><xxh128>00</xxh128></content></directoryhash>",
         "impossible folder hashes"),
    ],
)  # fmt: skip
def test_a_manifest_that_cannot_be_true_is_refused_with_its_line(hashes: str, told: str) -> None:
    with pytest.raises(DamagedFileError) as caught:
        read_manifest(document(one(path="good.DNG") + "\n" + hashes), "0001_x.mhl")
    assert told in caught.value.message
    assert caught.value.message.startswith("0001_x.mhl is damaged: line ")
    assert re.search(r"line [67] ", caught.value.message)


def test_all_faults_of_a_manifest_are_told_together_up_to_a_bound() -> None:
    with pytest.raises(DamagedFileError) as caught:
        read_manifest(document("\n".join(one(path=f"../{number}") for number in range(50))))
    assert caught.value.message.count("leaves its folder") == 20
    assert "and 30 more" in caught.value.message


@pytest.mark.parametrize(
    "data",
    [
        document(one(), version="1.1"),
        b"<hashlist version='2.0'/>",
        document(one()).replace(b"hashlist", b"hashlisd"),
    ],
)
def test_another_kind_of_document_is_refused(data: bytes) -> None:
    with pytest.raises(DamagedFileError, match=r"no ASC MHL 2\.0 hash list"):
        read_manifest(data)


def test_an_unknown_process_is_a_fault() -> None:
    with pytest.raises(DamagedFileError, match="no known process"):
        read_manifest(document(one(), process="guessed"))


def test_an_entity_bomb_is_not_expanded() -> None:
    bomb = b'<!DOCTYPE hashlist [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>' + document("&b;&b;")
    with pytest.raises(DamagedFileError, match="entities"):
        read_manifest(bomb)


@pytest.mark.parametrize("cut", [1, 2, 3, 5, 9])
def test_a_manifest_cut_short_is_refused(cut: int) -> None:
    whole = manifest([hashed(path, data) for path, data in AWKWARD.items()])
    with pytest.raises(DamagedFileError):
        read_manifest(whole[: len(whole) * cut // 10])


def test_digests_of_other_formats_are_kept_apart() -> None:
    md5 = "0cc175b9c0f1b6a831c399e269772661"
    sha1 = "86f7e437faa5a7fce15d1ddcb9eaeaea377667b8"
    both = f"<hash><path size='1'>b</path><md5 action='original'>{md5}</md5>"
    both += f"<sha1 action='verified'>{sha1}</sha1></hash>"
    read = read_manifest(document(one() + both))
    assert [file.path for file in read.files] == ["a.DNG"]
    assert read.others == (
        OtherHash(path="b", size=1, format="md5", digest=md5, action="original"),
        OtherHash(path="b", size=1, format="sha1", digest=sha1, action="verified"),
    )


def test_a_history_folds_to_what_the_roll_holds_now() -> None:
    first = read_manifest(manifest([hashed("a", b"1"), hashed("b", b"2")]))
    later = STARTED + timedelta(days=1)
    second = read_manifest(
        manifest(
            [
                hashed("a", b"1", action="verified", hashed=later),
                hashed("b", b"damaged", action="failed", hashed=later),
                hashed("c", b"3", hashed=later),
            ]
        )
    )
    held = fold_history([first, second])
    assert sorted(held) == ["a", "b", "c"]
    assert (held["a"].action, held["a"].hashed) == ("verified", later)
    assert held["b"] == hashed("b", b"2")


def test_a_file_that_moved_is_held_under_its_new_path_only() -> None:
    first = read_manifest(document(one()))
    moved = one(path="b.DNG", action="verified").replace(
        "</hash>", "<previousPath>a.DNG</previousPath></hash>"
    )
    assert sorted(fold_history([first, read_manifest(document(moved))])) == ["b.DNG"]


def test_generations_that_contradict_each_other_are_a_fault() -> None:
    first, second = (read_manifest(manifest([hashed("a", data)])) for data in (b"1", b"2"))
    with pytest.raises(DamagedFileError, match="different bytes of a"):
        fold_history([first, second])


def two_generations(folder: Path) -> Path:
    roll = folder / "north & west-7c1f9a2e"
    write_generation(roll, AWKWARD, empty_folders=["102EMPTY"])
    write_generation(roll, {"101NOCTU/late.DNG": b"late"}, held=AWKWARD, empty_folders=["102EMPTY"])
    return roll


@pytest.mark.slow
def test_the_reference_implementation_accepts_one_generation(tmp_path: Path) -> None:
    roll = tmp_path / "north-7c1f9a2e"
    write_generation(roll, AWKWARD, empty_folders=["102EMPTY"])
    assert mhl_reference.verify_folder(roll) == mhl_reference.CLEAN
    assert mhl_reference.verify_folder(roll, folder_hashes=True) == mhl_reference.CLEAN


@pytest.mark.slow
def test_the_reference_implementation_accepts_two_generations(tmp_path: Path) -> None:
    assert mhl_reference.verify_folder(two_generations(tmp_path)) == mhl_reference.CLEAN


@pytest.mark.slow
@pytest.mark.parametrize("path", list(AWKWARD))
def test_the_reference_implementation_finds_an_altered_file(tmp_path: Path, path: str) -> None:
    roll = two_generations(tmp_path)
    (roll / path).write_bytes(b"x" + AWKWARD[path][1:])
    assert mhl_reference.verify_folder(roll) == mhl_reference.ALTERED


@pytest.mark.slow
def test_the_reference_implementation_finds_files_and_manifests_tampered_with(tmp_path: Path) -> None:
    roll = two_generations(tmp_path)
    (roll / "empty.txt").unlink()
    assert mhl_reference.verify_folder(roll) == mhl_reference.MISSING
    (roll / "empty.txt").touch()
    (roll / "stranger.txt").touch()
    assert mhl_reference.verify_folder(roll) == mhl_reference.NEW
    (roll / "stranger.txt").unlink()
    assert mhl_reference.verify_folder(roll) == mhl_reference.CLEAN
    manifest_path = next((roll / "ascmhl").glob("0001_*"))
    manifest_path.write_bytes(manifest_path.read_bytes().replace(b"dome", b"tome"))
    assert mhl_reference.verify_folder(roll) == mhl_reference.MANIFEST_EDITED


@pytest.mark.slow
def test_the_published_schemas_accept_our_documents(tmp_path: Path) -> None:
    history = two_generations(tmp_path) / "ascmhl"
    faults = mhl_reference.schema_faults(manifests=sorted(history.glob("*.mhl")), chain=history / CHAIN_NAME)
    assert faults == ""


@pytest.mark.slow
def test_a_history_continued_by_the_reference_implementation_is_read(tmp_path: Path) -> None:
    roll = two_generations(tmp_path)
    (roll / "added.DNG").write_bytes(b"added")
    assert mhl_reference.create_history(roll) == mhl_reference.CLEAN
    history = roll / "ascmhl"
    chain = read_chain((history / CHAIN_NAME).read_bytes())
    documents = [(history / entry.path).read_bytes() for entry in chain]
    assert [c4(data) for data in documents] == [entry.c4 for entry in chain]
    manifests = [read_manifest(data) for data in documents]
    assert len(manifests) == 3
    held = fold_history(manifests)
    contents = AWKWARD | {"101NOCTU/late.DNG": b"late", "added.DNG": b"added"}
    assert {path: file.xxh128 for path, file in held.items()} == {
        path: hashed(path, data).xxh128 for path, data in contents.items()
    }
    everything = [hashed(path, data) for path, data in contents.items()]
    assert manifests[2].folders == directory_hashes(everything, ["102EMPTY"])


@pytest.mark.slow
def test_a_roll_of_five_thousand_files_is_written_read_and_accepted(tmp_path: Path) -> None:
    roll = tmp_path / "roll"
    contents = {f"1{n // 1000:02d}NOCTU/a & <{n:04d}> \u661f.DNG": str(n).encode() for n in range(5000)}
    path = write_generation(roll, contents)
    read = read_manifest(path.read_bytes())
    assert {file.path for file in read.files} == contents.keys()
    assert mhl_reference.verify_folder(roll) == mhl_reference.CLEAN
