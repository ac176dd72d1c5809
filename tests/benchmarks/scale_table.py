"""What years of frames cost: rebuilding the catalogue, opening, listing, asking, at growing sizes.

Run it with ``python tests/benchmarks/scale_table.py [--frames 10000 100000 1000000]``. It writes an invented
archive (journal, hash lists, survey records; no masters, which nothing of this reads) into a folder,
and prints seconds for each size and how they grew from the size before; nothing is asserted. A million frames
take some 5 GB of disk; ``--no-survey`` leaves the records out.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from sqlalchemy import event
from support.builders import camera, exposure, rating, roll, shared, site
from support.surveys import PREVIEW, SLICES, kept, measures

from archive.catalogue.books import Books
from archive.catalogue.finding import matching
from archive.catalogue.lineage import bare_standings
from archive.catalogue.query import parse
from archive.catalogue.resolve import find_one
from archive.formats import entry as entry_format
from archive.formats import survey as survey_format
from archive.formats.hashchain import CHAIN_NAME, ChainEntry, c4, chain_bytes
from archive.formats.hashlist import HashedFile, manifest_bytes, manifest_name
from archive.formats.survey import MOST_FRAMES
from archive.formats.volume import VolumeMark
from archive.journal.log import Log
from archive.model.capture import CaptureFacts, Role, RollFile, Selection
from archive.model.entry import Change, EntryId
from archive.model.identity import FrameId
from archive.model.roll import VolumeProof, roll_value
from archive.model.survey import METHOD, SurveyDocument, SurveyedFrame
from archive.store.surveys import survey_folder
from archive.store.volumes import Volume, create_volume

PER_ROLL = 250
CAMERAS = {"north": "camera:3f2a9c1d7be04865", "river": "camera:00aa11bb22cc33dd"}
FIRST_NIGHT = date(2006, 9, 1)
QUERIES = (
    "",
    "night:2008-01",
    "rating>=4",
    "camera:river iso:1600 exposure>=10s",
    "moon<0 sun<-18 rating:5",
    'keyword:"river ice" or keyword:corona',
    "sequence:1 camera:river",
    "not developed:yes",
    "iso:12345",
    "name:NOCT0137*",
)


class Writer:
    """Writes entries one after the other, as one machine would."""

    def __init__(self, volume: Volume) -> None:
        self._folder = volume.root / "journal"
        self._counter = 0
        self._previous: EntryId | None = None

    def write(self, kind: str, moment: datetime, *changes: Change) -> None:
        self._counter += 1
        made, data = entry_format.encode(
            kind=kind,
            counter=self._counter,
            time=f"{moment:%Y-%m-%dT%H:%M:%SZ}",
            writer="b7d1c0ffee0123456789abcdef012345",
            previous=self._previous,
            person="Ingrid",
            changes=changes,
        )
        self._previous = made.id
        month = self._folder / f"{moment:%Y-%m}"
        month.mkdir(parents=True, exist_ok=True)
        (month / made.name).write_bytes(data)


def invent(root: Path, frames: int, *, surveyed: bool = True) -> Volume:
    """An archive of so many frames: nights of two cameras, numbered, some rated, half of them developed."""
    mark = VolumeMark(archive="1" * 32, volume="2" * 32, name="BLUE", created="2006-09-01T00:00:00Z")
    volume = create_volume(root, mark)
    dice, writer = random.Random(6), Writer(volume)
    night = FIRST_NIGHT
    writer.write(
        "site", datetime(2006, 9, 1, tzinfo=UTC), site(), *(camera(n, c) for n, c in CAMERAS.items())
    )
    for number in range(frames // PER_ROLL):
        name = "north" if number % 2 == 0 else "river"
        if number % 2 == 0:
            night += timedelta(days=3)
        begun = datetime(night.year, night.month, night.day, 19, tzinfo=UTC)
        files = shots(dice, number, begun)
        token = f"{number:08x}"
        morning = begun + timedelta(hours=12)
        held = roll(files, token=token, camera_id=CAMERAS[name])
        folder = f"{night.isoformat()}/{name}-{token}"
        value = roll_value(
            held,
            started=morning.isoformat(),
            ended=morning.isoformat(),
            volumes=(VolumeProof(volume=mark.volume, grade="direct"),),
        ) | {"folder": folder, "night": night.isoformat()}
        writer.write("ingest", morning, Change(subjects=(f"roll:{token}",), layer="ingest", value=value))
        writer.write("sequence", morning, first_number(files[0].digest, night, CAMERAS[name]))
        ids = [file.digest for file in files]
        writer.write("rating", morning, *(rated(f, dice.randint(-1, 5)) for f in dice.sample(ids, 6)))
        if number % 2:
            chosen = Selection(frames=tuple(ids), milliseconds=tuple(range(0, 10_000 * len(ids), 10_000)))
            writer.write("recipe", morning, *shared(chosen, exposure(0.5)))
        else:
            word = dice.choice(["river ice", "corona", "arc", "pillar"])
            writer.write(
                "keywords", morning, Change(subjects=tuple(ids[:50]), layer="keyword", line=word, value=True)
            )
        list_hashes(root / "masters" / folder, files, morning)
        if surveyed:
            survey(root / survey_folder(folder), token, files)
    return volume


SEEN = measures()


def survey(folder: Path, token: str, files: list[RollFile]) -> None:
    """Records of a roll's frames, which share one preview and one strip of slices to spare the disk."""
    slices, preview = kept("slices", "png", SLICES), kept("previews", "jpg", PREVIEW)
    for each, data in ((slices, SLICES), (preview, PREVIEW)):
        (folder / each.path).parent.mkdir(parents=True, exist_ok=True)
        (folder / each.path).write_bytes(data)
    for start in range(0, len(files), MOST_FRAMES):
        frames = tuple(
            SurveyedFrame(
                frame=file.digest,
                path=file.path,
                preview=preview,
                preview_from="rendered",
                slices=slices,
                slice_at=at,
                measures=SEEN,
            )
            for at, file in enumerate(files[start : start + MOST_FRAMES])
        )
        document = SurveyDocument(method=METHOD, roll=token, size=(32, 20), slices=slices, frames=frames)
        name, data = survey_format.encode(document)
        (folder / name).write_bytes(data)


