from __future__ import annotations

import re

import pytest

from archive.errors import DamagedFileError
from archive.formats.hashchain import NAMESPACE, ChainEntry, c4, chain_bytes, read_chain

# Both values: the ascmhl 1.2 package, ASC MHL's reference implementation.
EMPTY = "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT"
LETTER_A = "c41dF3bGD8iqVcrJJQpS6fEsVgg9iKeNHGCCEhK2C2cGYRm2dx8xeFU1wKbkBsCWdefaz82KeyfbBf8Pfkpm4C56cc"


def entry(number: int) -> ChainEntry:
    return ChainEntry(
        generation=number, path=f"{number:04d}_north_2026-03-19_061502Z.mhl", c4=c4(bytes([number]))
    )


def chain(*rows: str) -> bytes:
    return f'<ascmhldirectory xmlns="{NAMESPACE}">{"".join(rows)}</ascmhldirectory>'.encode()


def row(number: object = 1, path: str = "0001_a.mhl", seal: str = EMPTY) -> str:
    return f'<hashlist sequencenr="{number}"><path>{path}</path><c4>{seal}</c4></hashlist>'


def test_c4_of_known_bytes_is_the_reference_value() -> None:
    assert c4(b"") == EMPTY
    assert c4(b"a") == LETTER_A


def test_every_c4_has_ninety_characters() -> None:
    assert {len(c4(bytes([value]))) for value in range(256)} == {90}


def test_a_chain_reads_back_as_it_was_written() -> None:
    entries = tuple(entry(number) for number in (1, 2, 3))
    assert read_chain(chain_bytes(entries)) == entries


def test_the_same_chain_has_the_same_bytes_and_a_line_for_each_part() -> None:
    document = chain_bytes([entry(1)])
    assert document == chain_bytes([entry(1)])
    assert document.splitlines()[:3] == [
        b'<?xml version="1.0" encoding="UTF-8"?>',
        b'<ascmhldirectory xmlns="urn:ASC:MHL:DIRECTORY:v2.0">',
        b'  <hashlist sequencenr="1">',
    ]


def test_a_gap_in_the_generations_is_not_written() -> None:
    with pytest.raises(ValueError, match="sequence number 3 where 2 was due"):
        chain_bytes([entry(1), entry(3)])


@pytest.mark.parametrize(
    ("document", "told"),
    [
        (chain(row(2)), "sequence number 2 where 1 was due"),
        (chain(row(), row()), "sequence number 1 where 2 was due"),
        (chain(row("x")), "no sequence number"),
        (chain(row(path="../0001_a.mhl")), "no plain file name"),
        (chain(row(path="/etc/0001_a.mhl")), "no plain file name"),
        (chain(row(path="below/0001_a.mhl")), "no plain file name"),
        (chain(row(path="below\\0001_a.mhl")), "no plain file name"),
        (chain(row(seal="c4short")), "impossible c4"),
        (chain(row(seal=EMPTY.replace("9", "0"))), "impossible c4"),
        (b"<ascmhldirectory/>", "no ASC MHL 2.0 chain"),
        (b"", "no readable XML"),
    ],
)
def test_a_chain_that_cannot_be_true_is_refused_in_words(document: bytes, told: str) -> None:
    with pytest.raises(DamagedFileError, match=re.escape(told)):
        read_chain(document, "ascmhl_chain.xml")
