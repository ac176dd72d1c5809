"""One card taken in."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import unicodedata
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from support.cards import BEGIN, archive_in, contents, demo_cards, jpeg, put, site_of, tiny_card, wav
from support.commands import surroundings
from support.stopping import Stop, stop

from archive.errors import ArchiveError, Exit, UsageError
from archive.ingest import carrying, opening, run
from archive.model.results import IngestReport
from archive.store.digest import digest_at, digest_bytes
from archive.store.durable import LocalDisk
from archive.store.volumes import held_files, roll_folders
from archive.workspace import Workspace, open_archive


def take(workspace: Workspace, card: Path, **options: object) -> IngestReport:
    (report,) = workspace.ingest.take([card], site=site_of(workspace), **options)  # type: ignore[arg-type]
    return report


def durable(root: Path) -> dict[str, bytes]:
    """Every file of a volume by path, without the lock files."""
    return {path: data for path, (data, _) in contents(root).items() if not path.endswith(".lock")}


def masters(root: Path) -> dict[str, bytes]:
    """Everything below masters/ except hash lists, by path below the roll."""
    return {
        path.split("/", 2)[2]: data
        for path, (data, _) in contents(root / "masters").items()
        if "/ascmhl/" not in path
    }


def test_card_hash_list_entry_and_catalogue_agree_on_every_file(tmp_path: Path) -> None:
    night = demo_cards(tmp_path)
    with archive_in(tmp_path / "a") as workspace:
        reports = workspace.ingest.take([c.folder for c in night.cards], site=site_of(workspace))
        assert [report.exit_code for report in reports] == [Exit.DONE, Exit.DONE]
        disk = workspace.books.home.disk
        entries = [e for e in workspace.books.log.read_new(set()) if getattr(e, "kind", "") == "ingest"]
        stated = {
            (change.value["folder"], file["path"]): (file["digest"], file["size"])
            for entry in entries
            for change in entry.changes  # type: ignore[union-attr]
            if change.layer == "ingest"
            for file in change.value["files"]
        }
        listed = {
            (folder, path): (f"xxh128:{file.xxh128}", file.size)
            for folder in roll_folders(disk)
            for path, file in held_files(disk, folder).items()
        }
        lying = {
            (folder, path): (digest_at(tmp_path / "a/masters" / folder / path), size)
            for folder, path in listed
            for size in [(tmp_path / "a/masters" / folder / path).stat().st_size]
        }
        assert stated == listed == lying
        assert len(entries) == 2
        held = workspace.books.catalogue.held_sizes()
        assert {digest for digests in held.values() for digest in digests} == {d for d, _ in listed.values()}
        assert len(listed) == sum(report.copied for report in reports)


def test_a_card_is_not_changed_and_masters_have_its_bytes_times_and_no_write_bit(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 6)
    put(card, "MISC/INDEX.CTG", b"index")
    before = contents(card)
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, card)
    assert contents(card) == before
    for path, (data, modified) in before.items():
        (kept,) = (tmp_path / "a/masters").rglob(Path(path).name)
        assert kept.read_bytes() == data
        assert kept.stat().st_mtime_ns == modified
        assert kept.stat().st_mode & 0o222 == 0


def test_the_same_card_again_copies_nothing_and_states_nothing(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 6)
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, card)
        before = durable(tmp_path / "a")
        again = take(workspace, card)
        assert (again.copied, len(again.held), again.rolls) == (0, 6, ())
        assert again.exit_code is Exit.DONE
        assert durable(tmp_path / "a") == before


def test_a_renamed_copy_is_recognised_by_its_bytes(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 1)
    other = tmp_path / "other"
    put(other, "DCIM/200/RENAMED.JPG", (card / "DCIM/100NOCTU/NOCT0001.JPG").read_bytes())
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, card)
        report = take(workspace, other)
        assert [note.path for note in report.held] == ["DCIM/200/RENAMED.JPG"]
        assert report.copied == 0


def test_the_same_name_with_other_bytes_is_kept_beside(tmp_path: Path) -> None:
    first = tiny_card(tmp_path / "first", 1)
    second = tiny_card(tmp_path / "second", 1, begin=BEGIN + timedelta(hours=1))
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, first)
        report = take(workspace, second)
        assert report.copied == 1
        frames = workspace.frames("2026-03-18")
        assert [line.frame.name for line in frames] == ["NOCT0001.JPG", "NOCT0001.JPG"]
        assert len({line.frame.id for line in frames}) == 2
        with pytest.raises(UsageError, match="names 2 frames"):
            workspace.frame("NOCT0001.JPG")


def test_odd_names_are_kept_by_rule_and_their_own_names_on_record(tmp_path: Path) -> None:
    card = tmp_path / "card"
    composed = unicodedata.normalize("NFC", "DCIM/100/é.JPG")
    decomposed = unicodedata.normalize("NFD", "DCIM/100/é.JPG")
    names: list[str | bytes] = [
        "DCIM/100/CON.JPG",
        "DCIM/100/dot.",
        "DCIM/100/a:b.JPG",
        "DCIM/100/new\nline.JPG",
        b"DCIM/100/bytes\xff.JPG",
        "DCIM/100/" + "n" * 251 + ".JPG",
        "DCIM/100/TWIN.JPG",
        "DCIM/100/twin.JPG",
        composed,
        decomposed,
        "ascmhl/ascmhl_chain.xml",
    ]
    data = {name: jpeg(n, taken=BEGIN, exposure_s=1 + n) for n, name in enumerate(names)}
    for name in names:
        put(card, name, data[name])
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
        assert (report.copied, report.failed) == (len(names), ())
        kept = masters(tmp_path / "a")
        assert {digest_bytes(d) for d in kept.values()} == {digest_bytes(d) for d in data.values()}
        assert {
            "100/%43ON.JPG",
            "100/dot%2E",
            "100/a%3Ab.JPG",
            "100/new%0Aline.JPG",
            "100/bytes%FF.JPG",
            "%61scmhl/ascmhl_chain.xml",
        } <= kept.keys()
        folded = {unicodedata.normalize("NFC", path).casefold() for path in kept}
        assert len(folded) == len(kept)
        assert all(len(part.encode()) <= 255 for path in kept for part in path.split("/"))
        assert take(workspace, card).copied == 0
        assert workspace.custody.audit(lambda *_: None).findings == ()


def test_a_file_and_a_folder_of_one_stored_name_are_both_kept(tmp_path: Path) -> None:
    card = tmp_path / "card"
    put(card, "DCIM/MISC", b"a file")
    put(card, "MISC/INDEX.CTG", b"in a folder")
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
        assert (report.copied, report.failed) == (2, ())
        assert sorted(masters(tmp_path / "a").values()) == [b"a file", b"in a folder"]


def test_a_card_of_files_that_no_camera_claims_is_taken_in(tmp_path: Path) -> None:
    put(tmp_path / "card", "notes.bin", b"just bytes")
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, tmp_path / "card")
        assert report.copied == 1


def test_a_companion_of_a_frame_that_is_held_points_to_it(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 1)
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, card)
        put(card, "DCIM/100NOCTU/NOCT0001.WAV", wav())
        report = take(workspace, card)
        assert report.copied == 1
        frame = workspace.frame("NOCT0001.JPG")
        assert [role for _, role in workspace.books.catalogue.companions(frame.id)] == ["sound"]
        assert len(workspace.frames("2026-03-18")) == 1


def test_an_empty_file_is_told_and_the_rest_is_taken(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    put(card, "DCIM/100NOCTU/NOCT0003.JPG", b"")
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, card)
        assert report.copied == 2
        assert [note.path for note in report.failed] == ["DCIM/100NOCTU/NOCT0003.JPG"]
        assert report.exit_code is Exit.ATTENTION


def test_an_empty_card_needs_attention(tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, tmp_path / "card")
        assert report.empty
        assert report.exit_code is Exit.ATTENTION


def test_a_second_volume_gets_everything_and_the_whole_journal(tmp_path: Path) -> None:
    archive_in(tmp_path / "a").close()
    card = tiny_card(tmp_path / "card", 6)
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        report = take(workspace, card)
        assert {volume.name for volume in report.volumes} == {"BLUE", "b"}
        for below in ("masters", "journal"):
            assert durable(tmp_path / "a" / below) == durable(tmp_path / "b" / below)
        assert len(workspace.story("NOCT0003.JPG").copies) == 2


def test_a_volume_that_lacks_what_another_holds_is_completed_from_the_card(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 6)
    with archive_in(tmp_path / "a") as workspace:
        take(workspace, card)
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        report = take(workspace, card)
        (roll,) = roll_folders(workspace.books.home.disk)
        assert [(note.path, note.text) for note in report.completed] == [("b", f"6 files of masters/{roll}")]
        assert (report.copied, len(report.held), report.exit_code) == (0, 6, Exit.DONE)
        assert [volume.name for volume in report.volumes] == ["b"]
        for path, (data, modified) in contents(tmp_path / "a/masters").items():
            if "/ascmhl/" not in path:
                assert contents(tmp_path / "b/masters")[path] == (data, modified)
        second = workspace.books.volumes[1]
        assert held_files(second.disk, roll).keys() == held_files(workspace.books.home.disk, roll).keys()
        assert len(workspace.story("NOCT0003.JPG").copies) == 2
        assert take(workspace, card).completed == ()


def devices(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every source lies on a device of its own."""
    monkeypatch.setattr(run.take_cards, "__kwdefaults__", {"device": lambda source: hash(source)})


