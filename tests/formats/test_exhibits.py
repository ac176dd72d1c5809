"""Kept journals, each named for its fault or future: what is said of it, what counts, that it is left.

The files lie as they would in ``journal/2026-03``. They are never written anew: what a release of today reads
them as, every later one must.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.builders import FakeClock, frame_id, rating
from support.cards import contents

from archive.catalogue.books import Books
from archive.catalogue.lineage import standings
from archive.catalogue.noticing import NOTICED
from archive.errors import ArchiveError
from archive.formats.volume import VolumeMark
from archive.journal.log import Log
from archive.model.entry import Draft
from archive.store.volumes import create_volume

HERE = Path(__file__).parent
EXHIBITS = sorted(path.name for path in HERE.iterdir() if path.is_dir() and path.name.startswith("entry-"))


@dataclass(frozen=True, kw_only=True)
class Says:
    """What an exhibit gives: ratings of frames 1 to 3, and words of the faults and of what is noticed."""

    ratings: tuple[int | None, int | None, int | None]
    faults: tuple[str, ...] = ()
    noticed: tuple[str, ...] = ()


WANTED = {
    "entry-truncated": Says(ratings=(3, None, 5), faults=("is cut short",)),
    "entry-empty": Says(ratings=(3, None, 5), faults=("is empty",)),
    "entry-damaged": Says(ratings=(3, None, 5), faults=("is damaged",)),
    "entry-renamed": Says(ratings=(3, None, 5), faults=("was renamed",)),
    "entry-removed": Says(ratings=(3, None, 5), faults=("is not here",)),
    "entry-forged-counter": Says(ratings=(3, 4, None), faults=("far above all others",)),
    "entry-cloned-writer": Says(ratings=(3, 4, 2), noticed=("wrote as one writer",)),
    "entry-clock-set-back": Says(ratings=(2, None, None), noticed=("24.0 h earlier",)),
    "entry-newer-kind": Says(ratings=(3, None, None), faults=("its kind, dream, is not known",)),
    "entry-newer-essential": Says(ratings=(3, None, None), faults=("cannot be changed here",)),
    "entry-newer-format": Says(ratings=(3, None, None), faults=("a format that is not known",)),
    "entry-newer-field": Says(ratings=(3, 4, None)),
    "entry-not-canonical": Says(ratings=(3, None, None), faults=("not in canonical form",)),
    "entry-doubled-field": Says(ratings=(3, None, None), faults=("not in canonical form",)),
    "entry-endless-text": Says(ratings=(3, None, None), faults=("person: ",)),
    "entry-impossible-value": Says(ratings=(3, None, None), faults=("9 is no rating",)),
    "entry-unlisted-selection": Says(ratings=(3, None, None), faults=("does not list",)),
    "entry-contested": Says(ratings=(3, None, None)),
}


@pytest.fixture
def held(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Books]:
    """The exhibit named by the parameter, in an archive of its own, as it lies on a volume: read-only."""
    mark = VolumeMark(archive="a" * 32, volume="b" * 32, name="BLUE", created="2026-03-19T05:58:31Z")
    volume = create_volume(tmp_path / "archive", mark)
    folder = shutil.copytree(HERE / request.param, volume.root / "journal/2026-03")
    for path in folder.iterdir():
        path.chmod(0o444)
    log = Log([volume.disk], writer="w1", person="Ingrid", now=FakeClock(), say=lambda _text: None)
    books = Books([volume], log, f"sqlite:///{tmp_path / 'catalogue.sqlite'}")
    books.sync()
    yield books
    books.close()


def test_every_exhibit_is_looked_at() -> None:
    assert set(EXHIBITS) == WANTED.keys()


@pytest.mark.parametrize("held", EXHIBITS, indirect=True)
def test_an_exhibit_is_told_and_set_aside_and_takes_nothing_else_down(
    held: Books, request: pytest.FixtureRequest
) -> None:
    wanted = WANTED[request.node.callspec.params["held"]]
    told = held.catalogue.faults()
    faults = [fault.message for fault in told if fault.place != NOTICED]
    noticed = [fault.message for fault in told if fault.place == NOTICED]
    assert len(faults) == len(wanted.faults)
    assert all(words in message for words, message in zip(wanted.faults, faults, strict=True)), faults
    assert len(noticed) == len(wanted.noticed)
    assert all(words in message for words, message in zip(wanted.noticed, noticed, strict=True)), noticed
    assert tuple(held.catalogue.stated(frame_id(n), "rating") for n in (1, 2, 3)) == wanted.ratings


@pytest.mark.parametrize("held", EXHIBITS, indirect=True)
def test_an_exhibit_stays_as_it_is_and_writing_and_rebuilding_go_on(held: Books) -> None:
    journal = held.home.root / "journal"
    before = contents(journal)
    once = held.catalogue.dump()
    held.sync()
    assert held.catalogue.dump() == once
    counters = [int(name[:10]) for name in held.log.names()]
    made = held.state(Draft(kind="rating", changes=(rating(8, 1),)))
    assert made.counter == 1 + max(counter for counter in counters if counter < 1_000_000)
    held.rebuild()
    assert held.catalogue.stated(frame_id(8), "rating") == 1
    after = contents(journal)
    assert {path: after[path] for path in before} == before
    assert len(after) == len(before) + 1


@pytest.mark.parametrize("held", ["entry-newer-essential", "entry-newer-format"], indirect=True)
def test_what_an_essential_entry_of_a_later_release_speaks_about_is_not_changed_here(held: Books) -> None:
    with pytest.raises(ArchiveError, match="cannot be changed here"):
        held.state(Draft(kind="rating", changes=(rating(2, 5),)))
    held.state(Draft(kind="rating", changes=(rating(1, 5),)))
    assert held.catalogue.stated(frame_id(1), "rating") == 5


@pytest.mark.parametrize("held", ["entry-contested"], indirect=True)
def test_two_current_versions_are_both_given_and_one_that_builds_on_both_joins_them(held: Books) -> None:
    own = standings(held.catalogue, [frame_id(1)])[frame_id(1)].own
    assert [version.recipe.base[0].values["stops"] for version in own] in ([1, -1], [-1, 1])
    assert [(version.counter, version.entry) for version in own] == sorted(
        ((version.counter, version.entry) for version in own), reverse=True
    )


def test_the_exhibits_are_small() -> None:
    sizes = [path.stat().st_size for name in EXHIBITS for path in (HERE / name).iterdir()]
    assert max(sizes) < 4096
    assert all(os.access(HERE / name, os.R_OK) for name in EXHIBITS)
