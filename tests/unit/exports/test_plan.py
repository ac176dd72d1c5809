from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.cards import archive_in, site_of, tiny_card
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.resolve import find
from archive.engine.foundation import current_foundation
from archive.errors import ArchiveError, UsageError
from archive.exports.plan import Plan, make_plan, recorded_plan, without
from archive.exports.specs import spec_named


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("plan"))
    yield made
    made.workspace.close()


def plan(place: Studio, name: str, spec: str) -> Plan:
    found = find(place.workspace.books.catalogue, name)
    return make_plan(
        place.workspace.books, found.frames, found.sequence, spec_named(spec), current_foundation()
    )


def test_a_still_lies_by_night_and_camera_and_carries_its_key(place: Studio) -> None:
    (file,) = plan(place, f"{SEQUENCE}#2", "still-web").files
    key = file.file_key.removeprefix("sha256:")[:8]
    assert file.path == f"exports/2026-03-18/one/NOCT0002-still-web-{key}.jpg"


def test_a_set_has_a_file_for_each_frame_in_one_folder_of_its_key(place: Studio) -> None:
    files = plan(place, SEQUENCE, "set-hd").files
    assert len(files) == 6
    folders = {file.path.rpartition("/")[0] for file in files}
    assert len(folders) == 1
    assert folders.pop().startswith("exports/2026-03-18/one-1/set-hd-")
    assert [file.path.rpartition("/")[2] for file in files][:2] == ["0001-NOCT0001.jpg", "0002-NOCT0002.jpg"]


def test_a_movie_is_one_file_of_all_frames(place: Studio) -> None:
    (file,) = plan(place, SEQUENCE, "movie-hd").files
    assert len(file.inputs) == 6
    assert file.path.startswith("exports/2026-03-18/one-1/movie-hd-")


def test_the_same_question_has_the_same_plan_and_another_recipe_another(tmp_path: Path) -> None:
    place = studio(tmp_path)
    name = f"{SEQUENCE}#3"
    before = plan(place, name, "still-web")
    assert plan(place, name, "still-web").key == before.key
    place.workspace.recipes.set(name, ["exposure.stops=0.5"])
    after = plan(place, name, "still-web")
    assert after.key != before.key
    assert after.files[0].path != before.files[0].path
    assert after.files[0].document_id == before.files[0].document_id
    assert after.files[0].instance_id("j") != before.files[0].instance_id("j")
    place.workspace.close()


def test_a_movie_without_a_lost_frame_is_another_file(place: Studio) -> None:
    (file,) = plan(place, SEQUENCE, "movie-hd").files
    assert without(file, []) is file
    shorter = without(file, [file.inputs[2].frame.id])
    assert len(shorter.inputs) == 5
    assert shorter.file_key != file.file_key
    assert shorter.path != file.path
    assert shorter.document_id != file.document_id


def test_a_movie_of_one_frame_is_refused(place: Studio) -> None:
    with pytest.raises(UsageError, match="movie-hd is made of a sequence"):
        plan(place, f"{SEQUENCE}#1", "movie-hd")


def test_a_derivative_of_a_frame_that_is_not_held_cannot_be_planned(tmp_path: Path) -> None:
    from support.builders import frame_id

    from archive.catalogue.lineage import derivatives, effectives

    place = studio(tmp_path)
    place.export(f"{SEQUENCE}#1", "still-web")
    books = place.workspace.books
    (made,) = derivatives(books.catalogue)
    recipes = effectives(books.catalogue, [origin.effective for origin in made.origins])
    again = recorded_plan(books, made, recipes)
    assert (again.path, again.file_key) == (made.path, made.file_key)
    foreign = replace(made, origins=tuple(replace(o, frame=frame_id(77)) for o in made.origins))
    with pytest.raises(ArchiveError, match="not held here"):
        recorded_plan(books, foreign, recipes)
    place.workspace.close()


def test_a_set_of_several_cameras_is_refused(tmp_path: Path) -> None:
    workspace = archive_in(tmp_path / "archive")
    for model in ("One", "Two"):
        card = tiny_card(tmp_path / model, 6, model=model, serial=f"0000{model}")
        workspace.ingest.take([card], site=site_of(workspace))
    with pytest.raises(UsageError, match="one camera's frames"):
        workspace.exports.export("2026-03-18", "set-hd")
    workspace.close()
