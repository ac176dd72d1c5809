"""May a card be erased? Only on enough proven copies, on different devices."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta
from pathlib import Path

import pytest
from support.cards import archive_in, contents, put, site_of, spoil, tiny_card

from archive.custody import may_erase as judging
from archive.errors import Exit, UsageError
from archive.model.entry import Change, Draft
from archive.model.erasing import EraseAnswer
from archive.store.drives import Footing, card_under
from archive.store.durable import LocalDisk
from archive.store.ports import Grade
from archive.workspace import Workspace, open_archive


class Desk:
    """A card that was taken in on two volumes, which their owner says are two drives."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.card = tiny_card(folder / "card", 3)
        put(self.card, "MISC/INDEX.CTG", b"index")
        put(self.card, ".DS_Store", b"litter")
        archive_in(folder / "a").close()
        with self.open(both=True) as workspace:
            workspace.ingest.take([self.card], site=site_of(workspace))
            workspace.custody.declare_device("BLUE", "grey drive")
            workspace.custody.declare_device("b", "red drive")

    def open(self, *, both: bool = False) -> Workspace:
        return open_archive(self.folder / "a", also=[self.folder / "b"] if both else (), person="Ingrid")

    def ask(self, **options: object) -> EraseAnswer:
        with self.open() as workspace:
            return workspace.may_erase(self.card, **options)  # type: ignore[arg-type]

    def unplug(self) -> None:
        (self.folder / "b").rename(self.folder / "in the drawer")

    def audit(self) -> None:
        with self.open(both=True) as workspace:
            workspace.custody.audit(lambda *_: None)

    def master(self, volume: str, name: str) -> Path:
        (found,) = (self.folder / volume / "masters").rglob(name)
        return found


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    made = Desk(tmp_path)
    apart(monkeypatch, tmp_path)
    yield made


def apart(monkeypatch: pytest.MonkeyPatch, folder: Path, drives: Mapping[str, str] | None = None) -> None:
    """The two volumes look like two file systems on two drives; or on those that are named."""
    known = {"a": "sda", "b": "sdb"} if drives is None else drives
    on = {
        folder / name: Footing(system=number, drives=frozenset(known.get(name, "").split()))
        for number, name in enumerate("ab", 1)
    }
    monkeypatch.setattr("archive.custody.devices.footing", lambda root: on.get(root, Footing(system=3)))
    monkeypatch.setattr("archive.custody.devices.card_under", lambda _card: None)


def reasons(answer: EraseAnswer) -> dict[str, int]:
    return {lacking.reason: len(lacking.files) for lacking in answer.lacking}


def test_two_copies_read_now_on_two_devices_are_a_yes_and_nothing_is_changed(desk: Desk) -> None:
    before = contents(desk.folder)
    answer = desk.ask()
    assert (answer.may_erase, answer.exit_code, answer.lacking) == (True, Exit.DONE, ())
    assert (answer.files, [note.path for note in answer.ignored]) == (4, [".DS_Store"])
    assert {(e.volume, e.device, e.declared, e.files) for e in answer.evidence} == {
        ("BLUE", "grey drive", True, 4),
        ("b", "red drive", True, 4),
    }
    assert all(e.how.startswith("read now") for e in answer.evidence)
    assert contents(desk.folder) == before


def test_one_file_that_came_later_keeps_the_card(desk: Desk) -> None:
    tiny_card(desk.card, 1, first=9)
    answer = desk.ask()
    assert not answer.may_erase and answer.exit_code is Exit.ATTENTION
    assert [(lack.files, lack.reason) for lack in answer.lacking] == [
        (("DCIM/100NOCTU/NOCT0009.JPG",), "held on no volume: take this card in with `noctuary ingest`")
    ]


def test_a_file_that_was_changed_on_the_card_is_not_the_one_that_is_held(desk: Desk) -> None:
    spoil(desk.card / "DCIM/100NOCTU/NOCT0002.JPG")
    answer = desk.ask()
    assert reasons(answer) == {"held on no volume: take this card in with `noctuary ingest`": 1}


def test_a_damaged_and_a_missing_copy_are_told_apart(desk: Desk) -> None:
    spoil(desk.master("b", "NOCT0001.JPG"))
    desk.master("a", "NOCT0002.JPG").unlink()
    assert reasons(desk.ask()) == {
        "proven on 1 of 2 devices (BLUE); on b it is damaged: run `noctuary audit`": 1,
        "proven on 1 of 2 devices (b); on BLUE it is missing: run `noctuary audit`": 1,
    }


def test_two_folders_on_one_device_are_one_copy(desk: Desk) -> None:
    with desk.open() as workspace:
        workspace.custody.declare_device("b", "grey drive")
    answer = desk.ask()
    assert reasons(answer) == {"proven on 1 of 2 devices (BLUE and b)": 4}
    assert desk.ask(copies=1).may_erase


