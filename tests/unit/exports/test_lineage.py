from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from support.cards import jpeg, put, site_of, wav
from support.exports import SEQUENCE, Studio, studio

from archive.engine.foundation import GENERATION
from archive.errors import UsageError


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("lineage"))
    put(made.card, "DCIM/100NOCTU/NOCT0004.WAV", wav())
    made.workspace.ingest.take([made.card], site=site_of(made.workspace))
    made.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=0.5"])
    made.export(f"{SEQUENCE}#1", "still-web")
    made.export(f"{SEQUENCE}#1", "still-print")
    made.export(SEQUENCE, "movie-hd")
    yield made
    made.workspace.close()


def derivative(place: Studio, ending: str) -> Path:
    (path,) = (place.root / "exports").rglob(f"*.{ending}")
    return path


@pytest.mark.parametrize("ending", ["jpg", "tif", "mp4"])
def test_a_renamed_file_is_found_by_its_bytes(place: Studio, tmp_path: Path, ending: str) -> None:
    moved = tmp_path / f"holiday.{ending}"
    shutil.copy(derivative(place, ending), moved)
    answer = place.workspace.exports.lineage(str(moved))
    assert answer.certainty == "certain: byte for byte"
    assert answer.path == str(derivative(place, ending).relative_to(place.root))
    assert answer.inputs[0].name == "NOCT0001.JPG"
    assert len(answer.inputs) == (6 if ending == "mp4" else 1)
    assert answer.inputs[0].master.startswith("masters/2026-03-18/one-")
    assert answer.inputs[0].master.endswith("on BLUE")
    assert answer.state == "fresh"


def test_the_recipe_behind_a_file_is_told_in_words(place: Studio) -> None:
    answer = place.workspace.exports.lineage(str(derivative(place, "jpg")))
    assert len(answer.inputs[0].recipe) == 1
    assert "0.5" in answer.inputs[0].recipe[0]
    assert len(answer.inputs[0].versions) == 1
    assert answer.generation == GENERATION


def test_a_file_that_other_software_saved_again_is_found_by_the_id_inside(
    place: Studio, tmp_path: Path
) -> None:
    saved = tmp_path / "saved-again.jpg"
    with Image.open(derivative(place, "jpg")) as picture:
        picture.save(saved, "JPEG", quality=60, xmp=picture.info["xmp"])
    answer = place.workspace.exports.lineage(str(saved))
    assert answer.found_by == "the instance id inside it"
    assert answer.path == str(derivative(place, "jpg").relative_to(place.root))


def test_a_master_and_a_copy_of_it_are_found_with_what_was_made_of_them(
    place: Studio, tmp_path: Path
) -> None:
    copy = tmp_path / "anything.bin"
    shutil.copy(place.master("NOCT0001.JPG"), copy)
    answer = place.workspace.exports.lineage(str(copy))
    assert answer.certainty == "certain: a master"
    assert {Path(path).suffix for path in answer.outputs} == {".jpg", ".tif", ".mp4"}


def test_a_companion_leads_to_its_frame(place: Studio) -> None:
    answer = place.workspace.exports.lineage(str(place.card / "DCIM/100NOCTU/NOCT0004.WAV"))
    assert answer.certainty == "certain: a companion of this frame"
    assert [item.name for item in answer.inputs] == ["NOCT0004.JPG"]
    assert len(answer.outputs) == 1


def test_a_frame_and_a_sequence_are_asked_by_name(place: Studio) -> None:
    assert len(place.workspace.exports.lineage(f"{SEQUENCE}#1").outputs) == 3
    answer = place.workspace.exports.lineage(SEQUENCE)
    assert len(answer.inputs) == 6
    assert len(answer.outputs) == 3


def test_the_path_on_record_is_enough_even_when_the_file_is_gone(place: Studio) -> None:
    recorded = str(derivative(place, "jpg").relative_to(place.root))
    assert place.workspace.exports.lineage(recorded).path == recorded


def test_a_strange_file_is_not_known(place: Studio, tmp_path: Path) -> None:
    strange = tmp_path / "strange\x1b.jpg"
    strange.write_bytes(jpeg(99))
    with pytest.raises(UsageError) as caught:
        place.workspace.exports.lineage(str(strange))
    assert "strange\\x1b.jpg is not known here" in caught.value.message


def test_a_file_with_a_broken_packet_is_not_known(place: Studio, tmp_path: Path) -> None:
    broken = tmp_path / "broken.jpg"
    data = derivative(place, "jpg").read_bytes()
    at = data.index(b"<x:xmpmeta")
    broken.write_bytes(data[: at + 20] + b"<<<<" + data[at + 24 :])
    with pytest.raises(UsageError, match="not known here"):
        place.workspace.exports.lineage(str(broken))


def test_no_file_carries_a_path_a_serial_or_an_owner(place: Studio) -> None:
    for ending in ("jpg", "tif", "mp4"):
        data = derivative(place, ending).read_bytes()
        for secret in (str(place.root).encode(), b"000417", b"Ingrid", b"69.2"):
            assert secret not in data


def test_a_name_longer_than_any_file_s_is_no_frame(place: Studio) -> None:
    with pytest.raises(UsageError, match="No frame matches"):
        place.workspace.exports.lineage("x" * 300)
