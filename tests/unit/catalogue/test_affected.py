"""What entries touched."""

from __future__ import annotations

from archive.catalogue.affected import Affected, chunks


def test_nothing_touched_is_false_and_anything_is_true() -> None:
    assert not Affected()
    assert all(Affected(**{kind: {"x"}}) for kind in ("cameras", "sites", "rolls", "frames"))


def test_values_come_in_pieces_none_twice_none_lost() -> None:
    values = [str(n) for n in range(1001)]
    pieces = list(chunks(values))
    assert [len(piece) for piece in pieces] == [500, 500, 1]
    assert [value for piece in pieces for value in piece] == values
