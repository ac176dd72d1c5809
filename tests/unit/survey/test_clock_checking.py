from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from support import surveys
from support.cards import archive_in, site_of, tiny_card
from support.skycurves import RIVER_BEND, dusk, restless

from archive.errors import UsageError
from archive.model.capture import Frame
from archive.model.clocks import Sureness
from archive.survey import clock_checking
from archive.survey.courses import gain_stops
from archive.survey.records import Seen
from archive.workspace import Workspace

NIGHT = "2026-03-18"
DARK = datetime(2026, 3, 18, 22, 30)
"""Wall clock at the site, an hour before UTC's."""


def workspace_with(folder: Path, *cards: tuple[str, datetime, float]) -> Workspace:
    """An archive with cards of 40 frames: camera, what its clock reads at the first, cadence in seconds."""
    workspace = archive_in(folder / "archive")
    for number, (name, begin, cadence) in enumerate(cards):
        card = tiny_card(folder / name, 40, serial=f"{number}17", model=name, begin=begin, cadence_s=cadence)
        workspace.ingest.take([card], site=site_of(workspace), camera_name=name)
    return workspace


def see(
    monkeypatch: pytest.MonkeyPatch,
    workspace: Workspace,
    sky: Callable[[float], float],
    behind: dict[str, float],
) -> None:
    """Let every frame be surveyed, with the brightness that the sky has at its true time."""
    names = {camera.id: camera.name for camera in workspace.books.catalogue.cameras().values()}

    def seen_of(_books: object, frames: tuple[Frame, ...]) -> dict[str, Seen]:
        (one,) = surveys.document().frames
        held = {}
        for frame in frames:
            true = _reading(frame) + behind[names[frame.camera]] + 4
            measures = surveys.measures(brightness=sky(true) + gain_stops(frame.facts))
            held[frame.id] = Seen(surveyed=replace(one, measures=measures), size=(32, 20), folder="")
        return held

    monkeypatch.setattr(clock_checking, "seen_of", seen_of)


def _reading(frame: Frame) -> float:
    assert frame.facts.taken is not None
    return RIVER_BEND.to_utc(datetime.fromisoformat(frame.facts.taken)).timestamp()


@pytest.fixture
def two(tmp_path: Path) -> Iterator[Workspace]:
    workspace = workspace_with(tmp_path, ("north", DARK, 10), ("river", DARK - timedelta(seconds=92), 13))
    yield workspace
    workspace.close()


def follow(workspace: Workspace, command: str) -> None:
    """State the correction that a suggestion says to type."""
    words = shlex.split(command)
    assert words[:2] == ["noctuary", "clock"]
    options = dict(zip(words[3::2], words[4::2], strict=True))
    workspace.statements.set_clock(
        workspace.statements.camera_named(words[2]),
        reads=options["--reads"],
        true=options["--true"],
        since=options.get("--from"),
        until=options.get("--until"),
        drift=float(options.get("--drift", 0)),
    )


