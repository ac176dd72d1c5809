"""What a large journal costs: listing, reading with proof, cataloguing, opening, appending.

Run it with ``python tests/benchmarks/journal_table.py [--entries 100000]``; it writes an invented journal
into a temporary folder. Beside reading stands a plain way, reading and hashing the same files; nothing is
asserted.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.builders import exposure, frame_id, own, rating, selection, shared

from archive.catalogue.books import Books
from archive.formats import entry as entry_format
from archive.formats.volume import VolumeMark
from archive.journal.log import Log
from archive.model.entry import Change, Draft, Entry
from archive.model.identity import EntryId
from archive.store.volumes import Volume, create_volume

FRAMES = 20_000
BEGUN = datetime(2006, 1, 1, tzinfo=UTC)


@contextmanager
def timed(what: str) -> Iterator[None]:
    start, worked = time.perf_counter(), time.process_time()
    yield
    print(
        f"{what:48s} {time.perf_counter() - start:8.2f} s",
        f"({time.process_time() - worked:.2f} s of a processor)",
        flush=True,
    )


def changes_of(source: random.Random, last: dict[int, EntryId]) -> tuple[str, tuple[Change, ...], list[int]]:
    """One invented decision: half ratings, a fifth keywords, recipes, and some carried to twenty frames."""
    frame, dice = source.randrange(FRAMES), source.random()
    if dice < 0.5:
        return "rating", (rating(frame, source.randint(-1, 5)),), []
    if dice < 0.7:
        word = source.choice(["ice", "river", "arc", "corona", "pillar"])
        return "keywords", (Change(subjects=(frame_id(frame),), layer="keyword", line=word, value=True),), []
    stops = exposure(round(source.uniform(-2, 2), 2))
    if dice < 0.98:
        builds_on = [last[frame]] if frame in last else []
        return "recipe", (own(frame, stops, builds_on=builds_on),), [frame]
    first = source.randrange(FRAMES - 20)
    return "recipe", shared(selection(*range(first, first + 20)), stops), []


def write_journal(root: Path, count: int) -> None:
    source = random.Random(1)
    previous: dict[str, EntryId | None] = {"w1": None, "w2": None}
    last: dict[int, EntryId] = {}
    for counter in range(1, count + 1):
        moment = BEGUN + timedelta(minutes=100 * counter)
        writer = source.choice(["w1", "w2"])
        kind, changes, frames = changes_of(source, last)
        made, data = entry_format.encode(
            kind=kind,
            counter=counter,
            time=moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
            writer=writer,
            previous=previous[writer],
            person="Ingrid",
            changes=changes,
        )
        previous[writer] = made.id
        last.update(dict.fromkeys(frames, made.id))
        folder = root / "journal" / f"{moment:%Y-%m}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / made.name).write_bytes(data)


def plainly(root: Path) -> None:
    for path in root.rglob("*.json"):
        hashlib.sha256(path.read_bytes()).hexdigest()


def measure(root: Path, count: int) -> None:
    mark = VolumeMark(archive="a" * 32, volume="b" * 32, name="BLUE", created="2026-03-19T05:58:31Z")
    volume: Volume = create_volume(root / "archive", mark)
    with timed(f"writing {count} entries without syncs"):
        write_journal(volume.root, count)
    with timed("the plain way: read and hash each file"):
        plainly(volume.root / "journal")
    log = Log([volume.disk], writer="w1", person="Ingrid")
    with timed("list"):
        log.names()
    with timed("list, read, verify"):
        count = sum(isinstance(item, Entry) for item in log.read_new(set()))
    print(count, "entries read")
    database = f"sqlite:///{root / 'catalogue.sqlite'}"
    books = Books([volume], log, database)
    with timed("catalogue made anew"):
        report = books.rebuild()
    # Folders changed within two seconds are listed again in any case.
    time.sleep(2.1)
    books.sync()
    with timed("catalogue brought up to date, nothing new"):
        books.sync()
    with timed("first append"):
        log.append(Draft(kind="rating", changes=(rating(1, 1),)))
    with timed("ten more appends, catalogued"):
        for value in range(10):
            books.state(Draft(kind="rating", changes=(rating(2, value % 5),)))
    stranger = Log([volume.disk], writer="w3", person="Ingrid")
    with timed("first append of another writer"):
        stranger.append(Draft(kind="rating", changes=(rating(3, 1),)))
    print(report.entries, "entries,", len(report.faults), "faults")
    books.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=100_000)
    chosen = parser.parse_args()
    root = Path(tempfile.mkdtemp(prefix="noctuary-journal-"))
    try:
        measure(root, chosen.entries)
    finally:
        shutil.rmtree(root, ignore_errors=True)


if __name__ == "__main__":
    main()
