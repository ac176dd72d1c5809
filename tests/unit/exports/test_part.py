from __future__ import annotations

from collections.abc import Iterator

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import ArchiveError, Exit, UsageError
from archive.model.entry import OWN, Change, Draft


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("part"))
    yield made
    made.workspace.close()


def contest(place: Studio, name: str) -> None:
    """Save two versions that know nothing of each other, as two machines would."""
    workspace = place.workspace
    frame = workspace.frame(name)
    workspace.recipes.set(name, ["exposure.stops=0.25"])
    (own,) = workspace.recipes.standing(frame).own
    value = {"recipe": own.recipe.to_json(), "in_sequence": False, "note": "elsewhere"}
    value["recipe"]["base"][0]["values"]["stops"] = 1.0  # type: ignore[index]
    change = Change(subjects=(frame.id,), layer=OWN, line="main", builds_on=own.builds_on, value=value)
    workspace.books.state(Draft(kind="recipe", changes=(change,)))


def test_of_contested_recipes_the_newest_is_used_and_told(place: Studio) -> None:
    contest(place, f"{SEQUENCE}#6")
    report = place.export(f"{SEQUENCE}#6", "still-web")
    assert report.contested == ("NOCT0006.JPG",)
    assert report.exit_code is Exit.ATTENTION
    answer = place.workspace.exports.lineage(str(place.path(report)))
    assert "1" in answer.inputs[0].recipe[0]
    assert "0.25" not in answer.inputs[0].recipe[0]
    assert (answer.state or "").startswith("contested")


def test_contested_recipes_are_refused_when_strict(place: Studio) -> None:
    contest(place, f"{SEQUENCE}#5")
    with pytest.raises(ArchiveError) as caught:
        place.export(f"{SEQUENCE}#5", "still-print", strict=True)
    assert "NOCT0005.JPG" in caught.value.message
    assert caught.value.exit_code is Exit.REFUSED
    place.workspace.recipes.set(f"{SEQUENCE}#5", ["exposure.stops=0.5"])
    assert place.export(f"{SEQUENCE}#5", "still-print", strict=True).exit_code is Exit.DONE


def test_an_own_version_is_in_movies_only_if_saved_for_them(place: Studio) -> None:
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1"])
    plain = place.workspace.exports.lineage(str(place.path(place.export(SEQUENCE, "movie-hd"))))
    assert plain.inputs[0].recipe == ()
    place.workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=1"], in_sequence=True)
    own = place.workspace.exports.lineage(str(place.path(place.export(SEQUENCE, "movie-hd"))))
    assert len(own.inputs[0].recipe) == 1


def test_unknown_specs_and_frames_are_refused(place: Studio) -> None:
    with pytest.raises(UsageError, match="no spec called poster"):
        place.export(f"{SEQUENCE}#1", "poster")
    with pytest.raises(UsageError, match="No frame matches"):
        place.export("NOCT9999.JPG", "still-web")
    with pytest.raises(UsageError, match="more frames than there are"):
        place.export(f"{SEQUENCE}#5..70", "set-hd")