def test_two_cameras_that_disagree_are_told_and_either_may_be_wrong(
    two: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    see(monkeypatch, two, restless(7, tau=20), {"north": 0, "river": 72})
    told = two.survey.check_clocks()
    (pair,) = told.pairs
    assert (told.night, pair.first, pair.second) == (NIGHT, "north", "river")
    assert pair.shift.seconds == pytest.approx(72, abs=4)
    assert told.either
    assert [each.camera for each in told.suggestions] == ["north", "river"]
    assert [each.seconds for each in told.suggestions] == pytest.approx([-72, 72], abs=4)
    assert [each.error for each in told.suggestions] == [pair.shift.error] * 2 == [30, 30]
    assert pair.shift.sureness == Sureness.SURE
    assert [each.span.sureness for each in told.suns] == [Sureness.UNTOLD] * 2


def test_a_clock_that_is_an_hour_slow_is_told_by_the_other_s_sky(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workspace = workspace_with(tmp_path, ("north", DARK, 10), ("river", DARK - timedelta(seconds=3600), 10))
    see(monkeypatch, workspace, restless(7, tau=20), {"north": 0, "river": 3600})
    told = workspace.survey.check_clocks()
    assert told.pairs[0].shift.seconds == pytest.approx(3600, abs=4)
    assert told.pairs[0].shift.sureness == Sureness.SURE
    assert [each.seconds for each in told.suggestions] == pytest.approx([-3600, 3600], abs=4)
    workspace.close()


def test_what_is_suggested_can_be_typed_and_then_nothing_is_suggested(
    two: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    see(monkeypatch, two, restless(7, tau=20), {"north": 0, "river": 72})
    follow(two, two.survey.check_clocks(NIGHT).suggestions[1].command)
    (held,) = two.statements.clocks(two.statements.camera_named("river"))
    assert (held.true - held.reads).total_seconds() == pytest.approx(72, abs=4)
    assert two.survey.check_clocks(NIGHT).suggestions == ()


def test_a_camera_whose_clock_was_photographed_is_trusted(
    two: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    see(monkeypatch, two, restless(7, tau=20), {"north": 0, "river": 72})
    two.statements.set_clock(
        two.statements.camera_named("north"), reads="2026-03-18T20:00:00Z", true="2026-03-18T20:00:00Z"
    )
    told = two.survey.check_clocks(NIGHT)
    assert [each.camera for each in told.suggestions] == ["river"]
    assert not told.either


@pytest.mark.parametrize(("ahead", "suggested"), [(0, 0), (16, 0), (45, 2)])
def test_an_aurora_that_passed_one_view_before_the_other_corrects_no_clock(
    two: Workspace, monkeypatch: pytest.MonkeyPatch, ahead: int, suggested: int
) -> None:
    see(monkeypatch, two, restless(7, tau=20), {"north": 0, "river": ahead})
    told = two.survey.check_clocks(NIGHT)
    assert told.pairs[0].shift.seconds == pytest.approx(ahead, abs=4)
    assert len(told.suggestions) == suggested


def test_a_suggestion_takes_the_place_of_the_correction_that_counts(
    two: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    see(monkeypatch, two, restless(7, tau=20), {"north": 0, "river": 72})
    for camera, true in (("north", "21:00:00"), ("river", "21:00:30")):
        two.statements.set_clock(
            two.statements.camera_named(camera),
            reads="2026-03-18T21:00:00Z",
            true=f"2026-03-18T{true}Z",
            since="2026-03-18T12:00:00Z",
            until="2026-03-19T12:00:00Z",
            drift=0.5,
        )
    river = two.survey.check_clocks(NIGHT).suggestions[1]
    assert river.seconds == pytest.approx(42, abs=4)
    follow(two, river.command)
    (held,) = two.statements.clocks(two.statements.camera_named("river"))
    assert (held.true - held.reads).total_seconds() == pytest.approx(72, abs=4)
    assert held.drift == 0.5
    assert two.survey.check_clocks(NIGHT).suggestions == ()


def test_of_three_cameras_the_one_that_stands_alone_is_to_be_corrected(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workspace = workspace_with(
        tmp_path, ("east", DARK, 11), ("north", DARK, 10), ("river", DARK - timedelta(seconds=92), 13)
    )
    see(monkeypatch, workspace, restless(7, tau=20), {"east": 0, "north": 0, "river": 72})
    told = workspace.survey.check_clocks(NIGHT)
    assert [each.camera for each in told.suggestions] == ["river"]
    assert told.suggestions[0].seconds == pytest.approx(72, abs=4)
    workspace.close()


def test_a_dusk_tells_an_hour_and_the_suggestion_is_the_whole_hour(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workspace = workspace_with(tmp_path, ("north", datetime(2026, 3, 18, 16, 45), 150))
    see(monkeypatch, workspace, dusk(RIVER_BEND), {"north": 3600})
    told = workspace.survey.check_clocks(NIGHT)
    assert told.pairs == ()
    (only,) = told.suggestions
    assert (only.camera, only.seconds) == ("north", 3600)
    follow(workspace, only.command)
    again = workspace.survey.check_clocks(NIGHT)
    assert again.suns[0].span.right
    assert again.suggestions == ()
    workspace.close()


def test_what_was_not_surveyed_or_is_not_held_says_so(two: Workspace) -> None:
    with pytest.raises(UsageError, match="Nothing of 2026-03-18 was surveyed yet"):
        two.survey.check_clocks()
    with pytest.raises(UsageError, match="There is no frame of 2026-03-17"):
        two.survey.check_clocks("2026-03-17")


def test_an_archive_without_nights_says_so(tmp_path: Path) -> None:
    workspace = archive_in(tmp_path / "archive")
    with pytest.raises(UsageError, match="No night is held here yet"):
        workspace.survey.check_clocks()
    workspace.close()


def test_a_camera_without_a_site_is_not_held_against_the_sun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workspace = archive_in(tmp_path / "archive")
    card = tiny_card(tmp_path / "north", 40, begin=DARK)
    workspace.ingest.take([card], camera_name="north")
    see(monkeypatch, workspace, restless(7), {"north": 0})
    (check,) = workspace.survey.check_clocks().suns
    assert check.span.reason == "its site is not known"
    workspace.close()
