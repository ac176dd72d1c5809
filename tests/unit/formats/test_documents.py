"""What every JSON document is checked for before its fields are read."""

from __future__ import annotations

import json

import pytest

from archive.errors import ArchiveError, DamagedFileError, Exit
from archive.formats import documents
from archive.formats.documents import Document, checked, is_canonical, parse, written
from archive.model.identity import canonical


class Note(Document):
    """An invented document."""

    text: str
    count: int


def note(**changed: object) -> bytes:
    return canonical({"type": "note", "format": 1, "text": "ice", "count": 3} | changed)


def read(data: bytes, *, exact: bool = False) -> Note:
    return checked(Note, data, "note.json", kind="note", reads=2, exact=exact)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b'{"a":"\xff"}',
        b"[" * 200_000,
        b'{"a":' + b"9" * 5000 + b"}",
        b"not json",
    ],
)
def test_bytes_that_are_no_json_are_refused_by_name(data: bytes) -> None:
    with pytest.raises(DamagedFileError, match=r"note\.json is not a readable document"):
        parse(data, "note.json")


@pytest.mark.parametrize("data", [b"[]", b"3", b"null", b'"text"'])
def test_json_that_is_no_object_is_refused(data: bytes) -> None:
    with pytest.raises(DamagedFileError, match="holds no object"):
        parse(data, "note.json")


def test_a_document_beyond_the_limit_is_not_even_parsed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(documents, "MAX_DOCUMENT", 10)
    with pytest.raises(DamagedFileError, match="larger than any document"):
        parse(b'{"a":123456}', "note.json")


def test_a_name_is_shown_escaped_when_its_document_is_refused() -> None:
    with pytest.raises(DamagedFileError, match=r"a\\x1bb"):
        parse(b"", "a\x1bb")


def test_integers_that_json_cannot_hold_exactly_become_the_doubles_they_are() -> None:
    assert parse(b'{"a":295147905179352830000}', "n") == {"a": 295147905179352830000.0}
    assert isinstance(parse(b'{"a":9007199254740992}', "n")["a"], float)
    assert isinstance(parse(b'{"a":9007199254740991}', "n")["a"], int)


def test_a_sound_document_is_read_and_fields_that_are_unknown_are_kept() -> None:
    document = read(note(colour="green"))
    assert (document.text, document.count) == ("ice", 3)
    assert document.model_extra == {"colour": "green"}


def test_another_kind_of_document_is_refused() -> None:
    with pytest.raises(DamagedFileError, match="is no note document"):
        read(note(type="poem"))


@pytest.mark.parametrize("version", [None, "1", 0, -1, 1.5])
def test_a_document_that_does_not_say_its_format_is_refused(version: object) -> None:
    with pytest.raises(DamagedFileError, match="does not say its format"):
        read(note(format=version))


def test_a_newer_format_is_refused_by_name_and_is_no_damage() -> None:
    with pytest.raises(ArchiveError, match=r"note\.json .* needs format 3, this one reads 1 to 2") as caught:
        read(note(format=3))
    assert not isinstance(caught.value, DamagedFileError)
    assert caught.value.exit_code is Exit.REFUSED
    assert "Update" in caught.value.hint


def test_an_older_format_is_read() -> None:
    assert read(note(format=1)).format == 1


def test_all_faults_of_a_document_are_told_together() -> None:
    with pytest.raises(DamagedFileError) as caught:
        read(canonical({"type": "note", "format": 1, "text": 5, "count": "three"}))
    assert "text:" in caught.value.message
    assert "count:" in caught.value.message


@pytest.mark.parametrize(
    "data",
    [
        b'{"count":3,"format":1,"text":"ice", "type":"note"}',
        b'{"format":1,"count":3,"text":"ice","type":"note"}',
        b'{"count":3,"count":3,"format":1,"text":"ice","type":"note"}',
        b'{"count":3,"format":1,"text":"ice","type":"note"}\n',
        b'{"count":3,"format":1,"text":"\\u0069ce","type":"note"}',
        b'{"count":3,"format":1,"more":1.0,"text":"ice","type":"note"}',
        b'{"count":3,"format":1,"more":NaN,"text":"ice","type":"note"}',
        b'{"count":3,"format":1,"more":"\\ud800","text":"ice","type":"note"}',
        b'{"count":3,"format":1,"more":9007199254740993,"text":"ice","type":"note"}',
    ],
)
def test_exact_reading_refuses_whatever_is_not_the_one_form_of_rfc_8785(data: bytes) -> None:
    with pytest.raises(DamagedFileError, match=r"not in canonical form \(RFC 8785\)"):
        read(data, exact=True)


@pytest.mark.parametrize(
    "more", [1e-7, 1e21, 1e16, 0.1, -0.0, "\U0001f600", {"\U0001f600": 1, "\ufb33": 2}, "NaN", "é\x7f\u2028"]
)
def test_exact_reading_takes_whatever_was_written_here(more: object) -> None:
    data = note(more=more)
    assert is_canonical(parse(data, "n"), data)
    assert read(data, exact=True).text == "ice"


def test_written_is_canonical_whatever_the_order_it_was_made_in() -> None:
    assert written({"b": 1, "a": [1.0, None]}) == b'{"a":[1,null],"b":1}'
    assert json.loads(written({"b": "é"})) == {"b": "é"}
