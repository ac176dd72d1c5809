"""Dark frames and lenses, from the card to the recipe."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from support.cards import archive_in, site_of
from support.rawcard import fall_off, glow, level, raw_card

from archive.editing import optics
from archive.engine import lensdata, operator
from archive.errors import ArchiveError, UsageError
from archive.model.capture import CaptureFacts, Frame, Role
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


def test_a_frame_with_light_in_it_is_not_taken_as_a_dark_frame(place: Workspace) -> None:
    before = recipe_of(place, 1)
    with pytest.raises(UsageError, match=r"NOCT0008\.DNG is no dark frame: .* above black") as caught:
        place.optics.use_darks(frame(1), [frame(2), frame(8)])
    assert "Nothing was changed" in caught.value.hint
    assert recipe_of(place, 1) == before


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


BENT = {"distortion": {"model": "poly4", "k1": 0.01, "k2": 0.02, "k3": 0.03, "unit": 0.6}}
SPREAD = {"lateral_colour": {"red": 1.001, "red_c": 0.002, "blue": 0.999, "unit": 0.6}}
DIM = {"fall_off": {"k1": -0.3, "k2": 0.1, "k3": 0.0}}
Values = dict[str, dict[str, object]]


@pytest.fixture
def applied(
    place: Workspace, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., tuple[Values, tuple[str, ...]]]:
    """Applies a lens of these values, to frame 3 alone unless named; what its recipe then has of it."""
    monkeypatch.setattr(lensdata, "candidates", lambda *_: OFFERED)
    place.optics.lens(frame(1), take=1)
    place.recipes.set(frame(3), ["exposure.stops=1"])

    def apply(values: Values, name: str = frame(3), **options: Any) -> tuple[Values, tuple[str, ...]]:
        monkeypatch.setattr(lensdata, "operator_values", lambda *_, **__: values)
        remarks = place.optics.apply_lens(name, **options).remarks
        found = recipe_of(place, 3)
        return {each: found[each] for each in optics.LENS_OPERATORS if each in found}, remarks

    return apply


def defaults(name: str) -> dict[str, object]:
    return dict(operator.checked(name, {}).values)


def test_a_lens_leaves_no_value_of_the_lens_before(applied: Callable[..., tuple[Values, Any]]) -> None:
    applied(BENT | SPREAD | DIM)
    straight = {"lateral_colour": {"red": 1.002, "blue": 0.998, "unit": 0.5}}
    found, remarks = applied(straight | DIM)
    assert found["lateral_colour"] == defaults("lateral_colour") | straight["lateral_colour"]
    assert "distortion" not in found
    assert remarks == ("Taken out, as the lens has no values for it: distortion.",)
    found, remarks = applied({"distortion": {"model": "poly3", "k1": 0.004, "unit": 0.5}})
    assert found == {"distortion": defaults("distortion") | {"model": "poly3", "k1": 0.004, "unit": 0.5}}
    assert "lateral_colour, fall_off" in remarks[0]


def test_a_shared_lens_leaves_no_value_of_the_lens_before_either(
    place: Workspace, applied: Callable[..., tuple[Values, Any]]
) -> None:
    address = place.books.address_of(place.recipes.bench.one(frame(3)))
    assert address is not None
    whole = address.partition("#")[0]
    applied(DIM)
    place.recipes.set(frame(3), [], drop=["fall_off"])
    found, remarks = applied(BENT | SPREAD, whole, shared=True)
    assert found == {
        each: defaults(each) | (BENT | SPREAD)[each] for each in ("distortion", "lateral_colour")
    }
    found, remarks = applied(SPREAD, whole, shared=True)
    assert set(found) == {"lateral_colour"}
    assert "distortion" in remarks[0]
    # What is shared beneath would shine through where the frame's own lens has nothing: it is set to nothing.
    found, remarks = applied(BENT)
    assert found["lateral_colour"] == defaults("lateral_colour")
    assert found["distortion"] == defaults("distortion") | BENT["distortion"]


def shot(number: int, **facts: Any) -> Frame:
    return Frame(
        id=f"xxh128:{number:032x}", camera="camera:1", roll="r", path=f"N{number}.DNG", role=Role.RAW,
        taken=datetime(2026, 3, 18, tzinfo=UTC), time_source="original", night="2026-03-18",
        facts=CaptureFacts(**{"lens": "Zoom", "f_number": 2.8, "focal_mm": 20.0, **facts}),
    )  # fmt: skip


def test_frames_of_several_focal_lengths_get_no_lens_unless_it_is_said_which() -> None:
    zoom = replace(OFFERED[0], shortest_mm=14.0, longest_mm=24.0)
    alike = [shot(1), shot(2)]
    assert optics._focal_of(alike, zoom) == 20
    with pytest.raises(UsageError, match="1 at 16 mm, 2 at 20 mm") as caught:
        optics._focal_of([*alike, shot(3, focal_mm=16.0)], zoom)
    assert "--focal" in caught.value.hint
    with pytest.raises(UsageError, match="1 of these 3 frames is not known"):
        optics._focal_of([*alike, shot(3, focal_mm=None)], zoom)
    assert optics._focal_of([*alike, shot(3, focal_mm=None)], OFFERED[0]) == 20
    with pytest.raises(UsageError, match="1 of these 3 frames are of another camera or lens"):
        optics._refuse_several_lenses([*alike, shot(3, lens="Other")])


def test_a_fall_off_for_several_apertures_is_told() -> None:
    frames = [shot(1), shot(2, f_number=4.0), shot(3, f_number=None), shot(4)]
    (told,) = optics._aperture_remark(frames, DIM)
    assert told.startswith("The fall-off is that of f/2.8; 2 of 4 frames were taken at another aperture")
    assert optics._aperture_remark(frames, BENT) == []
    assert optics._aperture_remark([frames[0], frames[3]], DIM) == []


def test_the_focal_length_that_is_said_is_used(
    place: Workspace, applied: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    monkeypatch.setattr(lensdata, "operator_values", lambda *_, **given: asked.append(given) or BENT)
    place.optics.apply_lens(frame(3), focal_mm=17.5)
    assert asked[0]["focal_mm"] == 17.5
