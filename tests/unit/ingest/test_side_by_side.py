"""Which cards may be copied at the same time."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import put, tiny_card

from archive.ingest.card import read_card
from archive.ingest.side_by_side import device_of, fitting, has_twin


@pytest.mark.parametrize(
    ("devices", "count"), [([], 0), ([1], 1), ([1, 1], 1), ([1, 2, 3], 3), ([1, 2, 1, 3], 2)]
)
def test_the_first_cards_on_different_devices_fit(devices: list[int], count: int) -> None:
    assert fitting(devices) == count


def test_a_source_that_is_not_there_has_a_device_of_no_one(tmp_path: Path) -> None:
    assert device_of(tmp_path / "none") == 0
    assert device_of(tmp_path) == tmp_path.stat().st_dev


def test_cards_with_a_file_of_the_same_size_and_begin_have_a_twin(tmp_path: Path) -> None:
    first = tiny_card(tmp_path / "first", 3)
    put(first, "A.WAV", b"RIFF" + bytes(100))
    second = tiny_card(tmp_path / "second", 3, first=20)
    put(second, "B.WAV", b"RIFX" + bytes(100))
    cards = [read_card(first), read_card(second)]
    assert not has_twin(cards[1], cards[:1])
    assert not has_twin(cards[1], [])
    put(second, "C.WAV", b"RIFF" + bytes(100))
    assert has_twin(read_card(second), cards[:1])
