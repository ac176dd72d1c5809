"""Surveying an archive: once, resumable, on every volume, whatever fails."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest
from support.cards import archive_in, site_of, spoil
from support.exports import SEQUENCE, Studio, studio
from support.rawcard import HEIGHT, WIDTH, level, raw_card

from archive.engine import surveyor
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.output import encode_jpeg
from archive.engine.surveyor import Look
from archive.errors import ArchiveError, DamagedFileError, Exit
from archive.survey import run
from archive.survey.pictures import preview_picture
from archive.survey.records import seen_of
from archive.workspace import open_archive


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def quiet(_stage: str, _done: int, _total: int) -> None:
    pass


def contents(root: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted((root / "survey").rglob("*"))
        if path.is_file()
    }


def test_every_frame_is_measured_once_and_the_records_are_read_only(place: Studio) -> None:
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.held, report.exit_code) == (6, 0, Exit.DONE)
    held = contents(place.root)
    assert [path.rpartition(".")[2] for path in held].count("jpg") == 6
    assert [path.rpartition(".")[2] for path in held].count("json") == 1
    assert not any((place.root / path).stat().st_mode & 0o222 for path in held)
    again = place.workspace.survey.run(SEQUENCE, progress=quiet)
    assert (again.measured, again.held) == (0, 6)
    assert contents(place.root) == held


def test_stopped_half_way_it_goes_on_and_ends_with_the_same_measures(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "MOST_FRAMES", 2)
    written = run.write_survey
    calls = 0

    def stopping(*args: object) -> None:
        nonlocal calls
        calls += 1
        if calls >= 2:
            raise KeyboardInterrupt
        written(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(run, "write_survey", stopping)
    with pytest.raises(KeyboardInterrupt):
        place.workspace.survey.run(progress=quiet)
    monkeypatch.setattr(run, "write_survey", written)
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.held) == (4, 2)
    (told,) = place.workspace.survey.told(SEQUENCE)
    assert (len(told.lines), told.unseen) == (6, 0)
    assert not list((place.root / "incoming").glob("survey-*.part"))


def test_ctrl_c_keeps_what_was_measured_before_it(place: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    """Up to 63 measured frames, that waited to be written together, were dropped."""

    def stopping(stage: str, done: int, _total: int) -> None:
        if stage == "Surveying" and done == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        place.workspace.survey.run(progress=stopping)
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.held) == (2, 4)
    assert place.workspace.custody.audit(quiet).findings == ()


def test_a_master_that_is_damaged_costs_one_frame_and_is_tried_again(place: Studio) -> None:
    master = place.master("NOCT0003.JPG")
    whole = master.read_bytes()
    master.chmod(0o600)
    master.write_bytes(whole[:-9])
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.exit_code) == (5, Exit.ATTENTION)
    (note,) = report.failed
    assert note.path.endswith("NOCT0003.JPG")
    assert place.workspace.survey.told(SEQUENCE)[0].unseen == 1
    master.write_bytes(whole)
    assert place.workspace.survey.run(progress=quiet).measured == 1


def test_records_reach_a_volume_that_comes_later_and_masters_are_not_needed_for_it(
    place: Studio, tmp_path: Path
) -> None:
    place.workspace.survey.run(progress=quiet)
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "red"], person="Ingrid") as both:
        report = both.survey.run(progress=quiet)
        assert (report.measured, report.copied) == (0, 1)
        assert contents(tmp_path / "red") == contents(place.root)
        # The catalogue was rebuilt and the masters are away: the night is still told.
        for master in (place.root / "masters").rglob("*.JPG"):
            master.unlink()
        both.books.rebuild()
        assert len(both.survey.told(SEQUENCE)[0].lines) == 6


def test_measures_are_a_function_of_the_bytes(place: Studio, tmp_path: Path) -> None:
    place.workspace.survey.run(progress=quiet)
    first = contents(place.root)
    for path in sorted((place.root / "survey").rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    place.workspace.survey.run(progress=quiet)
    assert contents(place.root) == first
    assert surveyor.SIDE == 1024


def preview_jpeg(width: int, height: int) -> bytes:
    """A picture that no mosaic here gives: red left, blue right."""
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[:, : width // 2, 0] = pixels[:, width // 2 :, 2] = 200
    return encode_jpeg(pixels)


@pytest.mark.parametrize(
    ("size", "origin"),
    [((WIDTH, HEIGHT), "embedded"), ((WIDTH - 2, HEIGHT), "rendered"), ((2 * WIDTH, HEIGHT), "rendered")],
    ids=["as large", "too small", "other shape"],
)
def test_a_preview_in_a_raw_file_is_used_where_it_shows_the_frame_large_enough(
    tmp_path: Path, size: tuple[int, int], origin: str
) -> None:
    card = raw_card(tmp_path / "card", [level(0.1)], preview=(preview_jpeg(*size), size))
    workspace = archive_in(tmp_path / "a")
    workspace.ingest.take([card], site=site_of(workspace))
    assert workspace.survey.run(progress=quiet).measured == 1
    (frame,) = workspace.books.catalogue.frames()
    seen = seen_of(workspace.books, [frame])[frame.id]
    assert seen.surveyed.preview_from == origin
    picture = preview_picture(workspace.books, seen)
    reddish = int(picture[HEIGHT // 2, WIDTH // 4, 0]) - int(picture[HEIGHT // 2, WIDTH // 4, 2])
    assert (reddish > 100) == (origin == "embedded")
    # Light is measured in the frame itself, whatever its preview shows.
    assert seen.surveyed.measures.brightness == pytest.approx(np.log2(0.1), abs=0.01)
    workspace.close()


def test_a_broken_preview_in_a_raw_file_costs_nothing(tmp_path: Path) -> None:
    data = bytearray(preview_jpeg(WIDTH, HEIGHT))
    data[data.index(b"\xff\xc4") + 5] ^= 0xFF
    card = raw_card(tmp_path / "card", [level(0.1)], preview=(bytes(data), (WIDTH, HEIGHT)))
    workspace = archive_in(tmp_path / "a")
    workspace.ingest.take([card], site=site_of(workspace))
    report = workspace.survey.run(progress=quiet)
    assert (report.measured, report.failed) == (1, ())
    workspace.close()


def test_a_preview_that_crashes_its_decoder_costs_no_frame(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = raw_card(tmp_path / "card", [level(0.1)], preview=(preview_jpeg(WIDTH, HEIGHT), (WIDTH, HEIGHT)))
    workspace = archive_in(tmp_path / "a")
    workspace.ingest.take([card], site=site_of(workspace))
    decode = DecoderPool.decode

    def crashing(pool: DecoderPool, data: bytes, name: str, **asked: int) -> Decoded:
        if asked.get("preview"):
            raise DamagedFileError(f"{name} could not be decoded: the decoder crashed on it.")
        return decode(pool, data, name, **asked)

    monkeypatch.setattr(DecoderPool, "decode", crashing)
    report = workspace.survey.run(progress=quiet)
    assert (report.measured, report.failed) == (1, ())
    workspace.close()


def test_a_fault_of_our_own_costs_one_frame_and_is_told_once_the_others_are_measured(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    met = []
    decode = DecoderPool.decode

    def faulty(pool: DecoderPool, data: bytes, name: str, **asked: int) -> Decoded:
        met.append(name)
        if name == met[0]:
            raise ZeroDivisionError("ours")
        return decode(pool, data, name, **asked)

    with monkeypatch.context() as broken:
        broken.setattr(DecoderPool, "decode", faulty)
        with pytest.raises(ZeroDivisionError, match="ours") as caught:
            place.workspace.survey.run(progress=quiet)
    assert caught.value.__notes__ == ["1 of 6 frames met a fault of the program; the others were measured."]
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.held) == (1, 5)


def test_records_go_to_volumes_that_are_only_found_beside_too(place: Studio, tmp_path: Path) -> None:
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "GREEN"]):
        pass
    with open_archive(place.root) as workspace:
        assert [volume.root.name for volume in workspace.books.beside] == ["GREEN"]
        workspace.survey.run(progress=quiet)
        assert contents(tmp_path / "GREEN") == contents(place.root) != {}
        shutil.rmtree(place.root / "survey")
        (told,) = workspace.survey.told(SEQUENCE)
        assert (len(told.lines), told.unseen) == (6, 0)


def test_a_volume_beside_that_cannot_be_written_is_told_and_stops_nothing(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "GREEN"]):
        pass
    with open_archive(place.root) as workspace:
        (beside,) = workspace.books.beside

        def refused(_name: str, _purpose: str) -> AbstractContextManager[None]:
            raise ArchiveError("GREEN cannot be written: read-only.")

        monkeypatch.setattr(beside.disk, "lock", refused)
        report = workspace.survey.run(progress=quiet)
        assert (report.measured, len(report.failed)) == (6, 1)
        assert "read-only" in report.failed[0].text
        assert contents(tmp_path / "GREEN") == {}


def test_frames_are_looked_at_side_by_side_on_every_processor(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    together = Barrier(3)
    looked = run.look

    def meeting(*args: object) -> Look:
        # Nobody goes on before three have come: one after the other it would never end well.
        together.wait(timeout=60)
        return looked(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(run, "_processors", lambda: 3)
    monkeypatch.setattr(run, "look", meeting)
    report = place.workspace.survey.run(progress=quiet)
    assert (report.measured, report.failed) == (6, ())


def test_a_damaged_document_gives_way_to_the_one_that_is_measured_again(place: Studio) -> None:
    place.workspace.survey.run(progress=quiet)
    held = contents(place.root)
    (document,) = (place.root / "survey").rglob("measures-*.json")
    spoil(document)
    assert place.workspace.survey.run(progress=quiet).measured == 6
    assert contents(place.root) == held
