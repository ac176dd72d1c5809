"""What is asked of the database for one command does not grow with the archive."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import event
from support.builders import CAMERA, SITE, STARTED, frame_id, ingest, roll_file
from support.exports import SEQUENCE, studio

from archive.catalogue.finding import matching
from archive.catalogue.lineage import contested_frames
from archive.catalogue.query import parse
from archive.model.capture import Roll
from archive.model.entry import Change, Draft
from archive.workspace import Workspace

NIGHTS = 12
PER_NIGHT = 30


def grow(workspace: Workspace) -> None:
    """Many more nights of another camera, a sequence each, with a rating and a keyword."""
    for night in range(1, NIGHTS + 1):
        first = 1000 + night * PER_NIGHT
        files = tuple(roll_file(first + n, seconds=86_400 * (night + 30) + 10 * n) for n in range(PER_NIGHT))
        date = f"{STARTED + timedelta(days=night + 30):%Y-%m-%d}"
        token = f"{night:08x}"
        roll = Roll(
            id=token,
            folder=f"{date}/far-{token}",
            camera=CAMERA,
            night=date,
            site=SITE,
            card=None,
            files=files,
        )
        said = (
            Change(subjects=(frame_id(first),), layer="rating", value=5),
            Change(subjects=(frame_id(first + 1),), layer="keyword", line="arc", value=True),
        )
        workspace.books.state(Draft(kind="ingest", changes=(ingest(roll),)))
        workspace.books.state(Draft(kind="rating", changes=said))


def test_commands_ask_as_much_of_a_large_archive_as_of_a_small_one(tmp_path: Path) -> None:
    place = studio(tmp_path)
    workspace = place.workspace
    asked: list[str] = []
    event.listen(
        workspace.books.catalogue.engine, "before_cursor_execute", lambda *told: asked.append(told[2])
    )

    def count(work: Callable[[], object]) -> int:
        asked.clear()
        work()
        return len(asked)

    night = SEQUENCE.partition("/")[0]
    commands: dict[str, Callable[[], object]] = {
        "nights": workspace.nights,
        "sequences": workspace.sequences,
        "sequences --curves": lambda: workspace.courses.told(workspace.sequences()),
        "frames NIGHT": lambda: workspace.frames(night),
        "show": lambda: workspace.story(f"{SEQUENCE}#1"),
        "find": lambda: workspace.find("rating:5 or iso>1"),
        "find none": lambda: workspace.find("iso:12345"),
        "sync": workspace.books.sync,
    }
    small = {name: count(work) for name, work in commands.items()}
    rate = count(lambda: workspace.statements.rate([f"{SEQUENCE}#2"], 3))
    grow(workspace)
    workspace.books.sync()
    assert workspace.books.catalogue.counts()["frame"] >= NIGHTS * PER_NIGHT
    large = {name: count(work) for name, work in commands.items()}
    more = {name: (small[name], large[name]) for name in commands if large[name] > small[name] + 2}
    assert more == {}
    assert count(lambda: workspace.statements.rate([f"{SEQUENCE}#2"], 4)) <= rate + 2
    assert max(large.values()) < 60
    workspace.close()


def test_what_renewing_would_change_is_not_asked_frame_by_frame(tmp_path: Path) -> None:
    """250 frames took 1 756 statements, seven for each."""
    place = studio(tmp_path)
    recipes = place.workspace.recipes
    recipes.set(SEQUENCE, ["exposure.stops=0.5"], shared=True)
    asked: list[str] = []
    event.listen(
        place.workspace.books.catalogue.engine,
        "before_cursor_execute",
        lambda *told: asked.append(told[2]),
    )
    counts = []
    for name in (f"{SEQUENCE}#1", SEQUENCE):
        asked.clear()
        assert recipes.renewing.pending(name) == ()
        counts.append(len(asked))
    assert len(place.workspace.frames(SEQUENCE)) >= 6
    assert 0 < counts[1] <= counts[0] + 2
    place.workspace.close()


def test_frames_are_found_by_name_and_by_id_without_going_through_all(tmp_path: Path) -> None:
    place = studio(tmp_path)
    catalogue = place.workspace.books.catalogue
    told: list[tuple[str, object]] = []
    event.listen(
        catalogue.engine, "before_cursor_execute", lambda *held: told.append((held[2], tuple(held[3])))
    )
    (frame,) = catalogue.frames(name="NOCT0003")
    assert catalogue.frames(name="NOCT0003.JPG") == catalogue.frames(id_start=frame.id[:15]) == [frame]
    assert contested_frames(catalogue) == []
    for text, values in list(told):
        with catalogue.engine.connect() as connection:
            plan = [row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}", values)]
        assert not any(step.startswith(("SCAN frame", "SCAN file")) for step in plan), plan
    place.workspace.close()


@pytest.mark.parametrize(
    "query", ["", "rating:0", "iso>100 exposure<100", "not keyword:arc", "camera:one sequence:1"]
)
def test_nights_are_gone_through_by_an_index_and_in_the_order_of_time(tmp_path: Path, query: str) -> None:
    place = studio(tmp_path)
    catalogue = place.workspace.books.catalogue
    told: list[tuple[str, object]] = []
    event.listen(
        catalogue.engine, "before_cursor_execute", lambda *held: told.append((held[2], tuple(held[3])))
    )
    matching(catalogue, parse(query), 50)
    searched = [(text, values) for text, values in told if "FROM night_camera JOIN frame" in text]
    assert searched
    for text, values in searched:
        with catalogue.engine.connect() as connection:
            rows = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {text}", values)
            plan = [row[3] for row in rows]
        assert any(
            "SEARCH frame USING INDEX frame_by_night (night=? AND camera=?" in step for step in plan
        ), plan
        assert not any(step.startswith("SCAN frame") for step in plan)
    place.workspace.close()
