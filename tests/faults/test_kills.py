"""Programs that are killed at any moment, and the archive that the next run completes."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from support.cards import SITE, archive_in, contents, demo_cards, spoil
from support.commands import run, started

from archive.store.digest import digest_bytes
from archive.workspace import open_archive

pytestmark = pytest.mark.slow
KILLS = 6


def prepared(folder: Path) -> Path:
    """A new archive with a site."""
    archive_in(folder).close()
    return folder


def findings(archive: Path) -> list[str]:
    """The paths that an audit finds fault with."""
    with open_archive(archive) as workspace:
        return [finding.path for finding in workspace.custody.audit(lambda *_: None).findings]


def at_work(words: Sequence[str | Path], folder: Path) -> subprocess.Popen[str]:
    """A command begun, and seen to hold its lock; or at its end already."""
    lock = folder / "incoming" / f"{words[0]}.lock"
    process = started(words, folder)
    while process.poll() is None and not (lock.exists() and lock.stat().st_size):
        time.sleep(0.002)
    return process


def stopped(
    words: Sequence[str | Path], folder: Path, delay: float, number: signal.Signals
) -> tuple[int, str]:
    """How a command ended that got a signal so many seconds after it had its lock, with all it started."""
    process = at_work(words, folder)
    try:
        process.wait(delay)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, number)
    _, err = process.communicate(timeout=60)
    return process.returncode, err


def killed(words: Sequence[str | Path], folder: Path, delay: float) -> bool:
    return stopped(words, folder, delay, signal.SIGKILL)[0] == -signal.SIGKILL


def timed(words: Sequence[str | Path], folder: Path) -> float:
    """Seconds that a command works under its lock."""
    process = at_work(words, folder)
    begun = time.monotonic()
    _, err = process.communicate()
    assert process.returncode == 0, err
    return time.monotonic() - begun


def masters(archive: Path) -> set[tuple[str, str]]:
    """Every master as (night, camera and path, digest), without the random ids of rolls."""
    found = set()
    for path, (data, _) in contents(archive / "masters").items():
        night, roll, below = path.split("/", 2)
        if not below.startswith("ascmhl/"):
            found.add((f"{night}/{roll.rpartition('-')[0]}/{below}", str(digest_bytes(data))))
    return found


def entries(archive: Path, kind: str) -> int:
    return len(list((archive / "journal").rglob(f"*-{kind}-*.json")))


def unfinished(archive: Path) -> list[str]:
    return [path.name for path in (archive / "incoming").iterdir() if path.suffix != ".lock"]


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_cards(tmp_path_factory.mktemp("cards")).cards[0].folder


@pytest.fixture(scope="module")
def undisturbed(card: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, float]]:
    """An archive that took the card in without being disturbed, and the seconds that took."""
    archive = prepared(tmp_path_factory.mktemp("whole") / "archive")
    seconds = timed(ingest(card), archive)
    # Compiles what pictures need, so that later exports take the time that exports take.
    (line,) = run("sequences", "--json", folder=archive).json
    run("export", f"{line['address']}#1", "--spec", "still-web", folder=archive)  # fmt: skip
    yield archive, seconds


def ingest(card: Path) -> list[str | Path]:
    return ["ingest", card, "--site", SITE[0], "--json"]


def delays(seed: int, seconds: float) -> list[float]:
    """Seeded moments spread over a run: one in each tenth of its work."""
    chance = random.Random(seed)
    return [seconds * (tenth + chance.random()) / KILLS for tenth in range(KILLS)]


def test_an_ingest_killed_at_any_moment_ends_as_if_it_had_not_been(
    card: Path, undisturbed: tuple[Path, float], tmp_path: Path
) -> None:
    whole, seconds = undisturbed
    before = contents(card)
    hit = 0
    for delay in delays(1, seconds):
        archive = prepared(tmp_path / f"archive-{delay:.3f}")
        hit += killed(ingest(card), archive, delay)
        (report,) = run(*ingest(card), folder=archive).json
        assert report["failed"] == []
        assert report["copied"] + len(report["held"]) == len(masters(whole))
        assert masters(archive) == masters(whole)
        assert entries(archive, "ingest") == entries(whole, "ingest") == 1
        assert entries(archive, "sequence") == entries(whole, "sequence")
        assert unfinished(archive) == []
        assert findings(archive) == []
        assert contents(card) == before
    assert hit >= 3


def test_fifty_kills_of_ingests_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    """The campaign in small; a thousand are ``python tests/faults/campaign.py --kills 1000``."""
    memory = Path("/dev/shm")
    # A killed program takes no page of memory with it: what is proven here is the order of the calls.
    place = memory if os.access(memory, os.W_OK) else tmp_path
    script = Path(__file__).with_name("campaign.py")
    ran = subprocess.run(
        [sys.executable, str(script), "--kills", "50", "--folder", str(place)],
        capture_output=True,
        text=True,
        timeout=280,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    # The last archive of a round is finished, with the kills that still meet it.
    assert int(ran.stdout.split(" kills in ")[0]) >= 50, ran.stdout


@pytest.mark.parametrize("spec", ["set-hd", "movie-hd"])
def test_an_export_killed_again_and_again_ends_as_if_it_had_not_been(
    card: Path, undisturbed: tuple[Path, float], tmp_path: Path, spec: str
) -> None:
    whole, _ = undisturbed
    (line,) = run("sequences", "--json", folder=whole).json
    command = ["export", line["address"], "--spec", spec, "--json"]
    seconds = timed(command, whole)
    expected = run(*command, folder=whole).json
    archive = prepared(tmp_path / "archive")
    run(*ingest(card), folder=archive)
    hit = sum(killed(command, archive, delay) for delay in delays(2, seconds / 3))
    report = run(*command, folder=archive).json
    assert hit >= 3
    assert [file["path"] for file in report["files"]] == [file["path"] for file in expected["files"]]
    assert {file["state"] for file in report["files"]} <= {"made", "fresh"}
    assert entries(archive, "job-started") == entries(archive, "job-ended") == 1
    assert unfinished(archive) == []
    assert run("stale", "--json", folder=archive).json == []
    assert findings(archive) == []
    made = contents(archive / "exports")
    assert made.keys() == {p for p in contents(whole / "exports") if spec in p}
    for path in made:
        assert np.array_equal(pixels(archive / "exports" / path), pixels(whole / "exports" / path))
    assert recorded(archive, spec) == sorted(made)


def recorded(archive: Path, spec: str) -> list[str]:
    """The paths on record for a spec; a file that was recorded twice is there twice."""
    with open_archive(archive) as workspace:
        return sorted(path.removeprefix("exports/") for path in workspace.made_by(spec))


def pixels(path: Path) -> Any:
    if path.suffix != ".mp4":
        return np.asarray(Image.open(path))
    import av

    with av.open(str(path)) as movie:
        return np.stack([frame.to_ndarray(format="rgb24") for frame in movie.decode(video=0)])


def test_ctrl_c_says_what_is_safe_and_the_next_run_completes(
    card: Path, undisturbed: tuple[Path, float], tmp_path: Path
) -> None:
    whole, seconds = undisturbed
    hit = 0
    for number, share in enumerate((0.1, 0.3, 0.6)):
        archive = prepared(tmp_path / f"archive-{number}")
        code, err = stopped(ingest(card), archive, share * seconds, signal.SIGINT)
        assert "Traceback" not in err
        # Before the command has begun, the interpreter itself ends, without a word. Code 0 is a run that
        # was over when the signal came, and had nothing left to interrupt.
        assert code == 130 or (code == 0 and not unfinished(archive)) or (code == -signal.SIGINT and not err)
        if code == 130:
            hit += 1
            assert "Interrupted" in err
            assert "is safe" in err or "Nothing on the card was changed" in err
            assert "Run the same command again" in err
        run(*ingest(card), folder=archive)
        assert masters(archive) == masters(whole)
        assert unfinished(archive) == []
    assert hit


def test_ctrl_c_during_an_export_is_quiet_and_the_next_run_completes(
    card: Path, undisturbed: tuple[Path, float], tmp_path: Path
) -> None:
    archive = prepared(tmp_path / "archive")
    run(*ingest(card), folder=archive)
    (line,) = run("sequences", "--json", folder=archive).json
    command = ["export", line["address"], "--spec", "movie-hd", "--json"]
    seconds = timed(command, archive)
    (movie,) = (archive / "exports").rglob("*.mp4")
    movie.unlink()
    hit = 0
    for share in (0.1, 0.3, 0.6):
        code, err = stopped(command, archive, share * seconds, signal.SIGINT)
        assert "Traceback" not in err
        # As above: code 0 only of a run that was over already.
        assert code == 130 or (code == 0 and movie.exists()) or (code == -signal.SIGINT and not err)
        hit += code == 130
    assert hit
    assert run(*command, folder=archive).json["files"][0]["state"] in ("made", "fresh")
    assert movie.exists()
    assert unfinished(archive) == []


def test_an_audit_after_a_kill_still_notices_what_is_damaged(
    card: Path, undisturbed: tuple[Path, float], tmp_path: Path
) -> None:
    _, seconds = undisturbed
    archive = prepared(tmp_path / "archive")
    killed(ingest(card), archive, 0.5 * seconds)
    run(*ingest(card), folder=archive)
    victim = next((archive / "masters").rglob("*.DNG"))
    spoil(victim)
    assert findings(archive) == [str(victim.relative_to(archive))]
