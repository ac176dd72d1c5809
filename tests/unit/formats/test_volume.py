"""volume.json, there and back."""

from __future__ import annotations

import json
from typing import Any

import pytest

from archive.errors import ArchiveError, DamagedFileError
from archive.formats.volume import VolumeMark, decode, encode
from archive.model.identity import canonical

MARK = VolumeMark(
    archive="5f0c2a7d9b3e4f1896c7d0a1b2e3f405",
    volume="0a1b2c3d4e5f60718293a4b5c6d7e8f9",
    name="BLÅ “1”",
    created="2026-03-19T05:58:31Z",
)


def altered(**changed: Any) -> bytes:
    return canonical(json.loads(encode(MARK)) | changed)


def test_a_mark_comes_back_as_it_was_written() -> None:
    assert decode(encode(MARK)) == MARK


@pytest.mark.parametrize(
    "changed",
    [
        {"archive": "5f0c"},
        {"archive": MARK.archive.upper()},
        {"archive": MARK.archive + "\n"},
        {"volume": "../" + MARK.volume[3:]},
        {"name": ""},
        {"name": "x" * 101},
        {"created": None},
    ],
)
def test_a_mark_with_an_impossible_field_is_refused_and_the_field_named(changed: dict[str, Any]) -> None:
    with pytest.raises(DamagedFileError, match=next(iter(changed))):
        decode(altered(**changed))


def test_a_newer_mark_is_refused_by_name() -> None:
    with pytest.raises(ArchiveError, match=r"volume\.json was written by a newer release"):
        decode(altered(format=2))


def test_another_document_is_no_mark() -> None:
    with pytest.raises(DamagedFileError, match="is no noctuary-volume document"):
        decode(altered(type="noctuary-entry"))
