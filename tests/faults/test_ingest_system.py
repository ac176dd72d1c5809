"""Ingests against the real system: a full file system, two programs at once, locks and dead holders."""

from __future__ import annotations

import fcntl
import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.cards import SITE, archive_in, contents, put, site_of, tiny_card, wav
from support.commands import COMMAND, run, surroundings
from support.pausing import Held

from archive.errors import ArchiveError, Exit
from archive.store.durable import LocalDisk
from archive.store.volumes import held_files, roll_folders
from archive.workspace import Workspace, open_archive

pytestmark = pytest.mark.slow


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A file system of 2 MiB, really mounted."""
    point = tmp_path / "small"
    point.mkdir()
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("mounting a small file system needs root")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(point)], capture_output=True, text=True
    )
    if made.returncode != 0:
        pytest.skip(f"this system lets no file system be mounted: {made.stderr.strip()}")
    yield point
    subprocess.run(["umount", "-l", str(point)], check=True)


def audited(workspace: Workspace) -> None:
    assert workspace.custody.audit(lambda *_: None).findings == ()


def test_a_file_system_that_really_fills_up_is_left_out_and_completed_when_it_has_room(
    tmp_path: Path, small: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 6)
    put(card, "DCIM/100NOCTU/NOCT0004.WAV", wav(400))
    before = contents(card)
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a", also=[small / "b"]) as workspace:
        # The room is measured before the first byte; here another program takes it meanwhile.
        with monkeypatch.context() as patch:
            patch.setattr(LocalDisk, "free", lambda self: 1 << 40)
            (report,) = workspace.ingest.take([card], site=site_of(workspace))
        assert report.failed == ()
        assert report.exit_code is Exit.ATTENTION
        assert "b was left out: b cannot be written: No space left on device." in report.waiting[0]
        assert report.copied == 7
    assert contents(card) == before
    disk = LocalDisk(small / "b")
    for name in disk.files("incoming"):
        assert not name.endswith(".part")
    subprocess.run(["mount", "-o", "remount,size=64m", str(small)], check=True)
    with open_archive(tmp_path / "a", also=[small / "b"]) as workspace:
        (report,) = workspace.ingest.take([card], site=site_of(workspace))
        assert (report.waiting, report.failed, len(report.held)) == ((), (), 7)
        audited(workspace)
        (roll,) = roll_folders(workspace.books.home.disk)
        lists = [held_files(volume.disk, roll) for volume in workspace.books.volumes]
        assert lists[0].keys() == lists[1].keys()


def test_a_volume_without_room_is_refused_by_what_the_system_says(tmp_path: Path, small: Path) -> None:
    card = tiny_card(tmp_path / "card", 1)
    put(card, "DCIM/100NOCTU/NOCT0001.WAV", wav(400))
    archive_in(tmp_path / "a").close()
    with (
        open_archive(tmp_path / "a", also=[small / "b"]) as workspace,
        pytest.raises(ArchiveError, match=r"There is no room for this card: b has 0\.0 GB free"),
    ):
        workspace.ingest.take([card], site=site_of(workspace))


def started(words: list[str | Path], folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*COMMAND, *map(str, words)],
        cwd=folder,
        env=surroundings(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_two_ingests_at_once_wait_for_each_other_and_both_complete(tmp_path: Path) -> None:
    archive = tmp_path / "a"
    archive_in(archive).close()
    cards = [tiny_card(tmp_path / f"card{n}", 5, serial=f"00041{n}", first=10 * n) for n in (1, 2)]
    cards.append(cards[0])
    programs = [started(["ingest", card, "--site", SITE[0], "--json"], archive) for card in cards]
    told = [(program.communicate(timeout=120), program.returncode) for program in programs]
    assert [code for _, code in told] == [0, 0, 0], told
    reports = [json.loads(out)[0] for (out, _), _ in told]
    assert [report["copied"] + len(report["held"]) for report in reports] == [5, 5, 5]
    assert sum(report["copied"] for report in reports) == 10
    with open_archive(archive) as workspace:
        assert len(workspace.frames("2026-03-18")) == 10
        assert len(list(roll_folders(workspace.books.home.disk))) == 2
        audited(workspace)


def test_an_ingest_and_an_export_in_the_middle_of_their_work_at_once_both_complete(tmp_path: Path) -> None:
    archive = tmp_path / "a"
    first = tiny_card(tmp_path / "first", 5)
    second = tiny_card(tmp_path / "second", 5, serial="000999", first=20)
    with archive_in(archive) as workspace:
        workspace.ingest.take([first], site=site_of(workspace))
        (line,) = workspace.sequences()
    gates = tmp_path / "gates"
    gates.mkdir()
    words = ["export", f"{line.address}#1", "--spec", "still-web", "--json"]
    export = Held(words, archive, where="archive.exports.run:begin_or_resume", place=gates)
    words = ["ingest", str(second), "--site", SITE[0], "--json"]
    ingest = Held(words, archive, where="archive.ingest.transfer:Reading", mark="NOCT0022.JPG", place=gates)
    # Both are in the middle now: one has its job on record, the other two of five files copied.
    export.let_go()
    code, out, err = export.ended()
    assert code == 0, err
    assert [file["state"] for file in json.loads(out)["files"]] == ["made"]
    assert ingest.process.poll() is None
    ingest.let_go()
    code, out, err = ingest.ended()
    assert code == 0, err
    assert json.loads(out)[0]["copied"] == 5
    with open_archive(archive) as workspace:
        assert len(workspace.frames("2026-03-18")) == 10
        audited(workspace)


HOLD = """
import sys, time
from pathlib import Path
from archive.store.durable import LocalDisk
with LocalDisk(Path(sys.argv[1])).lock("ingest", "An ingest"):
    print("held", flush=True)
    time.sleep(300)
