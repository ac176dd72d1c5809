"""Breaks, joins and titles, and numbers that stay where they are."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.builders import FakeClock, camera, ingest, roll, roll_file, site
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.books import Books
from archive.editing.sequences import Sequencing
from archive.errors import UsageError
from archive.formats.volume import VolumeMark
from archive.journal.log import Log
from archive.model.entry import Draft
from archive.model.listing import SequenceLine
from archive.store.volumes import create_volume

Told = dict[str, tuple[int, str]]


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path, frames=12)
    yield made
    made.workspace.close()


def sizes(lines: tuple[SequenceLine, ...] | list[SequenceLine]) -> list[tuple[int, int]]:
    return [(line.number, line.frames) for line in lines]


def test_a_break_gives_the_part_behind_it_a_number_of_its_own(place: Studio) -> None:
    assert sizes(place.workspace.sequencing.break_before(f"{SEQUENCE}#7")) == [(1, 6), (2, 6)]
    entries = place.entries("sequence")
    place.workspace.sequencing.break_before("2026-03-18/one/2#1")
    assert place.entries("sequence") == entries


def test_a_join_takes_a_break_back_and_the_lower_number_stands(place: Studio) -> None:
    place.workspace.sequencing.break_before(f"{SEQUENCE}#7")
    assert sizes(place.workspace.sequencing.join("2026-03-18/one/2#1")) == [(1, 12)]
    # The number that was given away is not given to anyone else.
    assert sizes(place.workspace.sequencing.break_before(f"{SEQUENCE}#6")) == [(1, 5), (2, 7)]


def test_what_was_said_survives_a_rebuild_and_another_opening(place: Studio) -> None:
    sequencing = place.workspace.sequencing
    sequencing.break_before(f"{SEQUENCE}#7")
    sequencing.title("2026-03-18/one/2", "  Late   arc ")
    before = place.workspace.sequences()
    assert [line.title for line in before] == ["", "Late arc"]
    place.workspace.books.rebuild()
    assert place.workspace.sequences() == before
    again = place.reopened()
    assert again.workspace.sequences() == before
    again.workspace.close()


def test_a_title_goes_with_its_number_and_an_empty_one_takes_it_back(place: Studio) -> None:
    sequencing = place.workspace.sequencing
    assert sequencing.title(SEQUENCE, "First light").title == "First light"
    entries = place.entries("sequence")
    sequencing.title(SEQUENCE, "First light")
    assert place.entries("sequence") == entries
    front, back = sequencing.break_before(f"{SEQUENCE}#7")
    assert (front.title, back.title) == ("First light", "")
    assert sequencing.title(SEQUENCE, "").title == ""
    with pytest.raises(UsageError, match="at most 200"):
        sequencing.title(SEQUENCE, "x" * 201)
    with pytest.raises(UsageError, match="names no sequence"):
        sequencing.title(f"{SEQUENCE}#1", "x")


def test_the_first_frame_of_all_has_nothing_to_be_joined_to(place: Studio) -> None:
    with pytest.raises(UsageError, match="nothing before"):
        place.workspace.sequencing.join(f"{SEQUENCE}#1")
    with pytest.raises(UsageError, match="nothing before"):
        place.workspace.sequencing.join(SEQUENCE)


def opened(root: Path) -> Books:
    mark = VolumeMark(archive="5f" * 16, volume="0a" * 16, name="BLUE", created="2026-03-19T05:58:31Z")
    volume = create_volume(root / "blue", mark)
    log = Log([volume.disk], writer="w1", person="Ingrid", now=FakeClock())
    return Books([volume], log, f"sqlite:///{root / 'catalogue.sqlite'}")


def test_frames_between_two_sequences_come_into_the_one_they_become(tmp_path: Path) -> None:
    books = opened(tmp_path)
    seconds = [*(10 * n for n in range(6)), 200, 300, *(600 + 10 * n for n in range(6))]
    files = [roll_file(number, seconds=second) for number, second in enumerate(seconds)]
    books.state(Draft(kind="ingest", changes=(camera(), site(), ingest(roll(files)))))
    assert sizes(books.catalogue.sequences()) == [(1, 6), (2, 6)]
    assert sizes(Sequencing(books).join("2026-03-18/north/2")) == [(1, 14)]


def test_numbers_never_move_whatever_the_order_in_which_cards_arrive(tmp_path: Path) -> None:
    """Five runs on nine cards, some of which end in the middle of a run."""
    starts = (0, 1500, 2600, 4000, 9000)
    frames = [start + 10 * n for start in starts for n in range(15)]
    cards = [list(range(first, min(first + 9, len(frames)))) for first in range(0, len(frames), 9)]
    for seed in range(3):
        books = opened(tmp_path / str(seed))
        books.state(Draft(kind="site", changes=(camera(), site())))
        claimed: dict[tuple[str, int], str] = {}
        for token, card in enumerate(random.Random(seed).sample(cards, len(cards))):
            files = [roll_file(number, seconds=frames[number]) for number in card]
            books.state(Draft(kind="ingest", changes=(ingest(roll(files, token=f"{token:08x}")),)))
            for (frame, _), value in books.catalogue.layer("sequence-number").items():
                # Said once, of one frame, for good.
                assert claimed.setdefault((value["night"], value["number"]), frame) == frame
            for line in books.catalogue.sequences():
                inside = {frame.id for frame in books.catalogue.frames(sequence=line.key)}
                assert min(n for (_, n), frame in claimed.items() if frame in inside) == line.number
        lines = books.catalogue.sequences()
        assert sorted(line.frames for line in lines) == [15] * 5
        rows = books.catalogue.dump()["sequence"]
        books.rebuild()
        assert books.catalogue.dump()["sequence"] == rows
        books.close()
