"""Real kills: an ingest is killed at random moments; what is left is judged, and what the next run does.

``python tests/faults/campaign.py --kills 1000`` for a campaign; CI runs fifty. Every program killed is a
process of its own, forked from this one with everything imported, so that a kill costs little more than the
work it interrupts. Moments are spread evenly, with a seeded jitter, in three thirds: over the time an
undisturbed run takes; over the time it copies, from when it has recorded what it will do; and over all it
writes. One in three reruns is killed too, and that one's rerun; half of the runs write two volumes, and every
fourth of those leaves one of them away in between.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.cards import BEGIN, contents, put, tiny_card, wav  # noqa: E402

from archive.store.digest import digest_at  # noqa: E402
from archive.store.durable import LocalDisk  # noqa: E402
from archive.store.volumes import MASTERS, held_files, roll_folders  # noqa: E402
from archive.workspace import new_archive, open_archive  # noqa: E402

SITE = ("River bend", 69.2, 20.1, 40.0, "Europe/Oslo")


class WrongError(Exception):
    """What a kill left, or what the next run made of it, is not what it must be."""


def demand(true: object, text: str) -> None:
    if not true:
        raise WrongError(text)


@dataclass
class Tally:
    """What was done: kills that met a running program, by the phase they met it in."""

    kills: int = 0
    missed: int = 0
    archives: int = 0
    phases: Counter[str] = field(default_factory=Counter)

    def add(self, other: Tally) -> None:
        self.kills += other.kills
        self.missed += other.missed
        self.archives += other.archives
        self.phases += other.phases


@dataclass(frozen=True, kw_only=True)
class Calm:
    """Seconds of an undisturbed ingest: all; copying, from its record on; all writing, from there too."""

    seconds: float
    copying: float
    writing: float


def forked(work: Callable[[], None]) -> int:
    """The process id of a child that does some work and ends: 0 when it was done, 1 with an error told."""
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        work()
        code = 0
    except BaseException as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr, flush=True)
    finally:
        os._exit(code)


def ended(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def ingest(card: Path, volumes: Sequence[Path], report: Path | None = None) -> None:
    """Take a card in; what it says is left in ``report``."""
    with open_archive(volumes[0], also=volumes[1:], person="Ingrid") as workspace:
        (told,) = workspace.ingest.take([card], site=workspace.statements.site_named(SITE[0]))
    if report is not None:
        summary = {"copied": told.copied, "held": len(told.held), "failed": len(told.failed)}
        report.write_text(json.dumps({**summary, "waiting": list(told.waiting)}))


NAMES = ("BLUE", "RED")


def use_cache(place: Path) -> None:
    """The catalogue of what lies in a place lies there too."""
    os.environ["XDG_CACHE_HOME"] = str(place / "cache")


def make_templates(place: Path) -> None:
    """Archives of one and of two volumes that know a site, with their catalogues, to be copied."""
    for count in (1, 2):
        here = place / f"template-{count}"
        here.mkdir()

        def make(here: Path = here, count: int = count) -> None:
            use_cache(here)
            new_archive(here / NAMES[0], NAMES[0])
            others = [here / name for name in NAMES[1:count]]
            with open_archive(here / NAMES[0], also=others, person="Ingrid") as workspace:
                workspace.statements.add_site(*SITE)

        demand(ended(forked(make)) == 0, "the archive could not be made")


def prepared(place: Path, count: int) -> list[Path]:
    """A new archive in a place, with so many volumes; its catalogue is used from now on."""
    shutil.copytree(place.parent / f"template-{count}", place)
    use_cache(place)
    return [place / name for name in NAMES[:count]]


def masters(volume: Path) -> dict[str, Path]:
    """Every published master by its path below its roll; a name twice is an error."""
    found: dict[str, Path] = {}
    for path in sorted((volume / MASTERS).rglob("*")):
        below = path.relative_to(volume / MASTERS).parts
        if path.is_file() and "ascmhl" not in below:
            name = "/".join(below[2:])
            demand(name not in found, f"{name} lies in {volume.name} twice")
            found[name] = path
    return found


def judge_remains(volume: Path, digests: dict[str, str]) -> str:
    """Nothing published may differ from the card, nor from the hash list; gives the phase reached."""
    disk = LocalDisk(volume)
    there = masters(volume)
    for name, path in there.items():
        demand(digests.get(name) == digest_at(path), f"{path} is not what the card has")
    listed: dict[str, str] = {}
    for folder in roll_folders(disk):
        for name, file in held_files(disk, folder).items():
            demand(name in there, f"{name} is listed and not there")
            listed[name] = f"xxh128:{file.xxh128}"
            demand(listed[name] == digests[name], f"{name} is listed with another digest")
    stated = any(volume.glob("journal/*/*-ingest-*.json"))
    demand(not stated or listed, "an entry speaks of a roll that no hash list holds")
    recorded = any(volume.glob("incoming/*.json"))
    if stated:
        return "entry" if recorded else "end"
    if listed:
        return "hash list"
    if there:
        return "all masters" if len(there) == len(digests) else "some masters"
    return "record" if recorded else "begin"


def judge_end(volumes: Sequence[Path], digests: dict[str, str], report: Path, stated: int) -> None:
    """The archive of an undisturbed run, on every volume."""
    told = json.loads(report.read_text())
    demand(told["failed"] == 0, f"the last run failed: {told}")
    demand(told["waiting"] == [], f"the last run left something: {told}")
    demand(told["copied"] + told["held"] == len(digests), f"the last run missed files: {told}")
    for volume in volumes:
        disk = LocalDisk(volume)
        there = masters(volume)
        demand(there.keys() == digests.keys(), f"{volume.name} does not hold every master")
        for name, path in there.items():
            demand(digest_at(path) == digests[name], f"{path} is not what the card has")
            demand(not path.stat().st_mode & 0o222, f"{path} can be written")
        rolls = list(roll_folders(disk))
        demand(len(rolls) == 1, f"{volume.name} holds {len(rolls)} rolls")
        demand(held_files(disk, rolls[0]).keys() == digests.keys(), f"the list on {volume.name} is not whole")
        entries = list(volume.glob("journal/*/*-ingest-*.json"))
        demand(1 <= len(entries) <= stated, f"{len(entries)} ingest entries on {volume.name}")
        left = [p.name for p in (volume / "incoming").iterdir() if p.suffix != ".lock"]
        demand(not left, f"left in incoming of {volume.name}: {left}")


def killed(card: Path, volumes: Sequence[Path], share: float, whole: Calm) -> bool:
    """Kill an ingest at a share of its time, counted in thirds; whether that met it at work."""
    child = forked(lambda: ingest(card, volumes))
    third, within = divmod(3 * share, 1)
    if third == 0:
        time.sleep(within * whole.seconds)
    else:
        while not os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) and not recorded(volumes):
            time.sleep(0.0005)
        time.sleep(within * (whole.copying if third == 1 else whole.writing))
    os.kill(child, signal.SIGKILL)
    code = ended(child)
    demand(code in (0, -signal.SIGKILL), f"the ingest ended with {code} by itself")
    return code != 0


def recorded(volumes: Sequence[Path]) -> bool:
    return any(volumes[0].glob("incoming/*.json"))


def one(
    place: Path, card: Path, digests: dict[str, str], share: float, whole: Calm, chance: random.Random
) -> Tally:
    """One archive: an ingest killed at a share of its time, perhaps its rerun too; then the last run."""
    tally = Tally(archives=1)
    two = chance.random() < 0.5
    volumes = prepared(place, 2 if two else 1)
    away = two and chance.random() < 0.25
    before = contents(card)
    again = True
    while again:
        met = killed(card, volumes, share, whole)
        phases = [judge_remains(volume, digests) for volume in volumes]
        tally.kills += met
        tally.missed += not met
        tally.phases[phases[0]] += met
        demand(contents(card) == before, "the card was changed")
        again = chance.random() < 1 / 3
        share = chance.random()
    report = place / "report.json"
    if away:
        alone = [volumes[chance.randrange(2)]]
        demand(ended(forked(lambda: ingest(card, alone))) == 0, "the run without a volume failed")
    demand(ended(forked(lambda: ingest(card, volumes, report))) == 0, "the last run failed")
    judge_end(volumes, digests, report, stated=2 if away else 1)
    demand(contents(card) == before, "the card was changed")
    return tally


def made_card(folder: Path) -> Path:
    """A card of a few small files, and a few that take several blocks."""
    card = tiny_card(folder, 7)
    for number in range(1, 8, 2):
        put(card, f"DCIM/100NOCTU/NOCT{number:04d}.WAV", wav(300 + number), modified=BEGIN)
    put(card, "MISC/INDEX.CTG", b"index")
    return card


def undisturbed(place: Path, card: Path) -> Calm:
    """How long an ingest takes when nothing happens to it: the middle one of three."""
    taken = []
    for number in range(3):
        volumes = prepared(place / f"calm-{number}", 2)
        start = time.monotonic()
        child = forked(lambda volumes=volumes: ingest(card, volumes))  # type: ignore[misc]
        while not recorded(volumes):
            time.sleep(0.0005)
        begun = time.monotonic()
        while not any(volumes[0].glob(f"{MASTERS}/*/*/ascmhl/*.mhl")):
            time.sleep(0.0005)
        listing = time.monotonic()
        demand(ended(child) == 0, "a calm run failed")
        end = time.monotonic()
        taken.append(Calm(seconds=end - start, copying=listing - begun, writing=end - begun))
    return sorted(taken, key=lambda calm: calm.seconds)[1]


def campaign(kills: int, seed: int, folder: Path | None, seconds: float | None = None) -> tuple[Tally, float]:
    """Kill until ``kills`` met a running program, or the time is over."""
    chance = random.Random(seed)
    tally = Tally()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory(dir=folder) as name:
        place = Path(name)
        make_templates(place)
        card = made_card(place / "card")
        digests = {path.removeprefix("DCIM/"): digest_at(card / path) for path in contents(card)}
        whole = undisturbed(place, card)
        number = 0
        while tally.kills < kills and (seconds is None or time.monotonic() - begun < seconds):
            # A low-discrepancy walk: any number of kills covers the run evenly.
            share = (number * 0.618_033_988_7 + chance.random() / kills) % 1.0
            here = place / f"archive-{number}"
            tally.add(one(here, card, digests, share, whole, chance))
            shutil.rmtree(here)
            number += 1
    return tally, time.monotonic() - begun


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=None, help="end after this time at the latest")
    parser.add_argument("--folder", type=Path, default=None)
    chosen = parser.parse_args()
    tally, seconds = campaign(chosen.kills, chosen.seed, chosen.folder, chosen.seconds)
    print(
        f"{tally.kills} kills in {tally.archives} archives, {tally.missed} came after the end; "
        f"{seconds:.0f} s, seed {chosen.seed}: nothing lost, nothing doubled, every last run completed."
    )
    print("met in phase: " + ", ".join(f"{phase} {count}" for phase, count in sorted(tally.phases.items())))


if __name__ == "__main__":
    main()