"""


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """Another program that holds the ingest lock of the archive ``a``."""
    archive_in(tmp_path / "a").close()
    program = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path / "a")],
        env=surroundings(),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None
    assert program.stdout.readline() == "held\n"
    yield program
    program.kill()
    program.wait()
    program.stdout.close()


def test_who_waits_says_for_whom_and_goes_on_when_that_one_dies(
    tmp_path: Path, holder: subprocess.Popen[str]
) -> None:
    card = tiny_card(tmp_path / "card", 2)
    waiting = started(["ingest", card, "--site", SITE[0]], tmp_path / "a")
    assert waiting.stderr is not None
    line = waiting.stderr.readline()
    assert line.startswith(f"Waiting: An ingest is running (process {holder.pid} on ")
    holder.send_signal(signal.SIGKILL)
    out, err = waiting.communicate(timeout=60)
    assert waiting.returncode == 0, out + err
    assert "2 files copied" in out


def test_what_a_dead_holder_wrote_into_a_lock_stops_no_one(tmp_path: Path) -> None:
    archive = tmp_path / "a"
    archive_in(archive).close()
    lock = archive / "incoming" / "ingest.lock"
    lock.write_text(json.dumps({"purpose": "An ingest", "host": "elsewhere", "process": 1}))
    card = tiny_card(tmp_path / "card", 2)
    ran = run("ingest", card, "--site", SITE[0], folder=archive)
    assert "Waiting" not in ran.err
    assert lock.read_bytes() == b""


def test_where_no_lock_works_an_ingest_is_refused_and_nothing_is_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 2)
    with archive_in(tmp_path / "a") as workspace:
        site = site_of(workspace)
        before = {path: data for path, data in contents(tmp_path / "a").items() if ".lock" not in path}

        def lacking(*_arguments: object) -> None:
            raise OSError(95, "Operation not supported")

        with monkeypatch.context() as patch:
            patch.setattr(fcntl, "flock", lacking)
            with pytest.raises(ArchiveError, match="No lock works on this volume: Operation not supported"):
                workspace.ingest.take([card], site=site)
        after = {path: data for path, data in contents(tmp_path / "a").items() if ".lock" not in path}
        assert after == before


def test_ctrl_c_in_the_middle_says_what_is_verified_and_ends_with_130(tmp_path: Path) -> None:
    archive = tmp_path / "a"
    archive_in(archive).close()
    card = tiny_card(tmp_path / "card", 4)
    for number in range(40):
        put(card, f"DCIM/101NOCTU/NOTE{number:04d}.WAV", wav(100 + number))
    gates = tmp_path / "gates"
    gates.mkdir()
    held = Held(
        ["ingest", card, "--site", SITE[0]],
        archive,
        where="archive.ingest.transfer:Reading",
        mark="NOTE0030.WAV",
        place=gates,
    )
    held.process.send_signal(signal.SIGINT)
    code, out, err = held.ended()
    assert "Traceback" not in err
    assert code == 130, out + err
    assert re.search(r"Verified so far: \d+ of 44 files on BLUE", err)
    assert "Run the same command again: it goes on" in err
    (report,) = run("ingest", card, "--site", SITE[0], "--json", folder=archive).json
    assert report["copied"] + len(report["held"]) == 44
