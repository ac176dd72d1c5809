from __future__ import annotations

import pytest

from archive.errors import DamagedFileError
from archive.formats import markup

BOMB = b"""<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><a>&c;&c;&c;</a>"""
OUTSIDE = b"""<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><a>&b;</a>"""


def test_elements_keep_their_line_text_and_attributes() -> None:
    root = markup.read(b'<a xmlns="urn:x">\n <b c="1"> d &amp; e </b>\n <b/>\n</a>', "a.xml")
    first, second = root.all("b")
    assert (root.tag, root.name) == ("{urn:x}a", "a")
    assert (first.text, first.attributes, first.line) == (" d & e ", {"c": "1"}, 2)
    assert (second.text, second.line) == ("", 3)
    assert root.first("z") is None


@pytest.mark.parametrize("document", [BOMB, OUTSIDE, b"<!DOCTYPE a><a/>"])
def test_entities_and_document_types_are_refused(document: bytes) -> None:
    with pytest.raises(DamagedFileError, match="declares a document type or entities"):
        markup.read(document, "a.xml")


@pytest.mark.parametrize(
    "document", [b"", b"   ", b"<a>", b"<a></b>", b"<a/><b/>", b"\x00\xff", b"<a>\x01</a>", b"<a>\xff</a>"]
)
def test_what_is_not_xml_is_refused(document: bytes) -> None:
    with pytest.raises(DamagedFileError, match="no readable XML"):
        markup.read(document, "a.xml")


def test_an_encoding_nobody_knows_is_refused() -> None:
    with pytest.raises(DamagedFileError):
        markup.read(b'<?xml version="1.0" encoding="moon-8"?><a/>', "a.xml")


def test_a_document_beyond_its_limit_is_not_parsed() -> None:
    with pytest.raises(DamagedFileError, match=r"larger than any document .*17 bytes"):
        markup.read(b"<a>" + b" " * 10 + b"</a>", "a.xml", limit=16)


def test_a_document_deeper_than_any_honest_one_is_refused() -> None:
    with pytest.raises(DamagedFileError, match="deeper or longer"):
        markup.read(b"<a>" * 1000 + b"</a>" * 1000, "a.xml")


def test_names_in_messages_are_shown_escaped() -> None:
    with pytest.raises(DamagedFileError) as caught:
        markup.read(b"", "a\x1b[2J.xml")
    assert "\x1b" not in caught.value.message


@pytest.mark.parametrize("text", ["a b", "näme", "<&>\"'", "星", "\U0001f30c", " "])
def test_text_that_xml_can_hold_is_writable(text: str) -> None:
    assert markup.writable(text)


@pytest.mark.parametrize("text", ["a\nb", "a\tb", "a\rb", "\x00", "\x1b", "\udcff", "\ufffe"])
def test_text_that_xml_loses_is_not_writable(text: str) -> None:
    assert not markup.writable(text)


@pytest.mark.parametrize(
    "path",
    [
        "../a",
        "a/../../b",
        "a\\..\\b",
        "/etc/a",
        "\\\\host\\a",
        "C:/a",
        "c:a",
        "a//b",
        "./a",
        "a/",
        "",
        "a\nb",
    ],
)
def test_a_path_that_may_leave_its_folder_has_a_fault(path: str) -> None:
    assert markup.path_fault(path)


@pytest.mark.parametrize("path", ["a", "a/b c.DNG", "..a/b", "a..b", "100NOCTU/NÖCT0001.DNG", "a b/ c "])
def test_an_ordinary_path_has_none(path: str) -> None:
    assert markup.path_fault(path) is None
