"""Every step of taking a card in, stopped or failing, on one volume and on two, and what the next run does.

The disks keep the port's promises and no more: bytes are durable after ``finish``, names after
``sync_folder``. The engine is the real one with its stages run inline, so that step n is always the same.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from support import mhl_reference
from support.cards import contents, put, tiny_card, wav
from support.disks import REMAINS, Machine, MemoryDisk, Stopped
from support.takings import Taking, listed, masters, statements, unlisted_or_wrong

from archive.ingest.setting import Outcome
from archive.store.digest import digest_bytes
from archive.store.naming import Naming
from archive.store.traits import Traits

pytestmark = pytest.mark.slow
BOTH = ("BLUE", "RED")


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tiny_card(tmp_path_factory.mktemp("card"), 2)
    put(made, "DCIM/100NOCTU/NOCT0002.WAV", wav())
    return made


@pytest.fixture(scope="module")
def expected(card: Path) -> dict[str, bytes]:
    return {path.removeprefix("DCIM/"): data for path, (data, _) in contents(card).items()}


def disks_in(
    machine: Machine, names: tuple[str, ...], naming: Naming = Naming.RENAME
) -> dict[str, MemoryDisk]:
    traits = Traits(kind="memory", naming=naming)
    return {name: MemoryDisk(machine=machine, traits=traits) for name in names}


def steps(card: Path, names: tuple[str, ...], naming: Naming = Naming.RENAME) -> int:
    machine = Machine()
    Taking(disks_in(machine, names, naming)).take(card)
    return machine.steps


def completed(
    disks: Mapping[str, MemoryDisk], card: Path, expected: Mapping[str, bytes], *, stated: int = 1
) -> None:
    """The next run ends in the archive of an undisturbed one, on every volume."""
    taking = Taking(disks)
    (outcome,) = taking.take(card)
    assert isinstance(outcome, Outcome)
    assert (outcome.failed, outcome.waiting) == ([], [])
    assert outcome.copied + len(outcome.held) == len(expected)
    whole(disks, expected, stated=stated)
    # And it stays: nothing of it waits for a later sync, but that a record of it goes.
    lasting = {name: disk.after_power_loss() for name, disk in disks.items()}
    for disk in lasting.values():
        for name in disk.files("incoming"):
            disk.remove(f"incoming/{name}")
    whole(lasting, expected, stated=stated)


def whole(disks: Mapping[str, MemoryDisk], expected: Mapping[str, bytes], *, stated: int = 1) -> None:
    """Masters, hash lists, one roll, nothing unfinished; ``stated`` is how often its roll may be stated."""
    digests = {path: digest_bytes(data) for path, data in expected.items()}
    for disk in disks.values():
        assert masters(disk) == expected
        assert listed(disk) == digests
        assert [name for name in disk.files("incoming") if not name.endswith(".lock")] == []
        assert all(not node.writable for path, node in disk.names.items() if path.startswith("masters/"))
        rolls = statements([disk])
        assert 1 <= len(rolls) <= stated
        assert len({roll["folder"] for roll in rolls}) == 1
        assert all({f["path"]: f["digest"] for f in roll["files"]} == digests for roll in rolls)


@pytest.mark.parametrize("names", [BOTH[:1], BOTH], ids=["one", "two"])
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_an_ingest_stopped_at_any_step_loses_nothing_and_the_next_run_completes_it(
    card: Path, expected: dict[str, bytes], names: tuple[str, ...], after: bool
) -> None:
    before = contents(card)
    for stop_at in range(1, steps(card, names) + 1):
        # One volume is tried with all that may be left; two, to save time, with each of it in turn.
        for remains in REMAINS if len(names) == 1 else (REMAINS[(stop_at + after) % len(REMAINS)],):
            disks = disks_in(Machine(stop_at=stop_at, after=after), names)
            taking = Taking(disks)
            with pytest.raises(Stopped):
                taking.take(card)
            left = {name: getattr(disk, remains)() for name, disk in disks.items()}
            for volume in taking.volumes:
                disk = left[volume.name]
                assert unlisted_or_wrong(disk, expected) == []
                for errand in taking.errands:
                    if volume.id in errand.proven:
                        assert (
                            masters(disk)[errand.target.split("/", 3)[3]]
                            == expected[errand.name.removeprefix("DCIM/")]
                        )
            completed(left, card, expected)
    assert contents(card) == before


@pytest.mark.parametrize("naming", [Naming.LINK, Naming.CLAIM])
def test_an_ingest_stopped_where_files_are_named_in_two_steps_is_completed_too(
    card: Path, expected: dict[str, bytes], naming: Naming
) -> None:
    for stop_at in range(1, steps(card, BOTH[:1], naming) + 1):
        after = bool(stop_at % 4 // 2)
        disks = disks_in(Machine(stop_at=stop_at, after=after), BOTH[:1], naming)
        with pytest.raises(Stopped):
            Taking(disks).take(card)
        remains = REMAINS[stop_at % len(REMAINS)]
        left = {name: getattr(disk, remains)() for name, disk in disks.items()}
        assert unlisted_or_wrong(left["BLUE"], expected) == []
        completed(left, card, expected)


def test_what_another_card_s_run_lists_outlives_a_loss_of_power(
    card: Path, expected: dict[str, bytes], tmp_path: Path
) -> None:
    """The program was killed, and goes on with another card: names that were not synced still are not."""
    other = put(tmp_path / "other", "NOTE.TXT", b"another card").parent
    everything = {**expected, "NOTE.TXT": b"another card"}
    found = 0
    for stop_at in range(1, steps(card, BOTH[:1]) + 1):
        disks = disks_in(Machine(stop_at=stop_at, after=True), BOTH[:1])
        with pytest.raises(Stopped):
            Taking(disks).take(card)
        left = {name: disk.after_kill() for name, disk in disks.items()}
        Taking(left).take(other)
        found += len(listed(left["BLUE"])) == len(everything)
        for remains in REMAINS[1:]:
            disk = getattr(left["BLUE"], remains)()
            assert unlisted_or_wrong(disk, everything) == []
            assert listed(disk).keys() == listed(left["BLUE"]).keys()
    assert found > 10


def test_the_reference_implementation_verifies_what_interrupted_ingests_end_in(
    card: Path, expected: dict[str, bytes], tmp_path: Path
) -> None:
    """Killed in the copying, between two hash lists, and after the last."""
    machine = Machine()
    undisturbed = disks_in(machine, BOTH)
    Taking(undisturbed).take(card)
    total = machine.steps
    for stop_at in (total // 3, total * 3 // 4, total * 5 // 6):
        disks = disks_in(Machine(stop_at=stop_at, after=True), BOTH)
        with pytest.raises(Stopped):
            Taking(disks).take(card)
        left = {name: disk.after_partial_loss() for name, disk in disks.items()}
        completed(left, card, expected, stated=2)
        for name, disk in left.items():
            for path, node in disk.names.items():
                if path.startswith("masters/"):
                    target = tmp_path / str(stop_at) / name / path
                    target.parent.mkdir(parents=True, exist_ok=True)
                    target.write_bytes(node.data)
        for chain in (tmp_path / str(stop_at)).rglob("ascmhl_chain.xml"):
            assert mhl_reference.verify_folder(chain.parents[1]) == mhl_reference.CLEAN
    assert len(list(tmp_path.rglob("ascmhl_chain.xml"))) == 6


FAULTS = {"full": OSError(errno.ENOSPC, "No space left on device"), "broken": OSError(errno.EIO, "I/O error")}


def failing_from(number: int, fault: OSError) -> Callable[[str], None]:
    """A disk whose call of that number fails, and every one after it, as an unplugged drive does."""
    count = 0

    def failing(_what: str) -> None:
        nonlocal count
        count += 1
        if count >= number:
            raise fault

    return failing


def calls(card: Path, name: str) -> int:
    """How many calls on one of two disks can fail while a card is taken in."""
    disks = disks_in(Machine(), BOTH)
    count = 0

    def counting(_what: str) -> None:
        nonlocal count
        count += 1

    disks[name].faults = counting
    Taking(disks).take(card)
    return count


@pytest.mark.parametrize(("name", "fault"), [("BLUE", "broken"), ("RED", "broken"), ("RED", "full")])
def test_a_volume_that_fails_at_any_step_is_left_out_and_completed_when_it_is_back(
    card: Path, expected: dict[str, bytes], name: str, fault: str
) -> None:
    other = next(each for each in BOTH if each != name)
    for number in range(1, calls(card, name) + 1):
        disks = disks_in(Machine(), BOTH)
        disks[name].faults = failing_from(number, FAULTS[fault])
        taking = Taking(disks)
        (outcome,) = taking.take(card)
        assert isinstance(outcome, Outcome), outcome
        assert outcome.failed == []
        # A volume that fails at its very last step, when nothing is left to do there, is not missed.
        assert [f"{name} was left out" in text for text in outcome.waiting] == [True]
        whole({other: disks[other]}, expected)
        assert unlisted_or_wrong(disks[name], expected) == []
        disks[name].faults = lambda _what: None
        completed(disks, card, expected)
        assert unlisted_or_wrong(disks[name], expected) == []


@pytest.mark.parametrize("name", BOTH)
def test_a_volume_that_was_away_is_completed_and_what_it_holds_is_not_written_again(
    card: Path, expected: dict[str, bytes], name: str
) -> None:
    """The run is stopped at any step and goes on without one volume; later that one is named again."""
    other = next(each for each in BOTH if each != name)
    for stop_at in range(1, steps(card, BOTH) + 1):
        disks = disks_in(Machine(stop_at=stop_at, after=True), BOTH)
        with pytest.raises(Stopped):
            Taking(disks).take(card)
        remains = REMAINS[stop_at % len(REMAINS)]
        left = {each: getattr(disk, remains)() for each, disk in disks.items()}
        there = masters(left[name])
        completed({other: left[other]}, card, expected)
        # A roll that was stated on the volume that is away is stated again: the same roll, twice.
        completed(left, card, expected, stated=2)
        kept = [what for what in left[name].log if what.startswith("publish masters/")]
        assert not [path for path in there if any(what.endswith(path) for what in kept)]
