from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio
from support.rivals import rival

from archive.errors import ArchiveError, UsageError
from archive.exports.plan import make_plan
from archive.model.editing import Settled
from archive.model.entry import Version
from archive.model.identity import EntryId
from archive.workspace import list_specs

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def values(place: Studio, name: str = FRAME) -> dict[str, float]:
    recipe = place.workspace.recipes.effective(place.workspace.frame(name))
    return {step.name: float(next(iter(step.values.values()))) for step in recipe.base}


def test_two_versions_are_shown_with_what_they_differ_in(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}), ("chroma", {"amount": 0.1}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}), ("chroma", {"amount": 0.1}))
    (contest,) = place.workspace.recipes.contests.of(SEQUENCE)
    assert (contest.frames, contest.shared, len(contest.versions)) == (("NOCT0002.JPG",), False, 2)
    assert contest.differences == (("exposure", ("exposure −0.50 stops", "exposure +0.50 stops")),)
    assert place.workspace.frames(FRAME)[0].contested


def test_one_version_is_taken_and_the_contest_is_over(place: Studio) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    assert values(place) == {"exposure": -0.5}
    (saved,) = place.workspace.recipes.contests.settle(FRAME, take=first)
    assert saved.entry is not None
    assert saved.words == ("exposure −0.50 → +0.50 stops",)
    assert values(place) == {"exposure": 0.5}
    assert not place.workspace.frames(FRAME)[0].contested
    with pytest.raises(UsageError, match="Nothing is contested"):
        place.workspace.recipes.contests.settle(FRAME, take=first)


def test_versions_are_joined_operator_by_operator(place: Studio) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}), ("chroma", {"amount": 0.3}))
    second = rival(place, FRAME, ("exposure", {"stops": -0.5}), ("contrast", {"amount": 0.2}))
    settle = place.workspace.recipes.contests.settle
    with pytest.raises(UsageError, match="crop is in none of these versions"):
        settle(FRAME, operators={"crop": first})
    settle(FRAME, take=first, operators={"exposure": second, "contrast": second})
    assert values(place) == {"exposure": -0.5, "chroma": 0.3, "contrast": 0.2}


def test_an_operator_that_a_version_lacks_can_be_chosen_away(place: Studio) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}), ("chroma", {"amount": 0.3}))
    second = rival(place, FRAME, ("exposure", {"stops": -0.5}))
    place.workspace.recipes.contests.settle(FRAME, take=first, operators={"chroma": second})
    assert values(place) == {"exposure": 0.5}


def test_a_contested_sequence_is_settled_in_one_entry_and_each_layer_for_itself(place: Studio) -> None:
    ours = rival(place, SEQUENCE, ("exposure", {"stops": 0.5}), shared=True)
    rival(place, SEQUENCE, ("exposure", {"stops": -0.5}), shared=True)
    rival(place, FRAME, ("chroma", {"amount": 0.3}))
    rival(place, FRAME, ("chroma", {"amount": 0.1}))
    assert [contest.shared for contest in place.workspace.recipes.contests.of(SEQUENCE)] == [True, False]
    before = place.entries("recipe")
    (saved,) = place.workspace.recipes.contests.settle(SEQUENCE, take=ours)
    assert (saved.frames, saved.shared, place.entries("recipe")) == (6, True, before + 1)
    assert values(place, f"{SEQUENCE}#5") == {"exposure": 0.5}
    assert [c.shared for c in place.workspace.recipes.contests.of(SEQUENCE)] == [False]


def test_nothing_is_settled_without_a_choice(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    with pytest.raises(UsageError, match="Say what to settle it on"):
        place.workspace.recipes.contests.settle(FRAME)


def test_exports_take_the_newest_and_say_so_or_refuse(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    report = place.export(FRAME, "still-web")
    assert report.contested == ("NOCT0002.JPG",)
    with pytest.raises(ArchiveError, match="claim to be current") as caught:
        place.export(FRAME, "still-web", strict=True)
    assert "noctuary recipe settle" in caught.value.hint


def test_a_save_tells_that_it_ends_a_contest_and_what_is_current_no_more(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}))
    second = rival(place, FRAME, ("exposure", {"stops": -0.5}))
    assert recipes.set(FRAME, ["contrast.amount=0.1"]).settled == (
        Settled(versions=_versions(place, second, first), shared=False, frames=1),
    )
    assert recipes.set(FRAME, ["contrast.amount=0.2"]).settled == ()


