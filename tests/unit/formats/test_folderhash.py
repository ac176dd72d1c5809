from __future__ import annotations

import pytest

from archive.formats.folderhash import folder_hashes, is_digest

# All values: computed with ASC MHL's reference implementation (ascmhl 1.2) for this tree.
TREE = {
    "DCIM/100TESTS/ABCD0001.RAW": "a96faf705af16834e6c632b61e964e1f",
    "DCIM/100TESTS/ABCD0002.RAW": "06b05ab6733a618578af5f94892f3950",
    "empty.txt": "99aa06d3014798d86001c324468d497f",
}
FOLDERS = {
    "DCIM/100TESTS": ("a4912baa5fff0ef7e484453993788bd2", "e2d15e2378d97f0e7b207cb7a1da4824"),
    "DCIM": ("3504711ce3350f5da16534a4f4cf76a0", "afadb47dfa7a23c00e162fac94ecee91"),
    "": ("6c49cf9d5162f804d664dd9846f3147c", "6f2f1bb321dfd1d260f1dc9da1cc7a91"),
}


def test_folder_hashes_are_the_reference_values() -> None:
    assert folder_hashes(TREE) == FOLDERS


def test_the_order_of_files_changes_no_folder_hash() -> None:
    assert folder_hashes(dict(reversed(TREE.items()))) == FOLDERS


def test_renaming_changes_structure_but_not_content() -> None:
    renamed = {path.replace("0001", "0009"): digest for path, digest in TREE.items()}
    content, structure = folder_hashes(renamed)[""]
    assert content == FOLDERS[""][0]
    assert structure != FOLDERS[""][1]


def test_an_empty_folder_is_the_hash_of_nothing() -> None:
    nothing = "99aa06d3014798d86001c324468d497f"
    assert folder_hashes({}, ["a/b"])["a/b"] == (nothing, nothing)


def test_folders_whose_names_sort_around_the_slash_are_all_found() -> None:
    digest = TREE["empty.txt"]
    assert set(folder_hashes({"a/x": digest, "a-b/c/x": digest, "a/b/x": digest})) == {
        "",
        "a",
        "a/b",
        "a-b",
        "a-b/c",
    }


@pytest.mark.parametrize(
    ("kind", "digest", "possible"),
    [
        ("xxh128", "a96faf705af16834e6c632b61e964e1f", True),
        ("xxh128", "a96faf705af16834e6c632b61e964e1", False),
        ("xxh128", "g96faf705af16834e6c632b61e964e1f", False),
        ("md5", "A96FAF705AF16834E6C632B61E964E1F", True),
        ("sha1", "0" * 40, True),
        ("sha256", "0" * 64, False),
        ("c4", "c4" + "1" * 88, True),
        ("c4", "c4" + "0" * 88, False),
    ],
)
def test_possible_digests_are_told_from_impossible_ones(kind: str, digest: str, possible: bool) -> None:
    assert is_digest(kind, digest) is possible
