from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.house import words
from archive.errors import ArchiveError, DamagedFileError, UsageError

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


EXAMPLES = sorted((Path(__file__).parents[3] / "examples" / "house-recipes").glob("*.json"))


def test_the_examples_are_there() -> None:
    assert len(EXAMPLES) >= 6


def test_every_example_is_kept_started_from_and_written_again(place: Studio, tmp_path: Path) -> None:
    house = place.workspace.recipes.house
    for number, path in enumerate(EXAMPLES, 1):
        recipe, entry = house.add(path)
        assert entry is not None
        assert house.add(path) == (recipe, None)
        assert len(recipe.about.split()) > 5
        frame = f"{SEQUENCE}#{number}"
        house.start(frame, recipe.name)
        effective = place.workspace.recipes.effective(place.workspace.frame(frame))
        assert {step.name: step for step in effective.base} == {step.name: step for step in recipe.base}
        assert len(effective.finish) == sum(item.on for item in recipe.finish or ())
        house.write(recipe.name, tmp_path / path.name)
        assert house.add(tmp_path / path.name) == (recipe, None)
    assert len(house.all()) == len(EXAMPLES)


def test_a_recipe_is_kept_from_a_frame_and_started_from_by_a_sequence(place: Studio) -> None:
    recipes = place.workspace.recipes
    with pytest.raises(UsageError, match="has no recipe to keep"):
        recipes.house.save(FRAME, "Quiet arc")
    recipes.set(FRAME, ["exposure.stops=0.5", "chroma.amount=0.1"])
    assert recipes.house.save(FRAME, "  Quiet   arc ", about="no moon") is not None
    assert recipes.house.save(FRAME, "Quiet arc", about="no moon") is None
    (line,) = recipes.house.all()
    assert (line.recipe.name, line.recipe.about) == ("Quiet arc", "no moon")
    assert line.words == ("chroma.amount +0.10; chroma.muted 0.00", "exposure +0.50 stops")
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.1", "#6=0.4"])
    saved = recipes.house.start(SEQUENCE, "QUIET arc", shared=True)
    assert "exposure.stops no longer ramps" in saved.words
    assert saved.frames == 6
    history = recipes.history(f"{SEQUENCE}#5")[1]
    assert history[0].version.note == "started from Quiet arc"


def test_what_a_house_recipe_does_not_say_stays(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    recipes.house.save(FRAME, "Half a stop")
    recipes.set(FRAME, ["exposure.stops=1", "crop.left=0.1"])
    recipes.finish.add(FRAME, "sharpness", ["amount=0.5"])
    recipes.house.start(FRAME, "Half a stop")
    effective = recipes.effective(place.workspace.frame(FRAME))
    assert [step.name for step in effective.base] == ["crop", "exposure"]
    assert effective.base[1].values["stops"] == 0.5
    assert [step.name for step in effective.finish] == ["sharpness"]


def test_a_removed_one_is_off_the_list_and_its_frames_keep_what_they_have(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    recipes.house.save(FRAME, "Half a stop")
    recipes.house.remove("half a stop")
    assert recipes.house.all() == []
    with pytest.raises(UsageError, match="no house recipe Half a stop") as caught:
        recipes.house.start(FRAME, "Half a stop")
    assert "none yet" in caught.value.hint
    assert recipes.effective(place.workspace.frame(FRAME)).base[0].values["stops"] == 0.5


ODD = (
    ('{"operator":"glow","version":1,"values":{}}', "no operator 'glow'"),
    ('{"operator":"exposure","version":1,"values":{"stops":99}}', "99 EV is outside"),
    ('{"operator":"exposure","version":7,"values":{}}', "no version 7"),
    ('{"operator":"exposure","version":1,"values":{"light":1}}', "no parameter 'light'"),
)


def test_a_document_with_what_is_not_known_here_is_refused_whole(place: Studio, tmp_path: Path) -> None:
    path = tmp_path / "odd.json"
    for base, words_of in ODD:
        path.write_text(f'{{"type":"noctuary-house-recipe","format":1,"name":"Odd","base":[{base}]}}')
        with pytest.raises(ArchiveError, match=words_of):
            place.workspace.recipes.house.add(path)
    assert place.workspace.recipes.house.all() == []


def test_a_step_that_is_no_finish_step_is_refused(place: Studio, tmp_path: Path) -> None:
    path = tmp_path / "odd.json"
    step = '{"id":"e","operator":"exposure","version":1,"values":{}}'
    path.write_text(f'{{"type":"noctuary-house-recipe","format":1,"name":"Odd","base":[],"finish":[{step}]}}')
    with pytest.raises(UsageError, match="exposure cannot be a finish step"):
        place.workspace.recipes.house.add(path)


def test_files_that_are_none_are_refused_and_none_is_written_over(place: Studio, tmp_path: Path) -> None:
    house = place.workspace.recipes.house
    with pytest.raises(UsageError, match="cannot be read"):
        house.add(tmp_path / "nowhere.json")
    (tmp_path / "text.json").write_text("no recipe")
    with pytest.raises(DamagedFileError):
        house.add(tmp_path / "text.json")
    house.add(EXAMPLES[0])
    with pytest.raises(UsageError, match="is there already"):
        house.write(house.all()[0].recipe.name, tmp_path / "text.json")
    assert (tmp_path / "text.json").read_text() == "no recipe"
    assert words(house.all()[0].recipe) == list(house.all()[0].words)
