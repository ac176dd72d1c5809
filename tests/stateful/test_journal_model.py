"""Three working copies of one archive, used, stopped, united in part and whole, against plain dictionaries.

The model knows of each copy the documents that lie in its journal, and adds them up by the written rules in
the plainest way: registers by the greatest (counter, id), versions by what nothing builds on, lines by what
is stated of each frame, ramps as straight lines between their anchors. The copies are real ones, with editing
parts, books and a catalogue each, on disks in memory that can stop at any step.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from support.builders import FOUNDATION, SITE, FakeClock, camera, frame_id, ingest, roll, roll_file, site
from support.disks import REMAINS, MemoryDisk, Stopped

from archive.catalogue.books import Books
from archive.catalogue.database import open_database
from archive.catalogue.lineage import standings
from archive.catalogue.noticing import MISSING
from archive.editing.recipes import Recipes
from archive.editing.sequences import Sequencing
from archive.editing.statements import Statements
from archive.editing.takeback import TakingBack
from archive.errors import UsageError
from archive.formats.volume import VolumeMark
from archive.journal.folders import entry_paths
from archive.journal.log import Log
from archive.journal.uniting import unite
from archive.model.entry import OWN, SHARED, Draft
from archive.model.recipe import EffectiveRecipe, Recipe
from archive.store.durable import read_bytes, write_new
from archive.store.userplace import Writer
from archive.store.volumes import Volume

pytestmark = pytest.mark.slow

Document = dict[str, Any]
Developed = tuple[float | None, float | None]
"""Stops of exposure and amount of chroma; None where nothing is done."""
COPIES = st.integers(0, 2)
FRAMES = range(1, 9)
ROLLS = (
    roll([roll_file(n, seconds=10 * n) for n in range(1, 7)], token="00000001"),
    roll([roll_file(n, seconds=900 + 10 * n) for n in (7, 8)], token="00000002"),
)
LINES = st.sampled_from(["dark", "warm"])
STOPS = st.sampled_from([-1.0, 0.5, 1.0])
SETTINGS = st.one_of(
    st.tuples(st.just("exposure.stops"), STOPS),
    st.tuples(st.just("chroma.amount"), st.sampled_from([0.2, -0.3])),
)
NAMES = st.sampled_from([f"NOCT{number:04d}.DNG" for number in FRAMES])
SMALL = bool(os.environ.get("NOCTUARY_MODEL_SHRINK"))


class Copy:
    """One working copy on a machine of its own."""

    def __init__(self, number: int, folder: Path, template: Path) -> None:
        self.number = number
        self.disk = MemoryDisk()
        self.database = folder / f"catalogue-{number}.sqlite"
        shutil.copy(template, self.database)
        self.writer = Writer(f"w{number}", complete=True)
        self.open()

    def open(self) -> None:
        mark = VolumeMark(archive="a" * 32, volume=f"{self.number:032x}", name="BLUE", created="2026-03-19")
        volume = Volume(root=Path(f"/nowhere/{self.number}"), mark=mark, disk=self.disk)
        log = Log([self.disk], writer=self.writer, person="Ingrid", now=FakeClock(), say=lambda _text: None)
        self.books = Books([volume], log, f"sqlite:///{self.database}")
        self.books.sync()
        self.statements = Statements(self.books)
        self.recipes = Recipes(self.books, FOUNDATION)
        self.sequencing = Sequencing(self.books)

    def documents(self) -> dict[str, Document]:
        """What lies in the journal, by name."""
        return {name: json.loads(read_bytes(self.disk, path)) for path, name in entry_paths(self.disk)}


@dataclass(frozen=True, kw_only=True)
class Told:
    """What one version says: stops of exposure and chroma, None for nothing; under a ramp, what that says.

    ``movies`` tells whether an own version counts in sequences.
    """

    stops: float | None
    chroma: float | None = None
    movies: bool = False
    anchors: tuple[tuple[str, float], ...] = ()
    along: tuple[tuple[str, int], ...] = ()

    def at(self, frame: str) -> float | None:
        """The stops at a frame: on straight lines between the anchors, flat outside, to a thousandth."""
        if not self.anchors:
            return self.stops
        moments = dict(self.along)
        knots = sorted((moments[anchor], stops) for anchor, stops in self.anchors)
        places, values = zip(*knots, strict=True)
        return round(float(np.interp(moments[frame], places, values)), 3)


class Known:
    """What some documents add up to, in plain dictionaries."""

    def __init__(self, documents: dict[str, Document]) -> None:
        self.registers: dict[tuple[str, str, str], tuple[tuple[int, str], Any]] = {}
        self.versions: dict[tuple[str, str, str], dict[str, tuple[int, Told]]] = {}
        self.replaced: dict[tuple[str, str, str], set[str]] = {}
        for name, document in documents.items():
            self._take(name.rpartition("-")[2][:16], document)

    def _take(self, short_id: str, document: Document) -> None:
        order = (document["counter"], short_id)
        listed = {
            change["subjects"][0]: change["value"]
            for change in document["changes"]
            if change["layer"] == "selection"
        }
        for change in document["changes"]:
            for subject in change["subjects"]:
                if change["layer"] in (OWN, SHARED):
                    told = _told(change["value"], subject, listed)
                    for frame in listed[subject]["frames"] if subject in listed else [subject]:
                        place = (frame, change["layer"], change["line"])
                        self.versions.setdefault(place, {})[short_id] = (document["counter"], told)
                        older = {each.removeprefix("sha256:")[:16] for each in change["builds_on"]}
                        self.replaced.setdefault(place, set()).update(older)
                elif change["layer"] != "selection":
                    key = (subject, change["layer"], change["line"])
                    if key not in self.registers or self.registers[key][0] < order:
                        self.registers[key] = (order, change["value"])

    def value(self, frame: str, layer: str, line: str = "") -> Any:
        return self.registers.get((frame, layer, line), (None, None))[1]

    def line(self, frame: str) -> str:
        return self.value(frame, "line") or "main"

    def lines(self, frame: str) -> set[str]:
        """The lines that a frame has, whatever speaks for it."""
        return {"main", self.line(frame)} | {line for who, _, line in self.versions if who == frame}

    def heads(self, frame: str, layer: str) -> list[Told]:
        """The current versions of what speaks for a frame, newest first: of its line, else the main one."""
        return self._heads(frame, layer, self.line(frame)) or self._heads(frame, layer, "main")

    def _heads(self, frame: str, layer: str, line: str) -> list[Told]:
        held = self.versions.get((frame, layer, line), {})
        current = [
            (counter, entry, told)
            for entry, (counter, told) in held.items()
            if entry not in self.replaced[frame, layer, line]
        ]
        return [told for _, _, told in sorted(current, key=lambda head: head[:2], reverse=True)]

    def effective(self, frame: str, *, movie: bool = False) -> Developed:
        """The stops and the chroma that a still of the frame, or its place in a movie, is developed with."""
        own = [told for told in self.heads(frame, OWN) if told.movies or not movie]
        speaking = [*own[:1], *self.heads(frame, SHARED)[:1]]
        stops = next((told.at(frame) for told in speaking if told.stops is not None), None)
        return stops, next((told.chroma for told in speaking if told.chroma is not None), None)

    def ramps(self, frames: list[str]) -> set[tuple[Any, ...]]:
        """The ramps that these frames share."""
        heads = [head for frame in frames for head in self.heads(frame, SHARED)[:1]]
        return {(head.anchors, head.along) for head in heads if head.anchors}


def _told(value: Document, subject: str, listed: dict[str, Document]) -> Told:
    recipe = value["recipe"]
    said = {step["operator"]: step["values"] for step in recipe["base"]}
    stops = said["exposure"]["stops"] if "exposure" in said else None
    told = Told(
        stops=stops,
        chroma=said["chroma"]["amount"] if "chroma" in said else None,
        movies=value["in_sequence"],
    )
    if not recipe["ramps"]:
        return told
    (ramp,) = recipe["ramps"]
    along = listed[ramp.get("along") or subject]
    return replace(
        told,
        anchors=tuple((anchor["frame"], anchor["value"]) for anchor in ramp["anchors"]),
        along=tuple(zip(along["frames"], along["milliseconds"], strict=True)),
    )


def developed(recipe: Recipe | EffectiveRecipe) -> Developed:
    """The stops and the chroma that a recipe of the archive says; None where it says none."""
    said = {step.name: step.values for step in recipe.base}
    stops, chroma = said.get("exposure"), said.get("chroma")
    return (
        None if stops is None else float(stops["stops"]),
        None if chroma is None else float(chroma["amount"]),
    )


class Journals(RuleBasedStateMachine):
    """What people do with three copies, in any order."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="noctuary-model-"))
        template = self.folder / "template.sqlite"
        open_database(f"sqlite:///{template}").dispose()
        self.copies = [Copy(number, self.folder, template) for number in range(3)]
        self.touched = set(self.copies)
        self.copies[0].books.state(Draft(kind="ingest", changes=(camera(), site(), ingest(ROLLS[0]))))
        unite(self.copies[0].disk, self.copies[1].disk)
        self.copies[1].books.sync()

    def teardown(self) -> None:
        for copy in getattr(self, "copies", ()):
            copy.books.close()
        if hasattr(self, "folder"):
            shutil.rmtree(self.folder, ignore_errors=True)

    def holds(self, copy: Copy, name: str) -> bool:
        return bool(copy.books.catalogue.frames(name=name))

    def done(self, copy: Copy, act: Callable[[], object]) -> Known:
        """Do something that a person asks of a copy; nothing that was there before is touched by it."""
        before = copy.documents()
        act()
        after = copy.documents()
        assert before.items() <= after.items()
        self.touched.add(copy)
        return Known(after)

    def refused(self, copy: Copy, act: Callable[[], object], words: str) -> None:
        """What cannot be done is said, and writes nothing."""
        before = copy.documents()
        with pytest.raises(UsageError, match=words):
            act()
        assert copy.documents() == before

    def name_of(self, frame: str) -> str:
        return next(f"NOCT{number:04d}.DNG" for number in FRAMES if frame_id(number) == frame)

    def earliest(self, copy: Copy) -> str:
        return min(copy.books.catalogue.frames(), key=lambda frame: frame.taken).name

    # -- deciding ------------------------------------------------------------------------------

    @rule(number=COPIES, name=NAMES, value=st.integers(-1, 5))
    def rate(self, number: int, name: str, value: int) -> None:
        copy = self.copies[number]
        if self.holds(copy, name):
            known = self.done(copy, lambda: copy.statements.rate([name], value))
            assert (known.value(frame_id(int(name[4:8])), "rating") or 0) == value

    @rule(number=COPIES, name=NAMES, on=st.booleans())
    def give_a_keyword(self, number: int, name: str, on: bool) -> None:
        copy = self.copies[number]
        if self.holds(copy, name):
            known = self.done(copy, lambda: copy.statements.keyword([name], "ice", on=on))
            assert bool(known.value(frame_id(int(name[4:8])), "keyword", "ice")) == on

    @rule(number=COPIES, name=NAMES, what=SETTINGS, movies=st.booleans())
    def save(self, number: int, name: str, what: tuple[str, float], movies: bool) -> None:
        copy = self.copies[number]
        frame, before = frame_id(int(name[4:8])), Known(copy.documents())
        if not self.holds(copy, name):
            return
        known = self.done(copy, lambda: copy.recipes.set(name, ["{}={}".format(*what)], in_sequence=movies))
        (told,) = known.heads(frame, OWN)
        held = (before.heads(frame, OWN) or [Told(stops=None)])[0]
        assert (told.stops, told.chroma) == (
            (what[1], held.chroma) if what[0] == "exposure.stops" else (held.stops, what[1])
        )
        assert known.effective(frame)[what[0] != "exposure.stops"] == what[1]

    @rule(number=COPIES, name=NAMES, which=st.integers(0, 5))
    def reinstate(self, number: int, name: str, which: int) -> None:
        copy = self.copies[number]
        frame = frame_id(int(name[4:8]))
        known = Known(copy.documents())
        held = sorted(
            (entry, told)
            for (who, layer, _), versions in known.versions.items()
            for entry, (_, told) in versions.items()
            if (who, layer) == (frame, OWN)
        )
        if held and self.holds(copy, name):
            entry, told = held[which % len(held)]
            known = self.done(copy, lambda: copy.recipes.reinstate(name, entry))
            assert [replace(head, movies=told.movies) for head in known.heads(frame, OWN)] == [told]

    @rule(number=COPIES, name=NAMES)
    def carry(self, number: int, name: str) -> None:
        copy = self.copies[number]
        source, before = frame_id(int(name[4:8])), Known(copy.documents())
        stops, chroma = before.effective(source)
        lines = copy.books.catalogue.sequences()
        if (stops is None and chroma is None) or not lines or not self.holds(copy, name):
            return
        frames = [frame.id for frame in copy.books.catalogue.frames(sequence=lines[0].key)]
        if len({before.line(frame) for frame in frames}) > 1:
            self.refused(copy, lambda: copy.recipes.carry(name, lines[0].address), "several lines")
            return
        kept: list[str] = []
        known = self.done(copy, lambda: kept.extend(copy.recipes.carry(name, lines[0].address).ramps_kept))
        for frame in frames:
            (told,) = known.heads(frame, SHARED)
            assert kept or not told.anchors
            assert told.chroma == chroma or chroma is None
            ramps = bool(told.anchors) and told.anchors == before.heads(frame, SHARED)[0].anchors
            assert stops is None or told.at(frame) == stops or ramps

    @rule(number=COPIES, name=NAMES, line=LINES, aside=st.booleans())
    def start_a_line(self, number: int, name: str, line: str, aside: bool) -> None:
        copy = self.copies[number]
        frame, before = frame_id(int(name[4:8])), Known(copy.documents())
        if not self.holds(copy, name):
            return
        if line in before.lines(frame):
            self.refused(copy, lambda: copy.recipes.lines.start(name, line, aside=aside), "already")
            return
        known = self.done(copy, lambda: copy.recipes.lines.start(name, line, aside=aside))
        assert known.line(frame) == (before.line(frame) if aside else line)
        assert known.effective(frame) == before.effective(frame)

    @rule(number=COPIES, name=NAMES, line=st.sampled_from(["main", "dark", "warm"]))
    def use_a_line(self, number: int, name: str, line: str) -> None:
        copy = self.copies[number]
        frame, before = frame_id(int(name[4:8])), Known(copy.documents())
        if not self.holds(copy, name):
            return
        if line not in before.lines(frame):
            self.refused(copy, lambda: copy.recipes.lines.use(name, line), "no line")
            return
        assert self.done(copy, lambda: copy.recipes.lines.use(name, line)).line(frame) == line

    @rule(number=COPIES, first=st.integers(1, 3), second=st.integers(4, 6), values=st.tuples(STOPS, STOPS))
    def ramp(self, number: int, first: int, second: int, values: tuple[float, float]) -> None:
        copy = self.copies[number]
        lines = copy.books.catalogue.sequences()
        if not lines:
            return
        before = Known(copy.documents())
        frames = [frame.id for frame in copy.books.catalogue.frames(sequence=lines[0].key)]
        chosen = [frames[min(place, len(frames)) - 1] for place in (first, second)]
        given = dict(zip(chosen, values, strict=True))
        anchors = [f"{self.name_of(frame)}={stops}" for frame, stops in given.items()]

        def act() -> None:
            copy.recipes.ramps.add(lines[0].address, "exposure.stops", anchors, rule="linear")

        held = before.ramps(frames)
        strange = any(set(given) - {frame for frame, _ in along} for _, along in held)
        if len(held) > 1 or strange or len({before.line(frame) for frame in frames}) > 1:
            self.refused(copy, act, "different ramps|not among the frames|several lines")
            return
        known = self.done(copy, act)
        for frame, stops in given.items():
            if before.ramps([frame]) == held:
                assert known.heads(frame, SHARED)[0].at(frame) == stops

    @rule(number=COPIES, name=NAMES, joined=st.booleans())
    def state_where_a_sequence_breaks(self, number: int, name: str, joined: bool) -> None:
        copy = self.copies[number]
        frame = frame_id(int(name[4:8]))
        if self.holds(copy, name) and not (joined and name == self.earliest(copy)):
            say = copy.sequencing.join if joined else copy.sequencing.break_before
            known = self.done(copy, lambda: say(name))
            assert bool(known.value(frame, "sequence-break")) != joined
            assert bool(known.value(frame, "sequence-join")) == joined

    @rule(number=COPIES, name=NAMES, value=st.integers(-1, 5))
    def take_a_rating_back(self, number: int, name: str, value: int) -> None:
        copy = self.copies[number]
        frame, before = frame_id(int(name[4:8])), Known(copy.documents())
        if not self.holds(copy, name) or (before.value(frame, "rating") or 0) == value:
            return
        names = copy.documents().keys()
        self.done(copy, lambda: copy.statements.rate([name], value))
        (entry,) = copy.documents().keys() - names
        taking_back = TakingBack(copy.recipes.bench)
        known = self.done(copy, lambda: taking_back.take_back(entry.rpartition("-")[2][:16]))
        assert known.value(frame, "rating") == (before.value(frame, "rating") or 0)

    @rule(number=COPIES, name=NAMES, what=SETTINGS)
    def take_a_recipe_back(self, number: int, name: str, what: tuple[str, float]) -> None:
        copy = self.copies[number]
        frame, before = frame_id(int(name[4:8])), Known(copy.documents())
        if not self.holds(copy, name) or len(before.heads(frame, OWN)) > 1:
            return
        movies = bool(before.heads(frame, OWN) and before.heads(frame, OWN)[0].movies)
        names = copy.documents().keys()
        self.done(copy, lambda: copy.recipes.set(name, ["{}={}".format(*what)], in_sequence=movies))
        new = copy.documents().keys() - names
        if new:
            # What says what was said already writes nothing, and cannot be taken back.
            (entry,) = new
            taking_back = TakingBack(copy.recipes.bench)
            known = self.done(copy, lambda: taking_back.take_back(entry.rpartition("-")[2][:16]))
            for movie in (False, True):
                assert known.effective(frame, movie=movie) == before.effective(frame, movie=movie)

    @rule(number=COPIES, name=NAMES, line=LINES)
    def rename_a_line(self, number: int, name: str, line: str) -> None:
        copy = self.copies[number]
        frame, before = frame_id(int(name[4:8])), Known(copy.documents())
        if not self.holds(copy, name) or line not in before.lines(frame):
            return
        known = self.done(copy, lambda: copy.recipes.lines.rename(name, line, f"{line} one"))
        assert known.value(frame, "line-name", line) == f"{line} one"
        assert (known.line(frame), known.effective(frame)) == (before.line(frame), before.effective(frame))

    @rule(number=COPIES, name=NAMES, values=st.permutations([-1.0, 0.5, 1.0]), which=st.integers(-1, 1))
    def save_apart_and_unite(self, number: int, name: str, values: list[float], which: int) -> None:
        """Two save the same frame and neither knows of the other; sometimes it is settled at once."""
        other = (number + 1) % len(self.copies)
        for each, stops in zip((number, other), values, strict=False):
            self.save(each, name, ("exposure.stops", stops), False)
        self.unite(other, number)
        if which >= 0:
            self.settle(number, which)

    @rule(number=COPIES, which=st.integers(0, 3))
    def settle(self, number: int, which: int) -> None:
        copy = self.copies[number]
        before = Known(copy.documents())
        contested = [
            frame
            for frame in map(frame_id, FRAMES)
            if len(before.heads(frame, OWN)) > 1 >= len(before.heads(frame, SHARED))
        ]
        name = next(filter(lambda each: self.holds(copy, each), map(self.name_of, contested)), None)
        if name is None:
            return
        frame = frame_id(int(name[4:8]))
        (standing,) = standings(copy.books.catalogue, [frame]).values()
        taken = standing.own[which % len(standing.own)]
        known = self.done(copy, lambda: copy.recipes.contests.settle(name, take=taken.entry))
        (told,) = known.heads(frame, OWN)
        assert (told.stops, told.chroma) == developed(taken.recipe)

    @rule(number=COPIES, hours=st.integers(-2, 2))
    def correct_the_clock(self, number: int, hours: int) -> None:
        copy = self.copies[number]
        (body,) = copy.books.catalogue.cameras().values() or [None]
        if body is None:
            return
        before = Known(copy.documents())
        true = f"2026-03-18T{12 + hours:02d}:00:00+00:00"
        known = self.done(
            copy, lambda: copy.statements.set_clock(body, reads="2026-03-18T12:00:00+00:00", true=true)
        )
        stated = [value for (_, layer, _), (_, value) in known.registers.items() if layer == "clock"]
        assert [value["true"] for value in stated] == [true]
        for number_of in FRAMES:
            # What runs along a sequence has its own times: no picture is another one now.
            frame = frame_id(number_of)
            assert known.effective(frame, movie=True) == before.effective(frame, movie=True)

    @rule(number=COPIES, longitude=st.sampled_from([18.9, -18.9]))
    def correct_the_site(self, number: int, longitude: float) -> None:
        copy = self.copies[number]
        known = self.done(
            copy, lambda: copy.statements.add_site("River bend", 69.6, longitude, 40, "Europe/Oslo")
        )
        assert known.value(SITE, "site")["longitude"] == longitude

    @rule(number=COPIES, which=st.integers(0, 1))
    def take_in_a_roll(self, number: int, which: int) -> None:
        copy = self.copies[number]
        draft = Draft(kind="ingest", changes=(camera(), site(), ingest(ROLLS[which])))
        if f"roll:{ROLLS[which].id}" not in {key[0] for key in Known(copy.documents()).registers}:
            self.done(copy, lambda: copy.books.state(draft))

    # -- moving entries about ------------------------------------------------------------------

    @rule(giver=COPIES, taker=COPIES)
    def unite(self, giver: int, taker: int) -> None:
        ours, theirs = self.copies[taker], self.copies[giver]
        if ours is not theirs:
            self.done(ours, lambda: (unite(theirs.disk, ours.disk), ours.books.sync()))
            assert ours.documents().items() >= theirs.documents().items()

    @rule(giver=COPIES, taker=COPIES, choice=st.randoms(use_true_random=False))
    def bring_some_entries(self, giver: int, taker: int, choice: Any) -> None:
        """A copying by hand that was broken off: any entries, those they build on or not."""
        ours, theirs = self.copies[taker], self.copies[giver]
        held = ours.documents()
        for path, name in entry_paths(theirs.disk):
            if name not in held and choice.random() < 0.4:
                write_new(ours.disk, path.rpartition("/")[0], name, read_bytes(theirs.disk, path))
        self.done(ours, ours.books.sync)

    # -- misfortune ----------------------------------------------------------------------------

    @rule(
        number=COPIES,
        name=NAMES,
        steps=st.integers(1, 12),
        after=st.booleans(),
        left=st.sampled_from(REMAINS),
    )
    def be_stopped_while_rating(self, number: int, name: str, steps: int, after: bool, left: str) -> None:
        copy = self.copies[number]
        if not self.holds(copy, name):
            return
        before = copy.documents()
        copy.disk.stop_at, copy.disk.after = copy.disk.steps + steps, after
        try:
            copy.statements.rate([name], 5)
        except Stopped:
            copy.books.close()
            copy.disk = getattr(copy.disk, left)()
            copy.open()
        copy.disk.stop_at = None
        assert before.items() <= copy.documents().items()
        assert len(copy.documents()) <= len(before) + 1
        self.done(copy, lambda: copy.statements.rate([name], 5))
        assert copy.disk.files("incoming") == []

    @rule(
        number=COPIES,
        name=NAMES,
        what=st.sampled_from(["carry", "ramp", "save"]),
        steps=st.integers(1, 12),
        left=st.sampled_from(REMAINS),
    )
    def be_stopped_while_editing(self, number: int, name: str, what: str, steps: int, left: str) -> None:
        copy = self.copies[number]
        lines = copy.books.catalogue.sequences()
        if not lines or not self.holds(copy, name):
            return
        where = lines[0].address

        def act() -> None:
            if what == "carry":
                copy.recipes.carry(name, where)
            elif what == "ramp":
                copy.recipes.ramps.add(where, "exposure.stops", ["#1=0.25", "#2=0.75"], rule="linear")
            else:
                copy.recipes.set(name, ["exposure.stops=0.125"])

        before = copy.documents()
        copy.disk.stop_at, copy.disk.after = copy.disk.steps + steps, False
        try:
            act()
        except UsageError:
            assert copy.documents() == before
        except Stopped:
            copy.books.close()
            copy.disk = getattr(copy.disk, left)()
            copy.open()
        copy.disk.stop_at = None
        assert before.items() <= copy.documents().items()
        assert len(copy.documents()) <= len(before) + 1
        self.touched.add(copy)

    @rule(number=COPIES)
    def be_opened_again(self, number: int) -> None:
        copy = self.copies[number]
        copy.books.close()
        before = copy.documents()
        copy.open()
        assert copy.documents() == before

    @rule(number=COPIES)
    def rebuild(self, number: int) -> None:
        copy = self.copies[number]
        told = copy.books.catalogue.dump()
        copy.books.rebuild()
        assert copy.books.catalogue.dump() == told

    # -- what always holds ---------------------------------------------------------------------

    @invariant()
    def each_copy_answers_as_its_documents_add_up(self) -> None:
        for copy in getattr(self, "touched", set()):
            known = Known(copy.documents())
            catalogue = copy.books.catalogue
            standing = standings(catalogue, [frame_id(number) for number in FRAMES])
            for number in FRAMES:
                frame = frame_id(number)
                assert catalogue.stated(frame, "rating") == known.value(frame, "rating")
                assert catalogue.stated(frame, "keyword", "ice") == known.value(frame, "keyword", "ice")
                for layer, said in ((OWN, standing[frame].own), (SHARED, standing[frame].shared)):
                    heads = [(head.stops, head.chroma) for head in known.heads(frame, layer)]
                    assert [developed(version.recipe) for version in said] == heads
                assert standing[frame].line == known.line(frame)
                for movie in (False, True):
                    shown = copy.recipes.bench.effective(standing[frame], in_sequence=movie)
                    assert developed(shown) == known.effective(frame, movie=movie)
            held = {(roll.id, file.digest) for roll in ROLLS for file in roll.files}
            stated = {key[0].removeprefix("roll:") for key in known.registers if key[1] == "ingest"}
            frames = {frame for roll_id, frame in held if roll_id in stated}
            assert set(catalogue.frames_by_id([frame_id(n) for n in FRAMES])) == frames
            assert {fault.place for fault in catalogue.faults()} <= {MISSING}
        self.touched = set()

    @precondition(lambda self: hasattr(self, "copies"))
    @rule()
    def all_are_united(self) -> None:
        for _ in range(2):
            for source in self.copies:
                for target in self.copies:
                    if source is not target:
                        unite(source.disk, target.disk)
        for _ in range(2):
            # A sequence that uniting brought up is numbered by whoever sees it first; others take that up.
            for copy in self.copies:
                for other in self.copies:
                    if other is not copy:
                        unite(other.disk, copy.disk)
                copy.books.sync()
        dumps = [copy.books.catalogue.dump() for copy in self.copies]
        assert dumps[0] == dumps[1] == dumps[2]
        assert dumps[0]["fault"] == []
        self.touched = set(self.copies)


