"""A catalogue made anew beside the old one: it takes its place when it is whole, and not before."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.builders import camera, entry, ingest, rating, sequence_roll, site

from archive.catalogue.anew import begin_anew, finish_anew, give_up_anew
from archive.catalogue.database import open_database
from archive.catalogue.index import Catalogue


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'catalogue.sqlite'}"


def old(url: str) -> Catalogue:
    catalogue = Catalogue(open_database(url))
    catalogue.apply([entry(rating(1, 4))])
    for volume, state in (("away", "sha256:1"), ("here", "sha256:2")):
        held = [("a.DNG", "xxh128:" + "0" * 32, 7)]
        catalogue.hold(volume, [("2026-03-18/north-7c1f9a2e", state, held)])
    return catalogue


def test_what_is_made_takes_the_old_one_s_place_and_knows_volumes_that_are_away(url: str) -> None:
    before = old(url)
    made = begin_anew(url, before.engine, ["here"])
    assert made is not None
    made.apply([entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest")])
    assert before.stated("xxh128:1", "rating") is None
    before.close()
    finish_anew(url, made)
    after = Catalogue(open_database(url))
    assert after.counts()["frame"] == 6
    assert after.counts()["statement"] == 2
    assert [copy.volume for copy in after.copies("xxh128:" + "0" * 32)] == ["away"]
    assert after.chains("away") == {"2026-03-18/north-7c1f9a2e": "sha256:1"}


def test_what_was_given_up_leaves_the_old_one_alone(url: str, tmp_path: Path) -> None:
    before = old(url)
    dump = before.dump()
    made = begin_anew(url, before.engine, ["here"])
    assert made is not None
    give_up_anew(url, made)
    assert before.dump() == dump
    before.close()
    assert [path.name for path in tmp_path.iterdir()] == ["catalogue.sqlite"]


def test_what_a_killed_program_left_beside_is_of_no_account(url: str, tmp_path: Path) -> None:
    before = old(url)
    (tmp_path / "catalogue.sqlite.new").write_bytes(b"half of something")
    made = begin_anew(url, before.engine, [])
    assert made is not None
    assert made.counts()["holding"] == 2
    give_up_anew(url, made)


def test_a_catalogue_that_is_no_file_is_not_made_beside(url: str) -> None:
    before = old(url)
    assert begin_anew("postgresql+psycopg://somewhere/noctuary", before.engine, []) is None
    assert begin_anew("sqlite:///", before.engine, []) is None
