"""Raw and JPEG of one exposure on two cards: one frame, whichever card came first."""

from __future__ import annotations

import itertools
import shutil
from datetime import timedelta
from pathlib import Path

import pytest
from support.cards import BEGIN, archive_in, jpeg, put, site_of, tiny_card
from support.exports import SEQUENCE
from support.slots import both_cards, raw_bytes, raw_card

from archive.model.entry import PAIRING, Change, Draft
from archive.model.results import IngestReport
from archive.store.digest import digest_at
from archive.workspace import Workspace, open_archive

JPEG, RAW = "DCIM/100NOCTU/NOCT0003.JPG", "DCIM/100NOCTU/NOCT0003.DNG"


def take(workspace: Workspace, card: Path) -> IngestReport:
    (report,) = workspace.ingest.take([card], site=site_of(workspace))
    return report


def names(workspace: Workspace) -> list[str]:
    return [line.frame.name for line in workspace.frames("2026-03-18")]


def pairings(root: Path) -> int:
    return len(list((root / "journal").rglob("*-pairing-*.json")))


def rebuilt(workspace: Workspace) -> bool:
    """Whether a catalogue made anew is the same one, row by row."""
    before = workspace.books.catalogue.dump()
    workspace.custody.rebuild(lambda *_: None)
    after = workspace.books.catalogue.dump()
    return {k: v for k, v in after.items() if k != "fault"} == {
        k: v for k, v in before.items() if k != "fault"
    }


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    return archive_in(tmp_path / "a")


@pytest.mark.parametrize("order", ["jpeg first", "raw first"])
def test_both_cards_are_one_sequence_of_raw_frames_in_either_order(
    workspace: Workspace, tmp_path: Path, order: str
) -> None:
    cards = both_cards(tmp_path)
    for card in cards if order == "jpeg first" else reversed(cards):
        take(workspace, card)
    assert names(workspace) == [f"NOCT000{number}.DNG" for number in range(1, 7)]
    (line,) = workspace.sequences()
    assert (line.address, line.frames) == (SEQUENCE, 6)
    assert [line.address for line in workspace.frames(SEQUENCE)] == [f"{SEQUENCE}#{n}" for n in range(1, 7)]
    assert pairings(tmp_path / "a") == 1
    story = workspace.story(f"{SEQUENCE}#3")
    assert story.companions == (("100NOCTU/NOCT0003.JPG", "picture"),)
    assert rebuilt(workspace)


def test_decisions_on_the_jpeg_follow_to_the_raw_frame(workspace: Workspace, tmp_path: Path) -> None:
    jpegs, raws = both_cards(tmp_path)
    take(workspace, jpegs)
    workspace.statements.rate([f"{SEQUENCE}#3"], 5)
    workspace.statements.keyword([f"{SEQUENCE}#3"], "ice", on=True)
    workspace.recipes.set(f"{SEQUENCE}#3", ["exposure.stops=0.5"])
    workspace.recipes.carry(f"{SEQUENCE}#3", SEQUENCE)
    companion = digest_at(jpegs / JPEG)
    take(workspace, raws)
    line = workspace.frames(f"{SEQUENCE}#3")[0]
    assert line.frame.id == digest_at(raws / RAW)
    assert (line.rating, line.keywords, line.versions, line.contested) == (5, ("ice",), 2, False)
    recipe = workspace.recipes.effective(line.frame, in_sequence=False)
    assert recipe.base[0].values == {"stops": 0.5}
    beside = workspace.frame(f"{SEQUENCE}#4")
    assert workspace.recipes.effective(beside, in_sequence=True).base[0].values == {"stops": 0.5}
    assert workspace.frame(companion.removeprefix("xxh128:")).id == line.frame.id
    assert rebuilt(workspace)


