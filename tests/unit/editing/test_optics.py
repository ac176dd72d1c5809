"""Dark frames and lenses, from the card to the recipe."""

from collections.abc import Iterator

import numpy as np
import pytest
from support.cards import archive_in, site_of
from support.rawcard import fall_off, glow, level, raw_card

from archive.engine import lensdata
from archive.errors import ArchiveError, UsageError
from archive.model.lens import LensCandidate
from archive.workspace import Workspace

OFFERED = (
    LensCandidate(
        camera_make="Invented", camera_model="One", make="Invented", model="20mm f/1.8", shortest_mm=20.0,
        longest_mm=20.0, loose=True, holds=("distortion",),
    ),
)  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """Frame 1 a light with glow, 2 to 5 dark frames, 6 one of another exposure, 7 and 8 flats."""
    folder = tmp_path_factory.mktemp("optics")
    mosaics = [level(0.1 + glow())]
    mosaics += [level(glow(), seed) for seed in range(1, 5)]
    mosaics += [level(glow(), 6), level(0.5 * fall_off(), 7), level(0.4 * fall_off(), 8)]
    card = raw_card(folder / "card", mosaics, exposures=[8, 8, 8, 8, 8, 4, 8, 8])
    with archive_in(folder / "archive") as workspace:
        workspace.ingest.take([card], site=site_of(workspace))
        yield workspace


def frame(number: int) -> str:
    return f"NOCT{number:04d}.DNG"


def recipe_of(place: Workspace, number: int) -> dict[str, dict[str, object]]:
    found = place.recipes.effective(place.recipes.bench.one(frame(number)))
    return {step.name: dict(step.values) for step in found.base}


def test_dark_frames_are_named_by_what_people_call_them_and_kept_by_their_ids(place: Workspace) -> None:
    saved = place.optics.use_darks(frame(1), [frame(number) for number in (2, 3, 4, 5)])
    assert saved.entry is not None
    ids = str(recipe_of(place, 1)["dark_frame"]["frames"]).split()
    wanted = [place.recipes.bench.one(frame(number)).id for number in (2, 3, 4, 5)]
    assert ids == sorted(wanted)
    effective = place.recipes.effective(place.recipes.bench.one(frame(1)))
    assert effective.other_frames() == tuple(sorted(wanted))


def test_frames_of_other_settings_and_the_frame_itself_are_no_dark_frames(place: Workspace) -> None:
    with pytest.raises(UsageError, match="4 s") as caught:
        place.optics.use_darks(frame(1), [frame(2), frame(6)])
    assert "same camera, exposure" in caught.value.hint
    with pytest.raises(UsageError, match="its own dark frame"):
        place.optics.use_darks(frame(1), [frame(1)])


def test_a_measured_fall_off_goes_into_a_recipe(place: Workspace) -> None:
    measure, nothing = place.optics.measure_lens([frame(7), frame(8)])
    assert nothing is None
    assert measure.frames == 2
    measure, saved = place.optics.measure_lens([frame(7), frame(8)], into=frame(1))
    assert saved is not None
    values = recipe_of(place, 1)["fall_off"]
    assert values == dict(measure.values)
    squared = np.linspace(0, 1, 50)
    made = 1 + sum(float(values[f"k{n}"]) * squared**n for n in (1, 2, 3))  # type: ignore[arg-type]
    assert np.abs(made / (1 - 0.5 * squared + 0.1 * squared**2) - 1).max() < 0.01
    with pytest.raises(ArchiveError, match="too dark"):
        place.optics.measure_lens([frame(2)])


def test_a_lens_is_used_only_after_a_person_has_said_which_it_is(
    place: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lensdata, "candidates", lambda *_: OFFERED)
    values = {"distortion": {"model": "poly3", "k1": 0.01, "unit": 0.5547}}
    monkeypatch.setattr(lensdata, "operator_values", lambda *_, **__: values)
    before = place.optics.lens(frame(1))
    assert (before.chosen, before.entry, before.offered) == (None, None, OFFERED)
    with pytest.raises(UsageError, match="No lens is on record") as caught:
        place.optics.apply_lens(frame(1))
    assert "lens match" in caught.value.hint
    with pytest.raises(UsageError, match="no candidate 2"):
        place.optics.lens(frame(1), take=2)
    taken = place.optics.lens(frame(1), take=1)
    assert taken.chosen == OFFERED[0]
    assert taken.entry is not None
    assert place.optics.lens(frame(3)).chosen == OFFERED[0]
    place.optics.apply_lens(frame(1))
    assert recipe_of(place, 1)["distortion"] == {
        "k1": 0.01,
        "k2": 0.0,
        "k3": 0.0,
        "model": "poly3",
        "unit": 0.5547,
    }
    digest = place.recipes.effective(place.recipes.bench.one(frame(1))).lens_digest()
    assert digest is not None and digest.startswith("sha256:")


def test_a_lens_without_values_is_told(place: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lensdata, "candidates", lambda *_: OFFERED)
    monkeypatch.setattr(lensdata, "operator_values", lambda *_, **__: {})
    place.optics.lens(frame(1), take=1)
    with pytest.raises(UsageError, match="has no values"):
        place.optics.apply_lens(frame(1))