def test_one_file_system_is_one_device_whatever_was_declared(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("archive.custody.devices.footing", lambda _root: Footing(system=7))
    assert reasons(desk.ask()) == {"proven on 1 of 2 devices (BLUE and b)": 4}


def test_two_partitions_of_one_drive_are_one_device_whatever_was_declared(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    apart(monkeypatch, desk.folder, {"a": "sda", "b": "sda"})
    assert reasons(desk.ask()) == {"proven on 1 of 2 devices (BLUE and b)": 4}


def test_two_volumes_on_drives_that_nobody_told_apart_are_not_two_devices(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Shares, subvolumes and systems that tell no drives: a yes came with a remark only."""
    card = undeclared(tmp_path)
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        apart(monkeypatch, tmp_path, {"a": "sda"})
        answer = workspace.may_erase(card)
        assert reasons(answer) == {
            "proven on 1 of 2 devices (BLUE and b); which drive b lies on cannot be told by the system: "
            "say it with `noctuary volume device b NAME`": 1
        }
        apart(monkeypatch, tmp_path, {})
        assert not workspace.may_erase(card).may_erase
        assert workspace.may_erase(card, copies=1).may_erase
        workspace.custody.declare_device("b", "red drive")
        assert not workspace.may_erase(card).may_erase
        workspace.custody.declare_device("BLUE", "grey drive")
        assert workspace.may_erase(card).may_erase


def test_a_command_to_type_holds_names_with_spaces_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = undeclared(tmp_path, "my b")
    apart(monkeypatch, tmp_path, {})
    with open_archive(tmp_path / "a", also=[tmp_path / "my b"]) as workspace:
        (reason,) = reasons(workspace.may_erase(card))
    assert "`noctuary volume device 'my b' NAME`" in reason


def test_ordinary_drives_are_told_apart_by_the_system_where_nothing_is_declared_and_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = undeclared(tmp_path)
    apart(monkeypatch, tmp_path)
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        answer = workspace.may_erase(card)
    assert answer.may_erase
    assert {evidence.device for evidence in answer.evidence} == {"drive sda", "drive sdb"}
    assert any("drive sda, drive sdb" in r and "noctuary volume device" in r for r in answer.remarks)


def undeclared(folder: Path, second: str = "b") -> Path:
    """A card taken in on two volumes of which nobody said what they lie on."""
    card = tiny_card(folder / "card", 1)
    archive_in(folder / "a").close()
    with open_archive(folder / "a", also=[folder / second]) as workspace:
        workspace.ingest.take([card])
    return card


def test_a_copy_read_from_memory_is_no_proof(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    read = LocalDisk.read_back

    def cached(self: LocalDisk, path: str) -> tuple[str, Grade]:
        digest, grade = read(self, path)
        return digest, Grade.CACHED if self.root.name == "b" else grade

    monkeypatch.setattr(LocalDisk, "read_back", cached)
    (reason,) = reasons(desk.ask())
    assert reason.startswith("proven on 1 of 2 devices (BLUE); b could only be read from memory")


def test_a_volume_that_is_away_counts_by_an_audit_that_is_new_enough(desk: Desk) -> None:
    desk.audit()
    desk.unplug()
    answer = desk.ask()
    assert answer.may_erase
    by_name = {evidence.volume: evidence.how for evidence in answer.evidence}
    assert by_name["BLUE"].startswith("read now")
    assert by_name["b"].startswith("by the audit of 20")
    late = desk.ask(within=timedelta(0))
    (reason,) = reasons(late)
    assert reason == (
        "proven on 1 of 2 devices (BLUE); b is not mounted, and no audit within the time asked for proves it"
    )


def test_the_ingest_itself_is_no_audit(desk: Desk) -> None:
    desk.unplug()
    assert not desk.ask().may_erase


def test_an_audit_that_found_fault_with_a_file_does_not_prove_it(desk: Desk) -> None:
    desk.audit()
    spoil(desk.master("b", "NOCT0001.JPG"))
    desk.audit()
    desk.unplug()
    answer = desk.ask()
    ((reason, count),) = reasons(answer).items()
    assert count == 1 and "the audit of" in reason and "found fault with it" in reason


@pytest.mark.parametrize(
    "change",
    [{"grade": "cached"}, {"coverage": {}}, {"coverage": "all"}, {"exceptions": "none"}, {"grade": 7}],
    ids=str,
)
def test_an_audit_that_read_from_memory_or_not_everything_proves_nothing(
    desk: Desk, change: dict[str, object]
) -> None:
    desk.audit()
    desk.unplug()
    with desk.open() as workspace:
        (volume,) = [
            subject
            for (subject, _), value in workspace.books.catalogue.layer("volume").items()
            if value["name"] == "b"
        ]
        held = workspace.books.catalogue.stated(volume, "audit")
        proves = workspace.may_erase(desk.card).may_erase
        # Only the audits of some other span are left to judge by: this one alone is inside it.
        for path in (desk.folder / "a/journal").rglob("*-audit-*"):
            path.unlink()
        workspace.books.state(
            Draft(kind="audit", changes=(Change(subjects=(volume,), layer="audit", value=held | change),))
        )
        answer = workspace.may_erase(desk.card)
    assert proves
    assert answer.may_erase is (change == {"exceptions": "none"})


def test_a_device_that_is_away_and_undeclared_does_not_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 1)
    archive_in(tmp_path / "a").close()
    apart(monkeypatch, tmp_path)
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        workspace.ingest.take([card])
        workspace.custody.audit(lambda *_: None)
    (tmp_path / "b").rename(tmp_path / "away")
    with open_archive(tmp_path / "a") as workspace:
        (reason,) = reasons(workspace.may_erase(card))
        assert "which device b lies on is not known while it is not mounted" in reason
        workspace.custody.declare_device("b", "red drive")
        assert workspace.may_erase(card).may_erase


def test_empty_files_unreadable_files_and_an_empty_card_are_never_a_yes(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(desk.card, "DCIM/100NOCTU/NOCT0004.JPG", b"")
    assert reasons(desk.ask()) == {"empty: 0 bytes, the camera never finished it": 1}
    empty = desk.folder / "empty"
    empty.mkdir()
    with desk.open() as workspace:
        answer = workspace.may_erase(empty)
    assert (answer.may_erase, answer.lacking) == (False, ())
    assert answer.remarks[0].startswith("The card holds no file")

    def broken(path: Path, **_options: object) -> tuple[str, Grade]:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("archive.ingest.rereading.read_back", broken)
    assert reasons(desk.ask())["cannot be read on the card (Input/output error)"] == 4


def test_equal_bytes_under_two_names_are_read_once_and_count_for_both(desk: Desk) -> None:
    put(desk.card, "DCIM/COPY.JPG", (desk.card / "DCIM/100NOCTU/NOCT0001.JPG").read_bytes())
    answer = desk.ask()
    assert answer.may_erase
    assert {evidence.files for evidence in answer.evidence} == {5}


@pytest.mark.parametrize("below", ["", "DCIM/100NOCTU"])
def test_a_volume_on_the_card_itself_does_not_count_whichever_folder_of_it_is_named(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, below: str
) -> None:
    """Asked about a folder of the card, a volume on that card counted."""
    known = {desk.folder / "a": 1, desk.folder / "b": 2, desk.card: 2}
    mounts = (desk.card, Path("/"))

    def on(root: Path, **_options: object) -> Footing:
        return Footing(system=known.get(root, 1), drives=frozenset({f"sd{known.get(root, 1)}"}))

    for module in ("archive.custody.devices.footing", "archive.store.drives.footing"):
        monkeypatch.setattr(module, on)
    monkeypatch.setattr("archive.custody.devices.card_under", card_under)
    monkeypatch.setattr(Path, "is_mount", lambda self: self in mounts)
    with desk.open() as workspace:
        answer = workspace.may_erase(desk.card / below)
    (reason,) = reasons(answer)
    assert reason == "proven on 1 of 2 devices (BLUE and b); b lies on the card itself"


def test_a_volume_on_another_partition_of_the_card_does_not_count(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    apart(monkeypatch, desk.folder)
    card = Footing(system=9, drives=frozenset({"sdb"}))
    monkeypatch.setattr("archive.custody.devices.card_under", lambda _card: card)
    (reason,) = reasons(desk.ask())
    assert reason == "proven on 1 of 2 devices (BLUE and b); b lies on the card itself"


@pytest.mark.parametrize("options", [{"copies": 0}, {"within": timedelta(days=-1)}], ids=str)
def test_figures_that_make_no_sense_are_refused(desk: Desk, options: dict[str, object]) -> None:
    with pytest.raises(UsageError, match="one or more copies"):
        desk.ask(**options)


def test_an_audit_from_the_future_proves_nothing(desk: Desk) -> None:
    desk.audit()
    desk.unplug()
    with desk.open() as workspace:
        reading = workspace.ingest.reread(desk.card)
        known = workspace.books.log.names()
        newest = max(name.split("-")[1] for name in known if "-audit-" in name)
        past = judging._moment(f"{newest[:4]}-{newest[4:6]}-{newest[6:8]}T00:00:00Z") - timedelta(days=2)
        answer = judging.may_erase(
            workspace.books,
            reading,
            copies=2,
            within=timedelta(days=30),
            now=past,
            progress=lambda *_: None,
        )
    assert not answer.may_erase