def shots(dice: random.Random, number: int, begun: datetime) -> list[RollFile]:
    iso = dice.choice([800, 1600, 3200, 6400])
    files = []
    for index in range(PER_ROLL):
        moment = begun + timedelta(seconds=10 * index)
        files.append(
            RollFile(
                path=f"100NOCTU/NOCT{(number * PER_ROLL + index) % 10_000:04d}.DNG",
                size=25_000_000 + index,
                digest=FrameId(f"xxh128:{dice.getrandbits(128):032x}"),
                role=Role.RAW,
                modified=moment.isoformat(timespec="milliseconds"),
                facts=CaptureFacts(
                    taken=moment.replace(tzinfo=None).isoformat(),
                    taken_from="original",
                    offset="+00:00",
                    exposure_s=8,
                    f_number=2.8,
                    iso=iso,
                    focal_mm=20,
                    make="Invented",
                    model="One",
                    serial="000417",
                    width=6000,
                    height=4000,
                ),
            )
        )
    return files


def first_number(frame: str, night: date, camera_id: str) -> Change:
    value = {"night": night.isoformat(), "camera": camera_id, "number": 1}
    return Change(subjects=(frame,), layer="sequence-number", value=value)


def rated(frame: str, value: int) -> Change:
    return rating(1, value).__class__(subjects=(frame,), layer="rating", value=value)


def list_hashes(folder: Path, files: list[RollFile], moment: datetime) -> None:
    hashed = [
        HashedFile(
            path=file.path,
            size=file.size,
            modified=datetime.fromisoformat(file.modified),
            xxh128=file.digest.partition(":")[2],
            hashed=moment,
        )
        for file in files
    ]
    data = manifest_bytes(
        hashed,
        created=moment,
        hostname="dome",
        tool_version="0.1.0",
        process="transfer",
        author=None,
        comment=None,
    )
    history = folder / "ascmhl"
    history.mkdir(parents=True)
    name = manifest_name(1, folder.name, moment)
    (history / name).write_bytes(data)
    entry = ChainEntry(generation=1, path=name, c4=c4(data))
    (history / CHAIN_NAME).write_bytes(chain_bytes([entry]))


