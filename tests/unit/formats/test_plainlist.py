"""Entries read at speed are what the general reader reads, and nothing doubtful is read that way."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
import xxhash
from hypothesis import given, settings
from hypothesis import strategies as st
from support.rolls import hashed, manifest

from archive.errors import DamagedFileError
from archive.formats import hashlist, markup
from archive.formats.hashlist import HashedFile, Manifest, read_manifest
from archive.formats.plainlist import lift

NAMES = [
    "100NOCTU/NOCT0001.DNG",
    "100NOCTU/NOCT 0002.DNG",
    "n\u00f6rd/\u661f.jpg",
    "a & b/<c>.txt",
    "&amp;.txt",
    "..a/b..c",
    "'\".txt",
    "\U0001f30c.jpg",
]


def slowly(data: bytes) -> Manifest:
    """The same document as the general reader alone reads it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hashlist, "lift", lambda _data: None)
        return read_manifest(data)


def document(names: list[str] = NAMES) -> bytes:
    return manifest([hashed(name, name.encode()) for name in names])


def test_both_readers_read_the_same_of_names_sizes_times_and_folders() -> None:
    moment = datetime(2026, 3, 18, 22, 30, 15, 123456, tzinfo=UTC)
    files = [
        HashedFile(
            path=f"100NOCTU/{number:05d} & <{number}>.DNG",
            size=number * 10**9,
            modified=moment + timedelta(milliseconds=number * 10_007),
            xxh128=xxhash.xxh3_128_hexdigest(str(number).encode()),
            action=("original", "verified", "failed")[number % 3],
            hashed=moment,
        )
        for number in range(500)
    ]
    data = manifest(files, empty_folders=["empty/below"])
    assert lift(data) is not None
    assert read_manifest(data) == slowly(data)
    assert read_manifest(data).files == tuple(files)


@given(
    st.lists(
        st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=12),
        min_size=1,
        max_size=5,
        unique=True,
    )
)
@settings(max_examples=60, deadline=None)
def test_whatever_can_be_written_is_read_alike(names: list[str]) -> None:
    honest = [name for name in names if markup.path_fault(name) is None]
    if honest:
        data = document(honest)
        read = read_manifest(data)
        assert read == slowly(data)
        assert {file.path for file in read.files} == set(honest)


def _outcome(read: Callable[[bytes], Manifest], data: bytes) -> object:
    try:
        return read(data)
    except DamagedFileError as error:
        return error.message


def test_whatever_is_done_to_a_document_both_readers_say_the_same() -> None:
    data = document()
    chance = random.Random(20260318)
    lifted = 0
    for _ in range(600):
        changed = bytearray(data)
        for _ in range(chance.choice((1, 1, 2))):
            at = chance.randrange(len(changed))
            kind = chance.randrange(3)
            if kind == 0:
                changed[at] = chance.choice(b"<>&/.\\\"'0a \n\xff")
            elif kind == 1:
                del changed[at : at + chance.randrange(1, 30)]
            else:
                changed[at:at] = changed[chance.randrange(len(changed)) :][:20]
        lifted += lift(bytes(changed)) is not None
        assert _outcome(read_manifest, bytes(changed)) == _outcome(slowly, bytes(changed))
    assert lifted > 50


EVIL = '    <hash>\n      <path size="1" lastmodificationdate="2026-03-18T22:30:16+00:00">evil</path>\n'
EVIL += (
    '      <xxh128 action="original" hashdate="2026-03-18T22:30:16+00:00">'
    + "0" * 32
    + "</xxh128>\n    </hash>\n"
)


@pytest.mark.parametrize(
    "before, behind",
    [
        ("<!--", "-->"),
        ("<comment><![CDATA[", "]]></comment>"),
        ("<metadata>", "</metadata>"),
        ("<hashes><hash><metadata>", "</metadata></hash></hashes>"),
        ("<?note ", "?>"),
    ],
)
def test_entries_that_only_look_like_entries_are_not_read(before: str, behind: str) -> None:
    fake = f"{before}\n  <hashes>\n{EVIL}  </hashes>\n{behind}\n"
    data = document(["a"]).replace(b"  <creatorinfo>", fake.encode() + b"  <creatorinfo>", 1)
    assert lift(data) is not None
    read = _outcome(read_manifest, data)
    assert not isinstance(read, Manifest) or "evil" not in {file.path for file in read.files}
    assert _outcome(read_manifest, data) == _outcome(slowly, data)


def test_the_mark_cannot_be_guessed() -> None:
    first, second = lift(document()), lift(document())
    assert first is not None and second is not None
    assert first.mark != second.mark and len(first.mark) == 33


@pytest.mark.parametrize(
    "old, new",
    [
        (b"NOCT0001", b"../NOCT0001"),
        (b"100NOCTU/NOCT0001", b"/NOCT0001"),
        (b"100NOCTU/NOCT0001", b"C:NOCT0001"),
        (b"100NOCTU/NOCT0001", b"100NOCTU//NOCT0001"),
        (b"100NOCTU/NOCT0001", b"100NOCTU\\NOCT0001"),
        (b"NOCT0001", b"&#46;&#46;/NOCT0001"),
        (b"NOCT0001", b"NOCT&bomb;"),
        (b"NOCT0001", "NOCT\ufffe".encode()),
        (b"NOCT 0002", b"NOCT0001"),
        (b"22:30:16+00:00", b"22:30:16"),
        (b"22:30:16+00:00", b"29:30:16+00:00"),
        (b'encoding="UTF-8"', b'encoding="ASCII"'),
        (b"?>\n", b'?>\n<!DOCTYPE a [<!ENTITY bomb "x">]>\n'),
        (b"</hashlist>", b"</hashlist"),
        (b'version="2.0"', b'version="3.0"'),
        (b"transfer", b"dreamt"),
    ],
)
def test_what_is_wrong_is_told_in_the_general_readers_words(old: bytes, new: bytes) -> None:
    data = document().replace(old, new, 1)
    assert data != document()
    assert _outcome(read_manifest, data) == _outcome(slowly, data)


def test_a_document_in_another_form_is_left_to_the_general_reader() -> None:
    data = document()
    for other in (
        data.replace(b"\n", b"\r\n"),
        data.replace(b"    <hash>", b"  <hash>"),
        data.replace(b"xxh128", b"md5"),
        b"\xef\xbb\xbf" + data,
        data[:-20],
        b"",
    ):
        found = lift(other)
        assert found is None or other == data[:-20]


def test_the_bounds_of_the_general_reader_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("archive.formats.plainlist._LARGEST", 3)
    assert lift(document()) is None
    monkeypatch.setattr(markup, "MAX_BYTES", 10)
    assert lift(document(["a"])) is None