TestJournals = Journals.TestCase
TestJournals.settings = settings(
    max_examples=int(os.environ.get("NOCTUARY_MODEL_EXAMPLES", "5")),
    stateful_step_count=int(os.environ.get("NOCTUARY_MODEL_STEPS", "18")),
    deadline=None,
    # Making a failure small takes minutes. Its blob makes it again; who looks into it asks for a small one.
    phases=[phase for phase in Phase if SMALL or phase not in (Phase.shrink, Phase.explain)],
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def test_the_model_tells_contested_versions_from_replaced_ones() -> None:
    def saved(counter: int, stops: float, builds_on: list[str]) -> Document:
        recipe = {"base": [{"operator": "exposure", "values": {"stops": stops}}], "ramps": []}
        change = {"subjects": ["f"], "layer": OWN, "line": "main", "builds_on": builds_on}
        value = {"recipe": recipe, "in_sequence": False}
        return {"counter": counter, "changes": [{**change, "value": value}]}

    documents = {f"{n:010d}-x-{n:016d}.json": saved(n, float(n), ["sha256:" + f"{1:016d}"]) for n in (2, 3)}
    documents[f"{1:010d}-x-{1:016d}.json"] = saved(1, 1.0, [])
    assert [head.stops for head in Known(documents).heads("f", OWN)] == [3.0, 2.0]