def test_later_decisions_on_the_frame_outweigh_those_on_its_jpeg(
    workspace: Workspace, tmp_path: Path
) -> None:
    jpegs, raws = both_cards(tmp_path)
    take(workspace, jpegs)
    workspace.statements.rate([f"{SEQUENCE}#3"], 2)
    workspace.recipes.set(f"{SEQUENCE}#3", ["exposure.stops=0.5"])
    take(workspace, raws)
    workspace.statements.rate([f"{SEQUENCE}#3"], 4)
    workspace.recipes.set(f"{SEQUENCE}#3", ["exposure.stops=1"])
    line = workspace.frames(f"{SEQUENCE}#3")[0]
    assert (line.rating, line.contested) == (4, False)
    assert workspace.recipes.effective(line.frame, in_sequence=False).base[0].values == {"stops": 1}
    assert len(workspace.recipes.history(f"{SEQUENCE}#3")) == 2


def test_a_title_and_breaks_said_of_the_jpegs_are_the_raw_sequences(
    workspace: Workspace, tmp_path: Path
) -> None:
    jpegs, raws = tiny_card(tmp_path / "jpeg", 12), raw_card(tmp_path / "raw", 12)
    take(workspace, jpegs)
    workspace.sequencing.title(SEQUENCE, "Corona")
    workspace.sequencing.break_before(f"{SEQUENCE}#7")
    before = [(line.address, line.frames, line.title) for line in workspace.sequences()]
    assert [frames for _, frames, _ in before] == [6, 6]
    take(workspace, raws)
    assert [(line.address, line.frames, line.title) for line in workspace.sequences()] == before
    assert names(workspace)[0].endswith(".DNG")
    assert rebuilt(workspace)


def test_a_picture_made_of_the_jpeg_is_stale_and_can_be_made_again_exactly(
    workspace: Workspace, tmp_path: Path
) -> None:
    jpegs, raws = both_cards(tmp_path)
    take(workspace, jpegs)
    report = workspace.exports.export(f"{SEQUENCE}#3", "still-web")
    (made,) = report.files
    path = tmp_path / "a" / made.path
    bytes_before = path.read_bytes()
    take(workspace, raws)
    (stale,) = workspace.exports.stale()
    assert (stale.state, stale.reason) == ("stale", "the raw file of its frame came in after it was made")
    path.unlink()
    (again,) = workspace.exports.regenerate([made.path], current=False)
    assert [file.state for file in again.files] == ["made"]
    assert path.read_bytes() == bytes_before
    answer = workspace.exports.lineage(str(path))
    assert [item.name for item in answer.inputs] == ["NOCT0003.JPG"]


@pytest.mark.parametrize(
    "other",
    ["another body", "another second", "another name", "another exposure", "no serial", "no DCF name"],
)
def test_what_is_in_doubt_stays_apart(workspace: Workspace, tmp_path: Path, other: str) -> None:
    serial = "000999" if other == "another body" else "0" if other == "no serial" else "000417"
    taken = BEGIN + timedelta(seconds=1 if other == "another second" else 0)
    name = {"another name": "NOCT0002", "no DCF name": "PICTURE"}.get(other, "NOCT0001")
    exposure = 4 if other == "another exposure" else 8
    jpeg_name = "PICTURE" if other == "no DCF name" else "NOCT0001"
    one = put(
        tmp_path / "jpeg",
        f"DCIM/{jpeg_name}.JPG",
        jpeg(1, taken=BEGIN, serial="0" if serial == "0" else "000417"),
    )
    put(tmp_path / "raw", f"DCIM/{name}.DNG", raw_bytes(1, taken, serial=serial, exposure_s=exposure))
    take(workspace, one.parents[1])
    take(workspace, tmp_path / "raw")
    assert len(names(workspace)) == 2
    assert pairings(tmp_path / "a") == 0


def test_two_raw_files_of_one_name_and_time_are_not_chosen_between(
    workspace: Workspace, tmp_path: Path
) -> None:
    put(tmp_path / "jpeg", "DCIM/NOCT0001.JPG", jpeg(1, taken=BEGIN))
    put(tmp_path / "raw", "DCIM/100NOCTU/NOCT0001.DNG", raw_bytes(1, BEGIN))
    put(tmp_path / "raw", "DCIM/101NOCTU/NOCT0001.DNG", raw_bytes(2, BEGIN))
    take(workspace, tmp_path / "jpeg")
    take(workspace, tmp_path / "raw")
    assert len(names(workspace)) == 3


