"""A catalogue made anew beside the old one: it takes its place when it is whole, and not before."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.builders import camera, entry, ingest, rating, sequence_roll, site

from archive.catalogue.anew import alone, begin_anew, finish_anew, give_up_anew, is_file, sweep
from archive.catalogue.database import open_database
from archive.catalogue.index import Catalogue
from archive.errors import ArchiveError


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
    give_up_anew(url, made)
    assert before.dump() == dump
    before.close()
    assert [path.name for path in tmp_path.iterdir()] == ["catalogue.sqlite"]


def test_what_a_killed_program_left_beside_is_of_no_account(url: str, tmp_path: Path) -> None:
    before = old(url)
    (tmp_path / "catalogue.sqlite.new").write_bytes(b"half of something")
    made = begin_anew(url, before.engine, [])
    assert made.counts()["holding"] == 2
    give_up_anew(url, made)


def test_a_catalogue_that_is_no_file_is_not_made_beside(tmp_path: Path) -> None:
    for served in ("postgresql+psycopg://somewhere/noctuary", "sqlite:///", "sqlite://"):
        assert not is_file(served)
        sweep(served)
        with alone(served, pytest.fail):
            pass
    assert list(tmp_path.iterdir()) == []


HOLD = """
    import sys
    from archive.catalogue.anew import alone
    with alone(sys.argv[1], print):
        print("held", flush=True)
        sys.stdin.readline()
"""


@contextmanager
def at_work(url: str) -> Iterator[subprocess.Popen[str]]:
    """Another program that makes this catalogue anew until it is told to end, or is killed."""
    other = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(HOLD), url],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    try:
        yield other
    finally:
        other.kill()
        other.communicate()


def test_what_another_program_is_making_is_left_to_it_until_it_is_killed(url: str, tmp_path: Path) -> None:
    """A program that was killed left up to 1.6 GB beside the catalogue for good."""
    half = tmp_path / "catalogue.sqlite.new"
    half.write_bytes(b"half of something")
    with at_work(url) as other:
        sweep(url)
        assert half.exists()
        other.kill()
        other.wait()
        sweep(url)
        assert not half.exists()


def test_two_programs_do_not_make_one_catalogue_at_once(url: str) -> None:
    """Both wrote to one file beside it: "database is locked", or half a catalogue put in place."""
    with at_work(url) as other:
        told: list[str] = []

        def let_go(text: str) -> None:
            told.append(text)
            assert other.poll() is None
            other.communicate("\n")

        with alone(url, let_go):
            assert other.poll() == 0
        assert f"Making the catalogue anew is running (process {other.pid} on " in told[0]


def test_a_cache_that_takes_no_lock_is_told_in_words(url: str, tmp_path: Path) -> None:
    (tmp_path / "anew.lock").mkdir()
    with (
        pytest.raises(ArchiveError, match=f"{tmp_path.name} cannot be written") as caught,
        alone(url, pytest.fail),
    ):
        pass
    assert "XDG_CACHE_HOME" in caught.value.hint