def test_sharing_tells_which_contests_it_ends_and_for_how_many_frames(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = rival(place, f"{SEQUENCE}#1..4", ("exposure", {"stops": 0.5}), shared=True)
    second = rival(place, f"{SEQUENCE}#3..6", ("exposure", {"stops": -0.5}), shared=True)
    recipes.set(f"{SEQUENCE}#6", ["contrast.amount=0.1"])
    would = recipes.carry(f"{SEQUENCE}#6", SEQUENCE, dry_run=True)
    (told,) = would.settled
    assert ([v.entry for v in told.versions], told.shared, told.frames) == ([second, first], True, 2)
    assert len(recipes.contests.of(SEQUENCE)) == 1
    assert recipes.ramps.add(f"{SEQUENCE}#4..6", "chroma.amount", ["#4=0", "#6=0.2"]).settled[0].frames == 1
    (told,) = recipes.set(SEQUENCE, ["contrast.amount=0.2"], shared=True).settled
    assert told.frames == 1
    assert recipes.carry(f"{SEQUENCE}#6", SEQUENCE).settled == ()


def test_a_shared_contest_named_by_one_frame_is_settled_for_all_of_its_frames(place: Studio) -> None:
    first = rival(place, f"{SEQUENCE}#1..5", ("exposure", {"stops": 0.5}), shared=True)
    rival(place, SEQUENCE, ("exposure", {"stops": -0.5}), shared=True)
    contests = place.workspace.recipes.contests
    (contest,) = contests.of(FRAME)
    assert (contest.frames, contest.others) == (("NOCT0002.JPG",), 4)
    (saved,) = contests.settle(FRAME, take=first)
    assert saved.frames == 5
    assert contests.of(SEQUENCE) == []
    stops = [values(place, f"{SEQUENCE}#{n}")["exposure"] for n in range(1, 7)]
    assert stops == [0.5] * 5 + [-0.5]


def test_a_contest_of_the_main_line_is_settled_there_while_another_line_is_current(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    recipes.lines.start(FRAME, "print", shared=True)
    (saved,) = recipes.contests.settle(FRAME, take=first)
    assert saved.line == "main"
    assert (values(place), recipes.contests.of(FRAME)) == ({"exposure": 0.5}, [])


def test_a_rival_for_stills_only_is_no_contest_of_sets_and_movies(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}), in_sequence=True)
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    (contest,) = place.workspace.recipes.contests.of(FRAME)
    assert contest.stills_only
    bench = place.workspace.recipes.bench
    frames, specs = bench.several(SEQUENCE), {spec.product: spec for spec in list_specs()}
    told = {
        product: make_plan(bench.books, frames, None, spec, bench.foundation).contested
        for product, spec in specs.items()
    }
    assert {product: bool(names) for product, names in told.items()} == {
        product: product == "still" for product in specs
    }
    make_plan(bench.books, frames, None, specs["set"], bench.foundation, strict=True)
    with pytest.raises(ArchiveError, match="1 frame has recipes that both claim"):
        make_plan(bench.books, frames, None, specs["still"], bench.foundation, strict=True)


def test_own_values_that_hide_what_is_shared_are_listed_for_every_use(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(f"{SEQUENCE}#2", ["exposure.stops=0.5"])
    recipes.set(f"{SEQUENCE}#3", ["exposure.stops=0.5"], in_sequence=True)
    saved = recipes.set(SEQUENCE, ["exposure.stops=1"], shared=True)
    stills = (("NOCT0002.JPG", ("exposure",)),)
    assert (saved.masked, saved.masked_stills) == ((("NOCT0003.JPG", ("exposure",)),), stills)
    assert recipes.set(SEQUENCE, ["contrast.amount=0.1"], shared=True).masked_stills == ()
    ramped = recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0", "#6=1"])
    assert ramped.masked_stills == stills
    carried = recipes.carry(f"{SEQUENCE}#4", SEQUENCE, dry_run=True)
    assert carried.masked_stills == stills
    assert recipes.carry(f"{SEQUENCE}#2", SEQUENCE, dry_run=True).masked_stills == ()


def test_listings_count_contested_frames_until_they_are_settled(place: Studio) -> None:
    workspace = place.workspace

    def counts() -> tuple[int, int]:
        return workspace.nights()[0].contested, workspace.sequences("2026-03-18")[0].contested

    assert counts() == (0, 0)
    rival(place, FRAME, ("exposure", {"stops": 0.5}))
    assert counts() == (0, 0)
    first = rival(place, FRAME, ("exposure", {"stops": -0.5}))
    rival(place, f"{SEQUENCE}#2..4", ("chroma", {"amount": 0.1}), shared=True)
    rival(place, f"{SEQUENCE}#3..5", ("chroma", {"amount": 0.2}), shared=True)
    assert counts() == (3, 3)
    kept = workspace.books.catalogue.dump()["contest"]
    assert len(kept) == 3
    workspace.books.rebuild()
    assert workspace.books.catalogue.dump()["contest"] == kept
    workspace.recipes.contests.settle(FRAME, take=first)
    assert counts() == (2, 2)
    # A line of its own says something else: what is contested beneath it does not speak.
    workspace.recipes.lines.start(f"{SEQUENCE}#3..4", "print", shared=True)
    assert counts() == (0, 0)


def _versions(place: Studio, *entries: str) -> tuple[Version, ...]:
    _, lines = place.workspace.recipes.history(FRAME)
    known = {line.version.entry: line.version for line in lines}
    return tuple(known[EntryId(entry)] for entry in entries)