def opened(volume: Volume, database: Path) -> Books:
    log = Log([volume.disk], guards=[volume.disk], writer="0" * 32, person="Ingrid")
    return Books([volume], log, f"sqlite:///{database}")


def seconds(work: Callable[[], object], times: int = 1) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def page(books: Books, query: str) -> None:
    """What a person waits for who asks: the frames, and all that is told of each."""
    frames = matching(books.catalogue, parse(query), 50).frames
    ids = [frame.id for frame in frames]
    for layer in ("rating", "keyword"):
        books.catalogue.stated_about(ids, layer)
    bare_standings(books.catalogue, ids)
    books.catalogue.cameras()
    books.catalogue.sites_of_rolls(frame.roll for frame in frames)


def measure(root: Path, frames: int, *, surveyed: bool) -> Iterator[tuple[str, float]]:
    volume = invent(root / "archive", frames, surveyed=surveyed)
    books = opened(volume, root / "catalogue.sqlite")
    began = sum(os.times()[:4])
    yield "rebuild", seconds(lambda: books.rebuild())
    # With that of the processes which a rebuild begins.
    yield "rebuild, of the processors", sum(os.times()[:4]) - began
    assert books.catalogue.counts()["frame"] == frames // PER_ROLL * PER_ROLL
    books.close()
    again = opened(volume, root / "catalogue.sqlite")
    yield "open, nothing new", seconds(again.sync, 3)
    yield "nights", seconds(again.catalogue.nights, 3)
    yield "sequences", seconds(again.catalogue.sequences, 3)
    line = again.catalogue.sequences()[-1]
    yield "sequences of a night", seconds(lambda: again.catalogue.sequences(line.night), 5)
    yield "frames of a sequence", seconds(lambda: again.catalogue.frames(sequence=line.key), 5)
    one = again.catalogue.frames(sequence=line.key)[0]
    yield "a frame by its id", seconds(lambda: find_one(again.catalogue, one.id[7:17]), 5)
    yield "frames by name", seconds(lambda: again.catalogue.frames(name=one.name), 5)
    statements = []
    event.listen(again.catalogue.engine, "before_cursor_execute", lambda *_: statements.append(1))
    for query in QUERIES:
        tree = parse(query)
        yield f"find {query!r}", seconds(lambda tree=tree: matching(again.catalogue, tree, 50), 5)
    yield "statements per query", len(statements) / (5 * len(QUERIES))
    for query in QUERIES[:3]:
        yield f"page of {query!r}", seconds(lambda query=query: page(again, query), 5)
    again.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--no-survey", action="store_true", help="write no survey records")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    before: dict[str, float] = {}
    for frames in chosen.frames:
        if chosen.child:
            child(frames, surveyed=not chosen.no_survey)
            continue
        # A process for each size, so that each tells its own peak of memory.
        command = [sys.executable, __file__, "--child", "--frames", str(frames)]
        command += ["--no-survey"] if chosen.no_survey else []
        print(f"{frames} frames", flush=True)
        told: dict[str, float] = {}
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
            assert running.stdout is not None
            for line in running.stdout:
                what, value = json.loads(line)
                told[what] = value
                growth = f"× {value / before[what]:6.2f}" if before.get(what) else ""
                print(f"  {what:48s} {value:9.3f} {growth}", flush=True)
        before = told


def child(frames: int, *, surveyed: bool) -> None:
    """One size, told as lines of JSON."""
    root = Path(tempfile.mkdtemp(prefix="noctuary-scale-"))
    try:
        for told in measure(root, frames, surveyed=surveyed):
            print(json.dumps(told), flush=True)
        peak, more = (
            resource.getrusage(who).ru_maxrss / 1024
            for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        size = (root / "catalogue.sqlite").stat().st_size / 1e6
        disk = sum(path.stat().st_blocks for path in root.rglob("*")) * 512 / 1e6
        for told in (
            ("peak memory, MB", peak),
            ("peak memory of a further process, MB", more),
            ("catalogue, MB", size),
            ("archive on disk, MB", disk),
        ):
            print(json.dumps(told), flush=True)
    finally:
        shutil.rmtree(root)


if __name__ == "__main__":
    main()
