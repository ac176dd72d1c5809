from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.cards import tiny_card
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.resolve import find
from archive.editing.ramps import rounding_of
from archive.engine import operator
from archive.errors import UsageError
from archive.exports.plan import make_plan
from archive.exports.specs import spec_named
from archive.workspace import Workspace, open_archive

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def along(place: Studio, parameter: str = "exposure.stops") -> list[float | None]:
    found = place.workspace.recipes.ramps.of(SEQUENCE)
    return next((list(line.values) for line in found.ramps if line.parameter == parameter), [])


def developed(place: Studio, *, name: str = "exposure", key: str = "stops") -> list[float]:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    recipes = [place.workspace.recipes.effective(frame, in_sequence=True) for frame in frames]
    return [float(s.values[key]) for r in recipes for s in r.base if s.name == name]


def test_anchors_begin_a_ramp_and_every_frame_has_its_value(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    saved = ramps.add(SEQUENCE, "exposure.stops", ["#6=-0.5", "#1=0.5"], rule="linear")
    assert (saved.frames, saved.shared) == (6, True)
    assert along(place) == developed(place) == [0.5, 0.3, 0.1, -0.1, -0.3, -0.5]
    line = ramps.of(SEQUENCE).ramps[0]
    assert [(anchor.position, anchor.words) for anchor in line.anchors] == [
        (1, "+0.50 stops"),
        (6, "−0.50 stops"),
    ]
    assert (line.unit, line.rule, line.scale) == ("stops", "linear", "linear")


def test_a_monotone_cubic_never_leaves_the_values_of_its_anchors(place: Studio) -> None:
    place.workspace.recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0", "#3=1", "#4=1", "#6=0.2"])
    assert max(developed(place)) == 1
    assert min(developed(place)) == 0


def test_kelvin_run_on_their_reciprocal_and_the_light_is_told_from_it(place: Studio) -> None:
    place.workspace.recipes.ramps.add(SEQUENCE, "balance.kelvin", ["#1=3000", "#3=6000"], rule="linear")
    assert developed(place, name="balance", key="kelvin")[:3] == [3000, 4000, 6000]
    recipe = place.workspace.recipes.effective(place.workspace.frame(FRAME))
    assert recipe.base[0].values["source"] == "illuminant"


def test_anchors_are_moved_set_anew_and_removed(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    ramps.add(SEQUENCE, "exposure.stops", ["#1=0", "#3=1"], rule="linear")
    ramps.move(SEQUENCE, "exposure.stops", "#3", "#5")
    assert developed(place) == [0, 0.25, 0.5, 0.75, 1, 1]
    ramps.move(SEQUENCE, "exposure.stops", "#5", "#5", value="0.5")
    assert developed(place)[-1] == 0.5
    ramps.add(SEQUENCE, "exposure.stops", ["#5=2", "NOCT0006.JPG=1"])
    assert developed(place) == [0, 0.5, 1, 1.5, 2, 1]
    ramps.remove(SEQUENCE, "exposure.stops", ["#1", "#6"])
    assert developed(place) == [2] * 6
    with pytest.raises(UsageError, match="would have no anchor left"):
        ramps.remove(SEQUENCE, "exposure.stops", ["#5"])
    assert ramps.bend(SEQUENCE, "exposure.stops", "monotone-cubic").words == (
        "exposure.stops: linear → monotone-cubic",
    )


def test_a_dropped_ramp_leaves_one_value(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    for value, expected in ((None, 0.5), ("0.2", 0.2)):
        ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"])
        ramps.drop(SEQUENCE, "exposure.stops", value=value)
        assert along(place) == []
        assert developed(place) == [expected] * 6


def test_what_cannot_be_a_ramp_is_refused_and_writes_nothing(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    for parameter, anchor, words in (
        ("crop.aspect", "#1=1.5", "cannot ramp: its 0 means none at all"),
        ("balance.source", "#1=daylight", "cannot ramp: it is a choice of words"),
        ("dark_frame.frames", "#1=x", "cannot ramp: it is a list of frames"),
        ("finish.s1.amount", "#1=1", "finish is the same for all frames"),
        ("exposure.nothing", "#1=1", "no parameter"),
        ("glow.stops", "#1=1", "no operator"),
        ("exposure.stops", "#1=99", "outside"),
        ("exposure.stops", "#1", "is no anchor"),
        ("exposure.stops", "#9=1", "more frames than there are"),
    ):
        with pytest.raises(UsageError, match=words):
            ramps.add(SEQUENCE, parameter, [anchor])
    with pytest.raises(UsageError, match="at least one anchor"):
        ramps.add(SEQUENCE, "exposure.stops", [])
    with pytest.raises(UsageError, match="is no rule of a ramp"):
        ramps.add(SEQUENCE, "exposure.stops", ["#1=1"], rule="wavy")
    with pytest.raises(UsageError, match="does not ramp in"):
        ramps.drop(SEQUENCE, "exposure.stops")
    assert place.entries("recipe") == 0
    ramps.add(SEQUENCE, "exposure.stops", ["#1=1", "#2=1"])
    with pytest.raises(UsageError, match="has no anchor at #4"):
        ramps.remove(SEQUENCE, "exposure.stops", ["#4"])
    with pytest.raises(UsageError, match="an anchor at #2 already"):
        ramps.move(SEQUENCE, "exposure.stops", "#1", "#2")


def test_a_part_developed_apart_keeps_the_ramp_and_edits_reach_all_of_it(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"], rule="linear")
    before = developed(place)
    recipes.set(f"{SEQUENCE}#4..6", ["contrast.amount=0.2"], shared=True)
    assert developed(place) == before
    recipes.ramps.add(f"{SEQUENCE}#4..6", "exposure.stops", ["#6=0.5"])
    assert developed(place) == [0.5] * 6
    assert len(developed(place, name="contrast", key="amount")) == 3


def test_parts_with_ramps_of_their_own_are_not_changed_as_one(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    ramps.add(f"{SEQUENCE}#1..3", "exposure.stops", ["#1=0.5"])
    ramps.add(f"{SEQUENCE}#4..6", "exposure.stops", ["#4=-0.5"])
    with pytest.raises(UsageError, match=r"different ramps of exposure\.stops"):
        ramps.add(SEQUENCE, "exposure.stops", ["#2=0"])
    with pytest.raises(UsageError, match="not among the frames that the ramp runs along"):
        ramps.add(f"{SEQUENCE}#1..3", "exposure.stops", ["#5=0"])
    assert developed(place) == [0.5] * 3 + [-0.5] * 3


def test_a_carry_from_a_frame_that_shares_a_ramp_goes_on_ramping(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"], rule="linear")
    before = developed(place)
    recipes.set(FRAME, ["contrast.amount=0.2"])
    carried = recipes.carry(FRAME, SEQUENCE)
    assert (carried.ramps_kept, carried.ramps_ended) == (("exposure.stops",), ())
    assert developed(place) == before
    assert developed(place, name="contrast", key="amount") == [0.2] * 6
    recipes.set(FRAME, ["exposure.stops=0.9"])
    carried = recipes.carry(FRAME, SEQUENCE)
    assert (carried.ramps_kept, carried.ramps_ended) == ((), ("exposure.stops",))
    assert developed(place) == [0.9] * 6


def test_a_carry_of_other_operators_leaves_a_ramp_alone(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"], rule="linear")
    before = developed(place)
    recipes.set(FRAME, ["contrast.amount=0.2"])
    carried = recipes.carry(FRAME, SEQUENCE, only=["contrast"])
    assert (carried.ramps_kept, carried.ramps_ended) == ((), ())
    assert developed(place) == before
    assert developed(place, name="contrast", key="amount") == [0.2] * 6


def test_setting_a_ramped_value_for_all_ends_its_ramp_and_says_so(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"])
    saved = recipes.set(SEQUENCE, ["exposure.stops=0.1"], shared=True)
    assert "exposure.stops no longer ramps" in saved.words
    assert developed(place) == [0.1] * 6


def test_late_frames_are_told_and_taken_in_without_changing_the_others(place: Studio, tmp_path: Path) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"], rule="linear")
    before = developed(place)
    late = tiny_card(tmp_path / "late", 8)
    place.workspace.ingest.take([late], site=place.workspace.statements.site_named("River bend"))
    found = recipes.ramps.of(SEQUENCE)
    assert found.outside == ("NOCT0007.JPG", "NOCT0008.JPG")
    assert developed(place) == before
    recipes.ramps.extend(SEQUENCE)
    assert developed(place) == [*before, -0.5, -0.5]
    assert recipes.ramps.of(SEQUENCE).outside == ()
    with pytest.raises(UsageError, match="reach all of its frames"):
        recipes.ramps.extend(SEQUENCE)


@pytest.fixture
def extended(place: Studio) -> Studio:
    """A ramp over the first four frames, taken on to all six."""
    ramps = place.workspace.recipes.ramps
    ramps.add(f"{SEQUENCE}#1..4", "exposure.stops", ["#1=0", "#4=0.6"], rule="linear")
    ramps.extend(SEQUENCE)
    assert developed(place) == [0, 0.2, 0.4, 0.6, 0.6, 0.6]
    return place


@pytest.mark.parametrize("named", [SEQUENCE, f"{SEQUENCE}#1..2", f"{SEQUENCE}#6"])
def test_a_ramp_that_was_extended_is_still_one_ramp_by_whatever_part_it_is_named(
    extended: Studio, named: str
) -> None:
    ramps = extended.workspace.recipes.ramps
    ramps.add(named, "exposure.stops", ["#1=0.3"])
    assert developed(extended) == [0.3, 0.4, 0.5, 0.6, 0.6, 0.6]
    ramps.move(named, "exposure.stops", "#4", "#3")
    assert developed(extended) == [0.3, 0.45, 0.6, 0.6, 0.6, 0.6]
    ramps.add(named, "exposure.stops", ["#6=0"])
    assert developed(extended) == [0.3, 0.45, 0.6, 0.4, 0.2, 0]
    ramps.remove(named, "exposure.stops", ["#1"])
    ramps.bend(named, "exposure.stops", "monotone-cubic")
    assert [line.rule for line in ramps.of(SEQUENCE).ramps] == ["monotone-cubic"]
    ramps.drop(named, "exposure.stops")
    assert developed(extended) == [0.6] * 6 and ramps.of(SEQUENCE).ramps == ()


def test_a_ramp_may_be_extended_more_than_once(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    ramps.add(f"{SEQUENCE}#1..2", "exposure.stops", ["#1=0", "#2=0.6"])
    ramps.extend(f"{SEQUENCE}#1..4")
    ramps.extend(SEQUENCE)
    ramps.add(SEQUENCE, "exposure.stops", ["#5=0"], rule="linear")
    assert developed(place) == [0, 0.6, 0.4, 0.2, 0, 0]


def test_ramps_of_several_parts_end_together_each_at_its_own_first_anchor(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    ramps.add(f"{SEQUENCE}#1..3", "exposure.stops", ["#1=0.5", "#3=0.9"])
    ramps.add(f"{SEQUENCE}#4..6", "exposure.stops", ["#4=-0.5"])
    ramps.drop(SEQUENCE, "exposure.stops")
    assert developed(place) == [0.5] * 3 + [-0.5] * 3 and ramps.of(SEQUENCE).ramps == ()


def test_extending_without_a_ramp_is_refused(place: Studio) -> None:
    with pytest.raises(UsageError, match=r"No frame of .* has a ramp"):
        place.workspace.recipes.ramps.extend(SEQUENCE)


def test_values_are_rounded_far_finer_than_a_step() -> None:
    for name, parameter, expected in (("exposure", "stops", 0.001), ("balance", "kelvin", 0.1)):
        declared = operator.declaration(name).parameter(parameter)
        assert declared is not None
        assert rounding_of(declared) == pytest.approx(expected)
    for each in operator.declarations():
        for declared in each.parameters:
            if declared.ramp:
                assert 0 < rounding_of(declared) <= declared.step / 100


def keys(workspace: Workspace, frames: list[str]) -> dict[str, str]:
    """The pixel key that each of these frames would have in a movie now."""
    found = find(workspace.books.catalogue, "2026-03-18").frames
    foundation = workspace.recipes.bench.foundation
    plan = make_plan(workspace.books, found, None, spec_named("movie-hd"), foundation)
    held = {item.frame.id: item.pixel_key for file in plan.files for item in file.inputs}
    return {frame: held[frame] for frame in frames}


def test_every_number_ramps_but_those_that_jump() -> None:
    held = {
        f"{each.name}.{parameter.name}"
        for each in operator.declarations()
        for parameter in each.parameters
        if not (parameter.ramp or parameter.is_choice or parameter.frames)
    }
    assert held == {"crop.aspect"}


@pytest.mark.parametrize("parameter", ["sharpness.radius", "vignetting.shape", "distortion.k1"])
def test_numbers_besides_the_first_of_an_operator_ramp_too(place: Studio, parameter: str) -> None:
    recipes = place.workspace.recipes
    name, _, own = parameter.partition(".")
    low, high = (0.1, 0.5) if name == "distortion" else (1.0, 2.0)
    recipes.ramps.add(SEQUENCE, parameter, [f"#1={low}", f"#6={high}"], rule="linear")
    found = developed(place, name=name, key=own)
    assert found == pytest.approx([low + n * (high - low) / 5 for n in range(6)], abs=1e-4)


def test_clocks_breaks_late_cards_and_rebuilding_change_no_pixel_key(place: Studio, tmp_path: Path) -> None:
    workspace = place.workspace
    workspace.recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#3=0.1", "#6=-0.5"])
    six = [line.frame.id for line in workspace.frames(SEQUENCE)]
    before = keys(workspace, six)
    assert len(set(before.values())) == 6
    camera = workspace.statements.camera_named("one")
    workspace.statements.set_clock(camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12", drift=300)
    assert keys(workspace, six) == before
    workspace.sequencing.break_before(f"{SEQUENCE}#4")
    assert keys(workspace, six) == before
    late = tiny_card(tmp_path / "late", 8)
    workspace.ingest.take([late], site=workspace.statements.site_named("River bend"))
    assert keys(workspace, six) == before
    workspace.books.rebuild()
    assert keys(workspace, six) == before


def test_uniting_with_another_copys_breaks_clock_and_late_card_changes_no_pixel_key(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workspace = place.workspace
    workspace.recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#3=0.1", "#6=-0.5"])
    six = [line.frame.id for line in workspace.frames(SEQUENCE)]
    before = keys(workspace, six)
    assert len(set(before.values())) == 6
    shutil.copytree(place.root, tmp_path / "copy")
    with monkeypatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
        copy = open_archive(tmp_path / "copy", person="Ragna")
    camera = copy.statements.camera_named("one")
    copy.statements.set_clock(camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12", drift=300)
    copy.sequencing.break_before(f"{SEQUENCE}#4")
    late = tiny_card(tmp_path / "late", 8)
    copy.ingest.take([late], site=copy.statements.site_named("River bend"))
    workspace.recipes.ramps.add(SEQUENCE, "contrast.amount", ["#1=0.1", "#6=0.3"])
    workspace.sequencing.title(SEQUENCE, "Ice and arc")
    ours = keys(workspace, six)
    assert set(ours.values()).isdisjoint(before.values())
    assert keys(copy, six) == before
    report = workspace.custody.unite(tmp_path / "copy")
    assert (report.entries >= 3, report.given >= 2, report.faults) == (True, True, ())
    copy.books.sync()
    for each in (workspace, copy):
        # Three frames are too few for a sequence; the other three have one with the two late ones.
        assert [line.frames for line in each.sequences("2026-03-18")] == [5]
        assert keys(each, six) == ours
    workspace.sequencing.join("NOCT0004.JPG")
    assert [line.frames for line in workspace.sequences("2026-03-18")] == [8]
    assert keys(workspace, six) == ours
    copy.close()
