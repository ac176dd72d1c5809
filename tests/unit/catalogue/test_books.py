"""Volumes, journal and catalogue kept in step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import Mock

import pytest
from support.builders import (
    FakeClock,
    camera,
    exposure,
    frame_id,
    ingest,
    own,
    rating,
    roll,
    roll_file,
    sequence_roll,
    site,
)
from support.exports import SEQUENCE, studio
from support.rolls import write_generation

from archive.catalogue import books as books_module
from archive.catalogue.books import Books
from archive.catalogue.hands import Hands
from archive.catalogue.noticing import GONE, STRANGE
from archive.catalogue.seen import note_folders, seen_folders
from archive.errors import ArchiveError, DamagedFileError, Exit
from archive.formats import entry as entry_format
from archive.formats.volume import VolumeMark
from archive.journal import log as log_module
from archive.journal.log import Log
from archive.model.capture import RollFile
from archive.model.entry import Change, Draft, Entry
from archive.store.digest import digest_bytes
from archive.store.durable import write_new
from archive.store.userplace import Writer
from archive.store.volumes import Volume, create_volume

FOLDER = "2026-03-18/north-7c1f9a2e"


def volume(root: Path, number: int, name: str) -> Volume:
    mark = VolumeMark(
        archive="5f0c2a7d9b3e4f1896c7d0a1b2e3f405",
        volume=f"{number:032x}",
        name=name,
        created="2026-03-19T05:58:31Z",
    )
    return create_volume(root, mark)


def books(root: Path, *volumes: Volume) -> Books:
    log = Log([each.disk for each in volumes], writer="w1", person="Ingrid", now=FakeClock())
    return Books(volumes, log, f"sqlite:///{root / 'catalogue.sqlite'}")


@pytest.fixture
def blue(tmp_path: Path) -> Volume:
    return volume(tmp_path / "blue", 1, "BLUE")


@pytest.fixture
def kept(tmp_path: Path, blue: Volume) -> Books:
    return books(tmp_path, blue)


def draft(*changes: Change, kind: str = "ingest") -> Draft:
    return Draft(kind=kind, changes=changes)


def night() -> Draft:
    return draft(camera(), site(), ingest(sequence_roll(range(1, 7))))


def test_a_statement_is_durable_and_catalogued_when_it_returns(kept: Books) -> None:
    made = kept.state(draft(rating(1, 4), kind="rating"))
    assert list(kept.log.read_new(set())) == [made]
    assert kept.catalogue.stated(frame_id(1), "rating") == 4


def test_a_new_sequence_gets_its_number_as_an_entry_of_its_own(kept: Books) -> None:
    kept.state(night())
    entries = [item for item in kept.log.read_new(set()) if isinstance(item, Entry)]
    assert [each.kind for each in entries] == ["ingest", "sequence"]
    (frame,) = kept.catalogue.frames(name="NOCT0003.DNG")
    assert kept.address_of(frame) == "2026-03-18/north/1#3"
    kept.sync()
    assert len(kept.log.names()) == 2


def test_a_sequence_whose_numbering_was_cut_off_is_numbered_at_the_next_sync(
    kept: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    append = kept.log.append

    def killed_before_the_number(told: Draft) -> Entry:
        if told.kind == "sequence":
            raise KeyboardInterrupt
        return append(told)

    monkeypatch.setattr(kept.log, "append", killed_before_the_number)
    with pytest.raises(KeyboardInterrupt):
        kept.state(night())
    monkeypatch.undo()
    assert kept.catalogue.sequences() == []
    kept.sync()
    assert [line.number for line in kept.catalogue.sequences()] == [1]


def test_a_frame_outside_sequences_has_no_address(kept: Books) -> None:
    kept.state(draft(ingest(roll([roll_file(1, seconds=0)]))))
    assert kept.address_of(kept.catalogue.frames()[0]) is None


def test_a_rebuilt_catalogue_answers_as_the_one_that_grew(kept: Books, blue: Volume) -> None:
    kept.state(night())
    first = kept.state(draft(own(1, exposure(0.5)), kind="recipe"))
    kept.state(draft(own(1, exposure(1.0), builds_on=(first.id,)), rating(2, 5), kind="recipe"))
    write_generation(blue.root / "masters" / FOLDER, {"100NOCTU/NOCT0001.DNG": b"pixels"})
    kept.sync()
    before = kept.catalogue.dump()
    report = kept.rebuild()
    assert kept.catalogue.dump() == before
    assert (report.entries, report.rolls, report.frames, report.sequences) == (4, 1, 6, 1)
    assert report.faults == ()


def test_entries_that_another_program_wrote_are_taken_in_by_the_next_sync(kept: Books, blue: Volume) -> None:
    other = Log([blue.disk], writer="w2", person="Anouk", now=FakeClock())
    other.append(draft(rating(1, 2), kind="rating"))
    assert kept.catalogue.stated(frame_id(1), "rating") is None
    kept.sync()
    assert kept.catalogue.stated(frame_id(1), "rating") == 2


def test_what_a_removed_entry_said_is_forgotten_and_its_absence_told(kept: Books, blue: Volume) -> None:
    first = kept.state(draft(rating(1, 2), kind="rating"))
    kept.state(draft(rating(2, 3), kind="rating"))
    (blue.root / kept.log.names()[first.name]).unlink()
    kept.sync()
    assert kept.catalogue.stated(frame_id(1), "rating") is None
    assert kept.catalogue.stated(frame_id(2), "rating") == 3
    assert [fault.name for fault in kept.catalogue.faults()] == [first.id]


def damaged(kept: Books, blue: Volume) -> str:
    made = kept.state(draft(rating(1, 2), kind="rating"))
    path = blue.root / kept.log.names()[made.name]
    path.chmod(0o644)
    path.write_bytes(b"{}")
    return made.name


def test_a_damaged_entry_is_told_at_every_rebuild_and_sync(kept: Books, blue: Volume) -> None:
    name = damaged(kept, blue)
    kept.rebuild()
    for _ in range(2):
        kept.sync()
        assert [fault.name for fault in kept.catalogue.faults()] == [name]
    assert [fault.name for fault in kept.faults()] == [name]


def test_an_entry_that_is_whole_but_makes_no_sense_is_told_at_every_sync(kept: Books, blue: Volume) -> None:
    made, data = entry_format.encode(
        kind="rating",
        counter=1,
        time="2026-03-19T06:15:02Z",
        writer="w9",
        previous=None,
        person="",
        changes=(rating(1, 17),),
    )
    write_new(blue.disk, "journal/2026-03", made.name, data)
    for _ in range(3):
        kept.sync()
        assert [fault.name for fault in kept.catalogue.faults()] == [made.name]
    assert kept.catalogue.stated(frame_id(1), "rating") is None


def test_holdings_follow_the_hash_lists_of_each_volume(kept: Books, blue: Volume) -> None:
    history = blue.root / "masters" / FOLDER
    write_generation(history, {"a.DNG": b"a"})
    kept.sync()
    assert [copy.path for copy in kept.catalogue.copies(digest_bytes(b"a"))] == [f"{FOLDER}/a.DNG"]
    write_generation(history, {"b.DNG": b"b"}, held={"a.DNG": b"a"})
    kept.sync()
    assert [copy.path for copy in kept.catalogue.copies(digest_bytes(b"b"))] == [f"{FOLDER}/b.DNG"]
    history.rename(blue.root / "elsewhere")
    kept.sync()
    assert kept.catalogue.copies(digest_bytes(b"a")) == []


@pytest.mark.parametrize("fault", ["edited", "unreadable"])
def test_a_faulty_hash_list_is_told_at_every_sync_and_the_other_rolls_count(
    kept: Books, blue: Volume, fault: str
) -> None:
    bad = write_generation(blue.root / "masters" / FOLDER, {"a.DNG": b"a"})
    write_generation(blue.root / "masters" / "2026-03-19/north-00000002", {"b.DNG": b"b"})
    if fault == "edited":
        bad.write_bytes(b"<hashlist/>")
    else:
        chain = bad.parent / "ascmhl_chain.xml"
        chain.unlink()
        chain.symlink_to(bad)
    for _ in range(2):
        kept.sync()
        assert [(each.place, each.name) for each in kept.catalogue.faults()] == [(blue.id, FOLDER)]
    assert kept.catalogue.copies(digest_bytes(b"b")) != []


def test_what_was_known_of_a_roll_is_kept_while_its_hash_list_cannot_be_read(
    kept: Books, blue: Volume
) -> None:
    manifest = write_generation(blue.root / "masters" / FOLDER, {"a.DNG": b"a"})
    kept.sync()
    chain = manifest.parent / "ascmhl_chain.xml"
    chain.rename(blue.root / "chain")
    chain.symlink_to(blue.root / "chain")
    kept.sync()
    assert len(kept.catalogue.copies(digest_bytes(b"a"))) == 1


def held(kept: Books, *volumes: Volume) -> None:
    """One frame with the bytes ``pixels``, on these volumes."""
    file = roll_file(1, seconds=0)
    held_file = RollFile(
        path=file.path,
        size=6,
        digest=digest_bytes(b"pixels"),
        role=file.role,
        modified=file.modified,
        facts=file.facts,
    )
    kept.state(draft(camera(), ingest(roll([held_file]))))
    for each in volumes:
        write_generation(each.root / "masters" / FOLDER, {file.path: b"pixels"})
    kept.sync()


def test_a_master_comes_from_any_volume_that_has_it_sound(tmp_path: Path, blue: Volume) -> None:
    green = volume(tmp_path / "green", 2, "GREEN")
    kept = books(tmp_path, blue, green)
    held(kept, blue, green)
    (frame,) = kept.catalogue.frames()
    first = blue.root / "masters" / FOLDER / frame.path
    assert kept.master_bytes(frame) == b"pixels"
    first.write_bytes(b"pixelt")
    assert kept.master_bytes(frame) == b"pixels"
    first.unlink()
    assert kept.master_bytes(frame) == b"pixels"


def test_a_master_that_is_damaged_everywhere_is_never_handed_out(kept: Books, blue: Volume) -> None:
    held(kept, blue)
    (frame,) = kept.catalogue.frames()
    (blue.root / "masters" / FOLDER / frame.path).write_bytes(b"pixelt")
    with pytest.raises(DamagedFileError, match="is damaged"):
        kept.master_bytes(frame)


def test_a_missing_master_and_an_unplugged_one_are_told_apart(tmp_path: Path, blue: Volume) -> None:
    green = volume(tmp_path / "green", 2, "GREEN")
    both = books(tmp_path, blue, green)
    held(both, green)
    (frame,) = both.catalogue.frames()
    both.state(
        draft(
            Change(subjects=(f"volume:{green.id}",), layer="volume", value={"name": "GREEN", "created": "x"}),
            kind="volume",
        )
    )
    both.close()
    alone = books(tmp_path, blue)
    with pytest.raises(ArchiveError, match="was last seen on GREEN"):
        alone.master_bytes(frame)
    (green.root / "masters" / FOLDER / frame.path).unlink()
    again = books(tmp_path, blue, green)
    with pytest.raises(ArchiveError, match="is missing from GREEN"):
        again.master_bytes(frame)


def test_a_frame_that_no_volume_holds_says_so(kept: Books) -> None:
    held(kept)
    with pytest.raises(ArchiveError, match="no volume known here"):
        kept.master_bytes(kept.catalogue.frames()[0])


def test_emptying_leaves_no_file_of_the_old_catalogue(kept: Books, tmp_path: Path) -> None:
    kept.state(night())
    kept.empty()
    assert set(kept.catalogue.counts().values()) == {0}
    kept.close()
    assert [path.name for path in tmp_path.glob("catalogue*")] == ["catalogue.sqlite"]


def test_an_essential_entry_of_a_newer_kind_is_told_and_closes_its_subjects(tmp_path: Path) -> None:
    place = studio(tmp_path)
    books = place.workspace.books
    frame = place.workspace.frame(f"{SEQUENCE}#1")
    change = Change(subjects=(frame.id,), layer="spectrum", value={"lines": 3})
    books.log.append(Draft(kind="spectrum", changes=(change,), essential=True))
    books.sync()
    assert any("newer release" in fault.message for fault in books.catalogue.faults())
    with pytest.raises(ArchiveError, match="marked it essential") as caught:
        place.workspace.statements.rate([f"{SEQUENCE}#1"], 3)
    assert caught.value.exit_code is Exit.REFUSED
    with pytest.raises(ArchiveError, match="marked it essential"):
        place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1"])
    place.workspace.statements.rate([f"{SEQUENCE}#2"], 3)
    before = books.catalogue.dump()
    books.rebuild()
    assert books.catalogue.dump() == before
    place.workspace.close()


def test_an_entry_of_a_newer_kind_that_is_not_essential_closes_nothing(tmp_path: Path) -> None:
    place = studio(tmp_path)
    frame = place.workspace.frame(f"{SEQUENCE}#1")
    change = Change(subjects=(frame.id,), layer="rating", value=5)
    place.workspace.books.log.append(Draft(kind="verdict", changes=(change,)))
    place.workspace.books.sync()
    assert place.workspace.frames(f"{SEQUENCE}#1")[0].rating == 0
    place.workspace.statements.rate([f"{SEQUENCE}#1"], 3)
    assert place.workspace.frames(f"{SEQUENCE}#1")[0].rating == 3
    place.workspace.close()


def test_month_folders_that_were_moved_deeper_are_read_all_the_same(kept: Books, blue: Volume) -> None:
    made = kept.state(draft(rating(1, 2), kind="rating"))
    (month,) = (blue.root / "journal").iterdir()
    (blue.root / "journal" / "y").mkdir()
    month.rename(blue.root / "journal" / "y" / month.name)
    kept.sync()
    assert list(kept.log.names()) == [made.name] and kept.catalogue.faults() == []
    assert kept.catalogue.stated(frame_id(1), "rating") == 2
    assert kept.state(draft(rating(1, 3), kind="rating")).counter == 2


def test_a_file_that_is_no_entry_is_noticed_by_the_next_sync_and_only_while_it_lies_there(
    kept: Books, blue: Volume
) -> None:
    kept.state(draft(rating(1, 2), kind="rating"))
    kept.sync()
    stray = blue.root / "journal" / "notes.txt"
    stray.write_text("remember the flat frames")
    for _ in range(2):
        kept.sync()
        ((place, name),) = [(fault.place, fault.name) for fault in kept.catalogue.faults()]
        assert (place, name) == (STRANGE, "journal/notes.txt")
    stray.unlink()
    kept.sync()
    assert kept.catalogue.faults() == []


def test_a_journal_without_the_entries_that_were_read_before_is_not_called_whole(
    kept: Books, blue: Volume
) -> None:
    made = [kept.state(draft(rating(n, 2), kind="rating")) for n in (1, 2)]
    (blue.root / "journal").rename(blue.root / "elsewhere")
    for _ in range(2):
        kept.sync()
        told = kept.catalogue.faults()
        assert [(fault.place, fault.name) for fault in told] == [(GONE, each.name) for each in made]
        assert "read here before" in told[0].message
    assert kept.catalogue.stated(frame_id(1), "rating") is None
    (blue.root / "elsewhere").rename(blue.root / "journal")
    kept.sync()
    assert kept.catalogue.faults() == [] and kept.catalogue.stated(frame_id(1), "rating") == 2


def test_the_last_entry_written_here_is_missed_even_by_a_new_catalogue(tmp_path: Path, blue: Volume) -> None:
    writer = Writer("w1")
    log = Log([blue.disk], writer=writer, person="Ingrid", now=FakeClock())
    kept = Books([blue], log, f"sqlite:///{tmp_path / 'catalogue.sqlite'}")
    made = kept.state(draft(rating(1, 2), kind="rating"))
    (blue.root / log.names()[made.name]).unlink()
    assert [made.name] == [message.split()[3] for message in kept.rebuild().faults]


def test_a_number_given_while_entries_are_taken_in_is_not_told_as_gone(tmp_path: Path, blue: Volume) -> None:
    Log([blue.disk], writer="w2", person="Anouk", now=FakeClock()).append(night())
    log = Log([blue.disk], writer=Writer("w1", complete=True), person="Ingrid", now=FakeClock())
    kept = Books([blue], log, f"sqlite:///{tmp_path / 'catalogue.sqlite'}")
    kept.sync()
    assert [name.split("-")[2] for name in log.appended] == ["sequence"]
    assert kept.catalogue.faults() == []


def test_an_emptied_catalogue_is_filled_again_though_no_folder_changed(kept: Books, blue: Volume) -> None:
    kept.state(draft(rating(1, 2), kind="rating"))
    kept.sync()
    seen = seen_folders(kept.catalogue.engine)
    kept.empty()
    note_folders(kept.catalogue.engine, blue.id, seen[blue.id], {})
    kept.sync()
    assert kept.catalogue.stated(frame_id(1), "rating") == 2


def test_entries_of_others_are_read_alone_and_the_known_ones_not_again(
    kept: Books, blue: Volume, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.state(draft(rating(1, 2), kind="rating"))
    kept.sync()
    kept.state(draft(rating(2, 2), kind="rating"))
    other = Log([blue.disk], writer="w2", person="Anouk", now=FakeClock())
    other._previous = lambda *_: None  # type: ignore[method-assign,assignment]
    told = other.append(draft(rating(1, 4), kind="rating"))
    read = []
    once = log_module.read_entry
    monkeypatch.setattr(
        log_module, "read_entry", lambda disk, path, name: read.append(name) or once(disk, path, name)
    )
    kept.sync()
    assert read == [told.name] and kept.catalogue.stated(frame_id(1), "rating") == 4


def test_a_rebuild_that_is_stopped_leaves_the_catalogue_as_it_was(
    kept: Books, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.state(night())
    before = kept.catalogue.dump()

    def stopped(_names: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(kept, "_examine", stopped)
    with pytest.raises(KeyboardInterrupt):
        kept.rebuild()
    assert kept.catalogue.dump() == before
    kept.close()
    assert [path.name for path in tmp_path.glob("catalogue*")] == ["catalogue.sqlite"]


def test_with_more_hands_the_same_is_made_and_told(
    kept: Books, blue: Volume, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.state(night())
    kept.state(draft(rating(1, 4), own(2, exposure(0.5)), kind="recipe"))
    write_generation(blue.root / "masters" / FOLDER, {"100NOCTU/NOCT0001.DNG": b"pixels"})
    (blue.root / "masters" / "2026-03-19" / "north-00000000" / "ascmhl").mkdir(parents=True)
    broken = blue.root / "masters" / "2026-03-19" / "north-00000000" / "ascmhl" / "ascmhl_chain.xml"
    broken.write_bytes(b"<no chain>")
    torn = kept.state(draft(rating(3, 4), kind="rating"))
    path = blue.root / kept.log.names()[torn.name]
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-9])
    monkeypatch.setattr("archive.catalogue.books.hands_of_this_machine", Hands)
    alone = kept.rebuild()
    before = kept.catalogue.dump()
    monkeypatch.setattr("archive.catalogue.books.hands_of_this_machine", lambda: Hands(2, alone_s=0))
    stages: list[str] = []
    assert kept.rebuild(lambda stage, _done, _total: stages.append(stage)) == alone
    assert kept.catalogue.dump() == before
    assert [fault.split()[3] for fault in alone.faults if torn.name in fault] == [torn.name]
    assert len(alone.faults) == 2
    assert list(dict.fromkeys(stages)) == [
        "Reading the journal",
        "Telling the frames",
        "Finding sequences",
        "Reading hash lists",
    ]


def test_a_catalogue_that_is_behind_in_everything_is_made_anew(
    kept: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.state(night())
    before = kept.catalogue.dump()
    engine = kept.catalogue.engine
    kept.sync()
    assert kept.catalogue.engine is engine
    monkeypatch.setattr("archive.catalogue.books._MANY", 1)
    monkeypatch.setattr("archive.catalogue.derive.DERIVATION", 10_000)
    kept.sync()
    assert kept.catalogue.engine is not engine
    assert not kept.catalogue.behind()
    assert {**kept.catalogue.dump(), "mark": []} == {**before, "mark": []}


def waited_for(kept: Books, monkeypatch: pytest.MonkeyPatch, meanwhile: Callable[[], object]) -> list[str]:
    """Let another program make the catalogue anew, which does this before it lets go; what it is told of."""
    told: list[str] = []
    alone = books_module.alone

    @contextmanager
    def after_another(url: str, say: Callable[[str], None]) -> Iterator[None]:
        if not told:
            told.append(url)
            meanwhile()
        with alone(url, say):
            yield

    monkeypatch.setattr(books_module, "alone", after_another)
    return told


def test_a_catalogue_that_another_program_made_meanwhile_is_not_made_again(
    kept: Books, blue: Volume, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two commands that found it outdated both made it, in one file."""
    kept.state(night())
    before = kept.catalogue.dump()
    monkeypatch.setattr("archive.catalogue.books._MANY", 1)
    monkeypatch.setattr("archive.catalogue.derive.DERIVATION", 10_000)
    other = books(tmp_path, blue)
    told = waited_for(kept, monkeypatch, other.sync)
    made = Mock(wraps=books_module.begin_anew)
    monkeypatch.setattr(books_module, "begin_anew", made)
    kept.sync()
    assert len(told) == 1 and made.call_count == 1
    assert not kept.catalogue.behind()
    assert {**kept.catalogue.dump(), "mark": []} == {**before, "mark": []}
    other.close()


def test_a_rebuild_that_waited_for_another_is_made_of_what_lies_there_then(
    kept: Books, blue: Volume, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.state(night())
    other = books(tmp_path, blue)

    def meanwhile() -> None:
        other.state(draft(rating(1, 2), kind="rating"))
        other.rebuild()

    waited_for(kept, monkeypatch, meanwhile)
    assert kept.rebuild().entries == 3
    assert kept.catalogue.stated(frame_id(1), "rating") == 2
    other.close()


def test_a_new_catalogue_that_cannot_be_put_in_place_is_taken_away(
    kept: Books, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.state(night())
    before = kept.catalogue.dump()
    with monkeypatch.context() as patched:
        # As on Windows, while another program holds the old one open.
        patched.setattr(Path, "replace", Mock(side_effect=PermissionError(13, "Access is denied")))
        with pytest.raises(ArchiveError, match=r"catalogue\.sqlite: Access is denied") as caught:
            kept.rebuild()
    assert "End every other program" in caught.value.hint
    assert kept.catalogue.dump() == before
    kept.close()
    assert [path.name for path in tmp_path.glob("catalogue*")] == ["catalogue.sqlite"]