def test_cards_on_different_devices_are_copied_at_the_same_time_and_told_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards = [tiny_card(tmp_path / f"card{n}", 4, serial=f"00041{n}", first=10 * n) for n in (1, 2, 3)]
    threads: set[str] = set()
    bring = carrying.bring

    def watched(*arguments: Any, **options: Any) -> Any:
        threads.add(threading.current_thread().name)
        return bring(*arguments, **options)

    monkeypatch.setattr(carrying, "bring", watched)
    devices(monkeypatch)
    stages: list[tuple[str, int, int]] = []
    told: list[str] = []
    with archive_in(tmp_path / "a") as workspace:
        reports = workspace.ingest.take(
            cards,
            site=site_of(workspace),
            progress=lambda *words: stages.append(words),
            told=lambda report: told.append(report.source),
        )
        assert [report.copied for report in reports] == [4, 4, 4]
        assert told == [str(card) for card in cards]
        assert threads == {"card 1", "card 2", "card 3"}
        copying = [(done, total) for stage, done, total in stages if stage.startswith("Copying")]
        size = sum(len(data) for card in cards for data, _ in contents(card).values())
        assert copying[-1] == (size, size)
        assert len(masters(tmp_path / "a")) == 12
        assert workspace.custody.audit(lambda *_: None).findings == ()


