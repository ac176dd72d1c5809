"""What volumes hold, for many files at once."""

from __future__ import annotations

from support.builders import frame_id, memory_catalogue

from archive.catalogue.holdings import copies_of, held_count
from archive.model.listing import Copy


def test_copies_of_many_digests_are_found_in_one_go_and_strangers_are_left_out() -> None:
    catalogue = memory_catalogue()
    many = [(f"100NOCTU/{number:04d}.DNG", str(frame_id(number)), 1) for number in range(1200)]
    catalogue.hold("b" * 32, [("2026-03-18/north-7c1f9a2e", "sha256:1", many)])
    one = [("x.DNG", str(frame_id(7)), 1)]
    catalogue.hold("a" * 32, [("2026-03-18/north-7c1f9a2e", "sha256:1", one)])
    found = copies_of(catalogue, [frame_id(number) for number in range(1300)])
    assert found.keys() == {frame_id(number) for number in range(1200)}
    assert found[frame_id(7)] == [
        Copy(volume="a" * 32, path="2026-03-18/north-7c1f9a2e/x.DNG"),
        Copy(volume="b" * 32, path="2026-03-18/north-7c1f9a2e/100NOCTU/0007.DNG"),
    ]
    assert copies_of(catalogue, []) == {}


def test_a_rolls_files_are_counted_on_each_volume() -> None:
    catalogue = memory_catalogue()
    one = [("x", str(frame_id(7)), 1)]
    catalogue.hold("b" * 32, [("2026-03-18/north-7c1f9a2e", "sha256:1", one)])
    assert held_count(catalogue, "b" * 32, "2026-03-18/north-7c1f9a2e") == 1
    assert held_count(catalogue, "a" * 32, "2026-03-18/north-7c1f9a2e") == 0