def test_both_slots_copied_into_one_folder_tree_are_paired_too(workspace: Workspace, tmp_path: Path) -> None:
    jpegs, raws = both_cards(tmp_path)
    shutil.copytree(jpegs, tmp_path / "all/slot 1")
    shutil.copytree(raws, tmp_path / "all/slot 2")
    take(workspace, tmp_path / "all")
    assert names(workspace) == [f"NOCT000{number}.DNG" for number in range(1, 7)]


def test_a_heif_between_raw_and_jpeg_hands_its_jpeg_on(workspace: Workspace, tmp_path: Path) -> None:
    for card, name, data in (
        ("one", "NOCT0001.JPG", jpeg(1, taken=BEGIN)),
        # A picture that is no JPEG by its name: content decides only what is no picture.
        ("two", "NOCT0001.TIF", raw_bytes(2, BEGIN)),
        ("three", "NOCT0001.DNG", raw_bytes(3, BEGIN)),
    ):
        put(tmp_path / card, f"DCIM/100NOCTU/{name}", data)
    take(workspace, tmp_path / "one")
    workspace.statements.rate(["NOCT0001"], 3)
    take(workspace, tmp_path / "two")
    assert names(workspace) == ["NOCT0001.TIF"]
    take(workspace, tmp_path / "three")
    (line,) = workspace.frames("2026-03-18")
    assert (line.frame.name, line.rating) == ("NOCT0001.DNG", 3)
    assert [path for path, _ in workspace.story("NOCT0001").companions] == [
        "100NOCTU/NOCT0001.JPG",
        "100NOCTU/NOCT0001.TIF",
    ]
    assert rebuilt(workspace)


def test_a_pairing_taken_back_gives_both_frames_back_and_is_not_made_again(
    workspace: Workspace, tmp_path: Path
) -> None:
    jpegs, raws = both_cards(tmp_path, 1)
    take(workspace, jpegs)
    workspace.statements.rate(["NOCT0001"], 3)
    take(workspace, raws)
    companion = digest_at(jpegs / "DCIM/100NOCTU/NOCT0001.JPG")
    change = Change(subjects=(companion,), layer=PAIRING, value=None)
    workspace.books.state(Draft(kind=PAIRING, changes=(change,)))
    assert {line.frame.name: line.rating for line in workspace.frames("2026-03-18")} == {
        "NOCT0001.JPG": 3,
        "NOCT0001.DNG": 0,
    }
    assert rebuilt(workspace)
    put(raws, "DCIM/100NOCTU/NOCT0002.DNG", raw_bytes(2, BEGIN + timedelta(seconds=10)))
    take(workspace, raws)
    assert "NOCT0001.JPG" in names(workspace)


def test_the_journals_entries_give_the_same_frames_in_any_order(workspace: Workspace, tmp_path: Path) -> None:
    from support.builders import memory_catalogue

    jpegs, raws = both_cards(tmp_path, 5)
    take(workspace, jpegs)
    workspace.statements.rate(["NOCT0002"], 4)
    take(workspace, raws)
    entries = list(workspace.books.log.read_new(set()))
    kinds = {"ingest", "pairing", "rating", "sequence"}
    moving = [entry for entry in entries if entry.kind in kinds]  # type: ignore[union-attr]
    still = [entry for entry in entries if entry.kind not in kinds]  # type: ignore[union-attr]
    seen = set()
    for order in list(itertools.permutations(moving))[::15]:
        catalogue = memory_catalogue()
        catalogue.apply(still)
        for entry in order:
            catalogue.apply([entry])
        frames = catalogue.frames(night="2026-03-18")
        ids = [frame.id for frame in frames]
        told = [(f.name, f.sequence, f.index) for f in frames], catalogue.stated_about(ids, "rating")
        seen.add(repr(told))
    assert len(seen) == 1
    assert "NOCT0001.DNG" in seen.pop()


