"""Dark frames that fit, found by what the survey saw."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from support import rawcard
from support.cards import archive_in, site_of
from support.rawcard import glow, level, raw_card
from support.surveys import measures

from archive.survey.darks import is_dark
from archive.workspace import Workspace


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """One night: 1 and 2 lights, 3 a dark, 4 a dark of 4 s; two nights later: 11 a light, 12 and 13 darks."""
    folder = tmp_path_factory.mktemp("darks")
    first = [level(0.1 + glow()), level(0.02, 1), level(glow(), 2), level(glow(), 3)]
    second = [level(0.1 + glow(), 4), level(glow(), 5), level(glow(), 6)]
    cards = [raw_card(folder / "one", first, exposures=[8, 8, 8, 4])]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rawcard, "BEGIN", rawcard.BEGIN + timedelta(days=2))
        cards.append(raw_card(folder / "two", second, exposures=[4, 4, 4]))
    for number in (3, 2, 1):
        source = folder / "two" / "DCIM" / "100NOCTU" / f"NOCT{number:04d}.DNG"
        source.rename(source.with_name(f"NOCT{10 + number:04d}.DNG"))
    with archive_in(folder / "archive") as workspace:
        for card in cards:
            workspace.ingest.take([card], site=site_of(workspace))
        yield workspace


def found(place: Workspace, number: int) -> tuple[str | None, list[str], int]:
    answer = place.survey.find_darks(f"NOCT{number:04d}.DNG")
    return answer.night, [frame.name for frame in answer.frames], answer.unseen


def test_what_was_not_surveyed_is_counted_and_not_guessed_at(place: Workspace) -> None:
    assert found(place, 1) == (None, [], 2)


def test_dark_frames_of_the_same_settings_come_from_the_nearest_night_that_has_any(place: Workspace) -> None:
    place.survey.run(progress=lambda *_: None)
    assert found(place, 1) == ("2026-03-18", ["NOCT0003.DNG"], 0)
    assert found(place, 11) == ("2026-03-20", ["NOCT0012.DNG", "NOCT0013.DNG"], 0)
    # Asked for a dark frame of another night, whose own night has no other.
    assert found(place, 4) == ("2026-03-20", ["NOCT0012.DNG", "NOCT0013.DNG"], 0)
    assert found(place, 3) == (None, [], 0)


def test_frames_that_are_found_can_be_used(place: Workspace) -> None:
    place.survey.run(progress=lambda *_: None)
    answer = place.survey.find_darks("NOCT0011.DNG")
    place.optics.use_darks("NOCT0011.DNG", [frame.id for frame in answer.frames])
    recipe = place.recipes.effective(place.recipes.bench.one("NOCT0011.DNG"))
    assert recipe.other_frames() == tuple(sorted(frame.id for frame in answer.frames))


def test_dark_is_what_has_no_light_in_most_of_its_cells() -> None:
    plain = measures(light=0.0005)
    assert is_dark(plain)
    assert not is_dark(measures(light=0.006)), "a dim sky"
    lit = replace(plain, cells=replace(plain.cells, red=(0.006,) * 96))
    assert not is_dark(lit), "a red lamp"
    corner = replace(plain, cells=replace(plain.cells, green=(0.2,) * 20 + (0.0005,) * 76))
    assert is_dark(corner), "an amplifier that glows"