HANGING = """
import signal, threading, time
from dataclasses import dataclass, field
from archive.ingest import run

@dataclass
class Engine:
    checkpoint: object = None

@dataclass
class Setting:
    progress: object = None
    engine: Engine = field(default_factory=Engine)

class Plan:
    errands = ()

hanging, stopping = threading.Semaphore(0), threading.Semaphore(0)

def hang(plan, setting, progress):
    hanging.release()
    try:
        while True:
            setting.engine.checkpoint()
            time.sleep(0.01)
    except BaseException:
        stopping.release()
        while True:
            time.sleep(1)

def tell():
    for each, what in ((hanging, "hang"), (stopping, "asked to stop")):
        each.acquire()
        each.acquire()
        print(what, flush=True)

# Started in the background of a shell, a program inherits that Ctrl-C means nothing.
signal.signal(signal.SIGINT, signal.default_int_handler)
run.copy = hang
threading.Thread(target=tell).start()
run._copy_all([(Plan(), Setting()), (Plan(), Setting())])
"""


def test_a_second_ctrl_c_ends_a_run_whose_cards_all_hang() -> None:
    """The threads of several cards kept the program alive for ever."""
    program = subprocess.Popen(
        [sys.executable, "-c", HANGING],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=surroundings(),
    )
    try:
        assert program.stdout is not None
        assert program.stdout.readline() == "hang\n"
        program.send_signal(signal.SIGINT)
        assert program.stdout.readline() == "asked to stop\n"
        program.send_signal(signal.SIGINT)
        program.wait(timeout=30)
    finally:
        program.kill()
        program.communicate()


def test_a_card_that_is_stopped_stops_the_cards_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards = [tiny_card(tmp_path / f"card{n}", 4, serial=f"00041{n}", first=10 * n) for n in (1, 2)]
    devices(monkeypatch)

    def stop(stage: str, _done: int, _total: int) -> None:
        if stage.startswith("Copying"):
            raise Stop

    with archive_in(tmp_path / "a") as workspace:
        with pytest.raises(Stop) as caught:
            workspace.ingest.take(cards, site=site_of(workspace), progress=stop)
        assert "of 8 files on BLUE" in caught.value.__notes__[0]
        reports = workspace.ingest.take(cards, site=site_of(workspace))
        assert [report.copied + len(report.held) for report in reports] == [4, 4]
        assert len(masters(tmp_path / "a")) == 8


def test_cards_that_share_a_file_are_taken_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = tiny_card(tmp_path / "first", 3)
    second = tiny_card(tmp_path / "second", 2, serial="000999", first=20)
    put(second, "DCIM/101/COPY.JPG", (first / "DCIM/100NOCTU/NOCT0002.JPG").read_bytes())
    devices(monkeypatch)
    with archive_in(tmp_path / "a") as workspace:
        reports = workspace.ingest.take([first, second], site=site_of(workspace))
        assert [(report.copied, len(report.held)) for report in reports] == [(3, 0), (2, 1)]


def test_two_cards_that_only_together_are_too_large_are_not_both_begun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cards = [tmp_path / "first", tmp_path / "second"]
    for number, card in enumerate(cards):
        put(card, "DCIM/100/NOTE.WAV", wav(500 + number))
    devices(monkeypatch)
    with archive_in(tmp_path / "a") as workspace:
        monkeypatch.setattr(LocalDisk, "free", lambda self: (8 << 20) + 6_000_000)
        reports = workspace.ingest.take(cards, site=site_of(workspace))
        assert [len(report.failed) for report in reports] == [0, 1]
        assert "no room" in reports[1].failed[0].text