def test_a_pairing_waits_for_its_frame(workspace: Workspace, tmp_path: Path) -> None:
    jpegs, raws = both_cards(tmp_path, 1)
    take(workspace, jpegs)
    companion = digest_at(jpegs / "DCIM/100NOCTU/NOCT0001.JPG")
    frame = digest_at(raws / "DCIM/100NOCTU/NOCT0001.DNG")
    change = Change(subjects=(companion,), layer=PAIRING, value={"frame": frame})
    workspace.books.state(Draft(kind=PAIRING, changes=(change,)))
    assert names(workspace) == ["NOCT0001.JPG"]
    take(workspace, raws)
    assert names(workspace) == ["NOCT0001.DNG"]
    assert pairings(tmp_path / "a") == 1
    workspace.close()
    with open_archive(tmp_path / "a") as again:
        assert names(again) == ["NOCT0001.DNG"]


def test_raw_and_jpeg_that_two_copies_took_in_apart_are_one_frame_once_they_are_united(
    workspace: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    jpegs, raws = both_cards(tmp_path / "cards")
    workspace.close()
    open_archive(tmp_path / "a", also=[tmp_path / "b"]).close()
    workspace = open_archive(tmp_path / "a", person="Ingrid")
    with monkeypatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        other = open_archive(tmp_path / "b", person="Ragna")
    take(other, raws)
    take(workspace, jpegs)
    workspace.statements.rate(["NOCT0003.JPG"], 4)
    assert workspace.unite(tmp_path / "b").done
    assert names(workspace) == [f"NOCT{number:04d}.DNG" for number in range(1, 7)]
    assert pairings(tmp_path / "a") == 1
    assert workspace.frames("NOCT0003.DNG")[0].rating == 4
    other.unite(tmp_path / "a")
    assert (names(other), pairings(tmp_path / "b")) == (names(workspace), 1)
    assert workspace.unite(tmp_path / "b").entries == 0
    assert rebuilt(workspace)
    workspace.close()
    other.close()


def test_a_raw_file_that_stays_in_an_archive_begun_apart_does_not_take_a_jpegs_place(
    workspace: Workspace, tmp_path: Path
) -> None:
    jpegs, raws = both_cards(tmp_path / "cards")
    other = archive_in(tmp_path / "b", "GREEN")
    take(other, raws)
    take(workspace, jpegs)
    assert workspace.unite(tmp_path / "b").done is False
    assert workspace.unite(tmp_path / "b", different=True).done
    assert pairings(tmp_path / "a") == 0
    assert workspace.books.master_bytes(workspace.frame("NOCT0003.JPG")).startswith(b"\xff\xd8")
    workspace.close()
    other.close()


def test_what_came_by_another_volume_is_paired_when_the_archive_is_next_opened(
    workspace: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    jpegs, raws = both_cards(tmp_path / "cards")
    workspace.close()
    open_archive(tmp_path / "a", also=[tmp_path / "b"]).close()
    with monkeypatch.context() as patch:
        # On another machine, which does not know where the first volume lies.
        patch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        with open_archive(tmp_path / "b", person="Ragna") as other:
            take(other, raws)
    (tmp_path / "b").rename(tmp_path / "away")
    with open_archive(tmp_path / "a", person="Ingrid") as alone:
        take(alone, jpegs)
        alone.statements.rate(["NOCT0003.JPG"], 4)
    (tmp_path / "away").rename(tmp_path / "b")
    with open_archive(tmp_path / "a", person="Ingrid") as both:
        assert names(both) == [f"NOCT{number:04d}.DNG" for number in range(1, 7)]
        assert both.frames("NOCT0003.DNG")[0].rating == 4
    for _ in range(2):
        assert pairings(tmp_path / "a") == 1
        open_archive(tmp_path / "a").close()


def test_masters_copied_from_an_archive_begun_apart_are_paired_once_they_are_here(
    workspace: Workspace, tmp_path: Path
) -> None:
    jpegs, raws = both_cards(tmp_path / "cards")
    other = archive_in(tmp_path / "b", "GREEN")
    take(other, raws)
    other.close()
    take(workspace, jpegs)
    workspace.unite(tmp_path / "b", different=True)
    workspace.close()
    shutil.copytree(tmp_path / "b/masters", tmp_path / "a/masters", dirs_exist_ok=True)
    with open_archive(tmp_path / "a") as again:
        assert names(again) == [f"NOCT{number:04d}.DNG" for number in range(1, 7)]
    assert pairings(tmp_path / "a") == 1
