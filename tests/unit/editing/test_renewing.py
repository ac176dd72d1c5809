"""Recipes of older releases, told and brought to this one."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio
from support.twins import doubled_exposure

from archive.editing import renewing
from archive.engine import foundation
from archive.engine.declaration import registry
from archive.errors import ArchiveError, UsageError
from archive.exports import part
from archive.model.recipe import OperatorValues
from archive.model.results import ExportReport

ONE = f"{SEQUENCE}#1"


@pytest.fixture
def twin() -> Iterator[None]:
    with doubled_exposure():
        yield


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio(tmp_path)


def refusal(report: ExportReport) -> str:
    return " ".join(note.text for note in report.lost_frames)


def test_a_recipe_is_offered_the_newer_version_in_words_and_takes_it_only_when_asked(
    place: Studio, request: pytest.FixtureRequest
) -> None:
    recipes = place.workspace.recipes
    recipes.set(ONE, ["exposure.stops=0.5"])
    file = place.path(place.export(ONE, "still-web"))
    before = file.read_bytes()
    assert recipes.renewing.pending(ONE) == ()
    request.getfixturevalue("twin")
    assert place.workspace.exports.stale() == []
    assert recipes.renewing.pending(ONE) == ("exposure version 1 → 2",)
    recipes.set(ONE, ["exposure.stops=0.75"])
    assert recipes.effective(place.workspace.frame(ONE)).base[0].version == 1
    (saved,) = recipes.renewing.renew(ONE)
    assert saved.words == ("exposure version 1 → 2",)
    (step,) = recipes.effective(place.workspace.frame(ONE)).base
    assert (step.version, step.values) == (2, {"stops": 0.75})
    assert recipes.renewing.renew(ONE) == []
    (line,) = place.workspace.exports.stale()
    assert "exposure version 1 → 2" in line.changes
    file.chmod(0o644)
    file.unlink()
    place.workspace.exports.regenerate([line.path])
    assert file.read_bytes() == before


def test_what_frames_share_is_renewed_in_one_entry_ramps_and_all(
    place: Studio, request: pytest.FixtureRequest
) -> None:
    recipes = place.workspace.recipes
    recipes.set(SEQUENCE, ["exposure.stops=0.5", "contrast.amount=0.1"], shared=True)
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.2", "#6=0.8"])
    request.getfixturevalue("twin")
    (saved,) = recipes.renewing.renew(SEQUENCE)
    assert saved.frames == 6
    last = {step.name: step for step in recipes.effective(place.workspace.frame(f"{SEQUENCE}#6")).base}
    assert (last["exposure"].version, last["exposure"].values["stops"]) == (2, pytest.approx(0.8))
    assert last["contrast"].version == 1


def test_a_version_that_is_gone_is_refused_by_name_and_nothing_is_changed(
    place: Studio, request: pytest.FixtureRequest
) -> None:
    request.getfixturevalue("twin")
    recipes = place.workspace.recipes
    recipes.set(ONE, ["exposure.stops=0.5"])
    del registry["exposure", 2]
    with pytest.raises(ArchiveError, match="exposure version 2") as caught:
        recipes.renewing.renew(ONE)
    assert "newer release" in caught.value.hint
    assert "exposure version 2" in refusal(place.export(ONE, "still-web"))


def test_another_generation_is_refused_by_name_with_the_way_on(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    recipes = place.workspace.recipes
    recipes.set(ONE, ["exposure.stops=0.5"])
    file = place.path(place.export(ONE, "still-web"))
    later = foundation.GENERATION + 1
    monkeypatch.setattr(foundation, "GENERATION", later)
    monkeypatch.setattr(part, "GENERATION", later)
    reopened = place.reopened()
    (line,) = reopened.workspace.exports.stale()
    assert line.state == "unmakeable"
    assert f"generation {later - 1} is not in this release" in line.reason
    assert "recipe renew" in line.reason
    file.chmod(0o644)
    file.unlink()
    (report,) = reopened.workspace.exports.regenerate([line.path])
    assert f"generation {later - 1}" in refusal(report)
    assert "recipe renew" in refusal(report)
    (saved,) = reopened.workspace.recipes.renewing.renew(ONE)
    assert saved.words == (f"engine generation {later - 1} → {later}",)
    assert reopened.export(ONE, "still-web").files[0].state == "made"


def test_a_ramp_that_the_newest_version_cannot_have_is_refused_before_anything_is_saved(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    recipes = place.workspace.recipes
    recipes.set(ONE, ["contrast.amount=0.1"])
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.2", "#6=0.8"])
    entries = place.entries("recipe")

    def another(old: OperatorValues) -> OperatorValues:
        return replace(old, version=2, values={"factor": 1.0}) if old.name == "exposure" else old

    monkeypatch.setattr(renewing.operator, "renewed", another)
    with pytest.raises(UsageError, match="has no stops, which ramps"):
        recipes.renewing.renew(SEQUENCE)
    assert place.entries("recipe") == entries