def test_a_clock_and_a_site_told_between_two_runs_do_not_split_the_roll(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 6)
    with archive_in(tmp_path / "a") as workspace:
        with monkeypatch.context() as patch, pytest.raises(Stop):
            patch.setattr(carrying, "record_generation", stop)
            workspace.ingest.take([card])
        (camera,) = workspace.books.catalogue.cameras().values()
        workspace.statements.set_clock(camera, reads="2026-03-18 22:00:00", true="2026-03-20 22:00:00")
        report = take(workspace, card)
        assert report.exit_code is Exit.DONE
        (roll,) = report.rolls
        assert (roll.files, roll.night) == (6, "2026-03-18")
        assert list(roll_folders(workspace.books.home.disk)) == [roll.folder]


def test_a_run_that_is_stopped_says_what_is_verified_where_and_that_the_card_is_to_be_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 6)
    with archive_in(tmp_path / "a") as workspace, monkeypatch.context() as patch:
        patch.setattr(carrying, "record_generation", stop)
        with pytest.raises(Stop) as caught:
            take(workspace, card)
    assert caught.value.__notes__ == [
        "Verified so far: 6 of 6 files on BLUE. Nothing on the card was changed; keep it as it is. "
        "Run the same command again: it goes on where it stopped."
    ]


def test_a_volume_without_room_is_refused_before_the_first_byte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 6)
    with archive_in(tmp_path / "a") as workspace:
        workspace.ingest.take([tiny_card(tmp_path / "other", 1, serial="000999", first=50)])
        before = durable(tmp_path / "a")
        monkeypatch.setattr(LocalDisk, "free", lambda self: 1000)
        with pytest.raises(ArchiveError) as caught:
            take(workspace, card)
        assert "BLUE has 0.0 GB free and needs" in caught.value.message
        assert caught.value.exit_code is Exit.REFUSED
        assert durable(tmp_path / "a") == before


@pytest.mark.parametrize("stage", ["_state", "remove", "record_generation"])
def test_an_ingest_stopped_anywhere_is_completed_by_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stage: str
) -> None:
    card = tiny_card(tmp_path / "card", 6)
    with archive_in(tmp_path / "a") as workspace, monkeypatch.context() as patch:
        if stage == "remove":
            patch.setattr(LocalDisk, "remove", lambda self, path: stop() if path.endswith(".json") else None)
        else:
            patch.setattr(carrying, stage, stop)
        with pytest.raises(Stop):
            take(workspace, card)
    with open_archive(tmp_path / "a") as workspace:
        report = take(workspace, card)
        assert report.exit_code is Exit.DONE
        assert report.copied + len(report.held) == 6
        assert len(masters(tmp_path / "a")) == 6
        entries = [e for e in workspace.books.log.read_new(set()) if getattr(e, "kind", "") == "ingest"]
        assert len(entries) == 1
        assert not [n for n in workspace.books.home.disk.files("incoming") if not n.endswith(".lock")]
        assert workspace.custody.audit(lambda *_: None).findings == ()


def test_an_interrupted_card_waits_while_another_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 3)
    other = tiny_card(tmp_path / "other", 3, serial="000999", first=20)
    opened = opening.open_plain

    def second_stops(path: Path, *arguments: Any, **options: Any) -> Any:
        if path.name == "NOCT0002.JPG" and not options.get("buffered"):
            raise Stop
        return opened(path, *arguments, **options)

    with archive_in(tmp_path / "a") as workspace:
        with monkeypatch.context() as patch, pytest.raises(Stop):
            patch.setattr(opening, "open_plain", second_stops)
            take(workspace, card)
        report = take(workspace, other)
        assert report.copied == 3
        assert len(report.waiting) == 1
        assert report.exit_code is Exit.ATTENTION
        assert len(workspace.ingest.unfinished()) == 1
        finished = take(workspace, card)
        assert finished.waiting == ()
        assert workspace.ingest.unfinished() == []
        assert len(masters(tmp_path / "a")) == 6


def test_a_source_in_an_archive_or_around_it_is_refused(tmp_path: Path) -> None:
    with archive_in(tmp_path / "a") as workspace:
        for source in (tmp_path / "a", tmp_path / "a/masters", tmp_path):
            (tmp_path / "a/masters").mkdir(exist_ok=True)
            with pytest.raises(UsageError, match="part of an archive"):
                take(workspace, source)


def test_what_a_header_says_that_cannot_be_is_remarked(tmp_path: Path) -> None:
    put(tmp_path / "card", "A0001.JPG", jpeg(1, taken=BEGIN.replace(year=1899)))
    with archive_in(tmp_path / "a") as workspace:
        report = take(workspace, tmp_path / "card")
        assert report.copied == 1
        assert report.remarks
        assert report.exit_code is Exit.DONE
