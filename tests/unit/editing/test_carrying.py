"""Carrying to whole sequences, and carrying what only a later release knows."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.builders import FOUNDATION, FakeClock, camera, frame_id, ingest, roll, roll_file, site
from support.disks import MemoryDisk

from archive.catalogue.books import Books
from archive.editing.recipes import Recipes
from archive.formats.volume import VolumeMark
from archive.journal.log import Log
from archive.journal.recipes import version_value
from archive.model.entry import OWN, SHARED, Change, Draft
from archive.model.recipe import OperatorValues, Recipe
from archive.store.durable import read_bytes
from archive.store.volumes import Volume

SEQUENCE = "2026-03-18/north/1"
GLOW = OperatorValues(name="glow", version=3, values={"amount": 0.4, "shape": "soft"})
STOPS = OperatorValues(name="exposure", version=1, values={"stops": 0.5})


def recipes(folder: Path, frames: int) -> Recipes:
    """The recipes of one sequence of so many frames, in an archive that lies in memory."""
    mark = VolumeMark(archive="a" * 32, volume="b" * 32, name="BLUE", created="2026-03-19")
    volume = Volume(root=Path("/nowhere"), mark=mark, disk=MemoryDisk())
    log = Log([volume.disk], writer="w1", person="Ingrid", now=FakeClock())
    books = Books([volume], log, f"sqlite:///{folder / 'catalogue.sqlite'}")
    taken = roll([roll_file(number, seconds=10 * number) for number in range(1, frames + 1)])
    books.state(Draft(kind="ingest", changes=(camera(), site(), ingest(taken))))
    return Recipes(books, FOUNDATION)


def test_a_carry_to_450_frames_is_one_entry_and_names_each_frame_once(tmp_path: Path) -> None:
    made = recipes(tmp_path, 450)
    books = made.bench.books
    made.set(f"{SEQUENCE}#7", ["exposure.stops=0.5", "contrast.amount=0.2"])
    held = books.log.names()
    carried = made.carry(f"{SEQUENCE}#7", SEQUENCE)
    assert carried.frames == 450
    ((name, path),) = books.log.names().items() - held.items()
    data = read_bytes(books.home.disk, path)
    for number in (1, 225, 450):
        assert data.count(frame_id(number).encode()) == 1
    entry = books.log.read(name, [(books.home.disk, path)])
    assert [change.layer for change in entry.changes] == ["selection", SHARED]
    for number in (1, 225, 450):
        found = made.effective(made.bench.one(f"{SEQUENCE}#{number}"), in_sequence=True)
        assert [step.name for step in found.base] == ["contrast", "exposure"]


@pytest.fixture
def later(tmp_path: Path) -> Recipes:
    """Six frames, the first with an operator that only a later release knows."""
    made = recipes(tmp_path, 6)
    value = version_value(Recipe(foundation=FOUNDATION, base=(STOPS, GLOW)), True, "")
    change = Change(subjects=(frame_id(1),), layer=OWN, line="main", value=value)
    made.bench.books.state(Draft(kind="recipe", changes=(change,)))
    return made


def base(made: Recipes, number: int) -> tuple[OperatorValues, ...]:
    return made.effective(made.bench.one(f"{SEQUENCE}#{number}"), in_sequence=True).base


def test_an_operator_of_a_later_release_is_kept_and_shown(later: Recipes) -> None:
    assert GLOW in base(later, 1)
    _, (line,) = later.history(f"{SEQUENCE}#1")
    assert "glow version 3, which needs a newer release" in line.words
    later.bench.books.rebuild()
    assert GLOW in base(later, 1)


def test_an_operator_of_a_later_release_survives_an_edit_of_others(later: Recipes) -> None:
    saved = later.set(f"{SEQUENCE}#1", ["exposure.stops=1"])
    assert saved.words == ("exposure +0.50 → +1.00 stops",)
    assert GLOW in base(later, 1)


def test_an_operator_of_a_later_release_is_carried_value_by_value(later: Recipes) -> None:
    later.carry(f"{SEQUENCE}#1", SEQUENCE)
    assert [step for number in (2, 3) for step in base(later, number)] == 2 * [STOPS, GLOW]


def test_an_operator_of_a_later_release_may_be_left_behind(later: Recipes) -> None:
    later.carry(f"{SEQUENCE}#1", SEQUENCE, only=["exposure"])
    assert base(later, 2) == (STOPS,)
