"""Answers about recipes in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from io import StringIO

from rich.console import Console
from support.builders import entry_id, exposure, frame_id

from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.editing import (
    Carried,
    CompareRow,
    Comparison,
    Contest,
    FinishLine,
    LineState,
    Saved,
    Settled,
    Source,
    TakenBack,
)
from archive.model.entry import OWN, Version
from archive.model.listing import HistoryLine
from archive.views import recipereport
from archive.views.report import Report

VERSION = Version(entry=entry_id(1), counter=1, time="2026-03-19T06:15:02Z", person="Ingrid",
                  frame=frame_id(1), layer=OWN, line="main", recipe=exposure(0.5), note="first")  # fmt: skip


def said(tell: Callable[[Report], None]) -> str:
    out = StringIO()
    tell(Report(Console(file=out, width=100, highlight=False)))
    return out.getvalue()


def test_nothing_is_told_as_nothing() -> None:
    assert "noctuary recipe set" in said(lambda r: recipereport.tell_history(r, []))
    assert "No recipe" in said(lambda r: recipereport.tell_sources(r, [], why=True))
    assert "Nothing is contested" in said(lambda r: recipereport.tell_contests(r, []))
    assert "No finish" in said(lambda r: recipereport.tell_finish(r, []))
    assert "No house recipe" in said(lambda r: recipereport.tell_house(r, []))
    nothing = TakenBack(of=entry_id(1), entries=(), words=())
    assert "stands already" in said(lambda r: recipereport.tell_taken_back(r, nothing))


def test_sources_say_why_only_if_asked() -> None:
    sources = [
        Source(part="exposure", words="exposure +0.50 stops", kind="own", origin="own x", ramps=("a ramp",)),
        Source(part="crop", words="", kind="not applied"),
    ]  # fmt: skip
    short = said(lambda r: recipereport.tell_sources(r, sources, why=False))
    assert short == "exposure +0.50 stops\n"
    full = said(lambda r: recipereport.tell_sources(r, sources, why=True))
    assert full.splitlines() == [
        "exposure +0.50 stops",
        "    own x",
        "    a ramp",
        "not applied: crop",
    ]


def test_history_marks_what_stands_and_has_both_notes() -> None:
    line = HistoryLine(version=VERSION, current=True, words=("exposure +0.50 stops",), later_note="kept")
    text = said(lambda r: recipereport.tell_history(r, [line]))
    assert text.startswith(f"* {entry_id(1)[7:17]}  2026-03-19 06:15 UTC Ingrid  (own)")
    assert "“first”" in text
    assert "“kept”" in text


def test_carrying_tells_what_goes_on_what_ends_and_what_is_hidden() -> None:
    carried = Carried(entry=entry_id(2), frames=450, operators=("exposure",), ramps_ended=("exposure.stops",),
                      masked=tuple((f"N{n}.DNG", ("exposure",)) for n in range(14)))  # fmt: skip
    text = said(lambda r: recipereport.tell_carried(r, carried, dry_run=False))
    for part in ("exposure: carried to 450 frames", "ended as a ramp: exposure.stops", "N0.DNG keeps its own",
                 "and 2 more"):  # fmt: skip
        assert part in text
    assert "would be carried to" in said(lambda r: recipereport.tell_carried(r, carried, dry_run=True))


def test_a_save_tells_what_it_settled_and_who_keeps_their_own() -> None:
    frame = Frame(id=frame_id(1), camera="c", roll="r", path="100N/N1.DNG", role=Role.RAW,
                  taken=datetime(2026, 3, 18, tzinfo=UTC), time_source="offset", facts=CaptureFacts(),
                  night="2026-03-18")  # fmt: skip
    other = replace(VERSION, entry=entry_id(2), person="Bo")
    saved = Saved(frame=frame, entry=entry_id(3), words=("contrast +0.10",), shared=True, frames=6,
                  settled=(Settled(versions=(VERSION, other), shared=True, frames=1),),
                  masked=(("N2.DNG", ("contrast",)),),
                  masked_stills=(("N3.DNG", ("contrast",)),))  # fmt: skip
    text = said(lambda r: recipereport.tell_saved(r, saved))
    assert text.splitlines() == [
        f"shared by 6 frames: version {entry_id(3)[7:17]}",
        "  contrast +0.10",
        f"  Settled a contest of what 1 frame shared: goes on from {entry_id(1)[7:17]} by Ingrid of "
        f"2026-03-19 06:15 UTC; current no more: {entry_id(2)[7:17]} by Bo of 2026-03-19 06:15 UTC.",
        "    `noctuary recipe history` has them all, `noctuary recipe reinstate` takes another.",
        "  N2.DNG keeps its own contrast",
        "  N3.DNG keeps its own contrast (stills only)",
    ]
    noted = Saved(frame=frame, entry=entry_id(3), words=("noted",), version=False)
    assert said(lambda r: recipereport.tell_saved(r, noted)) == "N1.DNG\n  noted\n"
    spoken = replace(noted, frames=450, words=("the line print speaks now",))
    assert said(lambda r: recipereport.tell_saved(r, spoken)).startswith("450 frames\n")
    would = Carried(entry=None, frames=1, operators=("contrast",), masked=(), settled=saved.settled)
    text = said(lambda r: recipereport.tell_carried(r, would, dry_run=True))
    assert "would be carried to 1 frame." in text
    assert "Would settle a contest" in text


def test_history_says_in_words_what_is_contested() -> None:
    other = replace(VERSION, entry=entry_id(2), line="print")
    lines = [
        HistoryLine(version=version, current=True, words=(), line=called)
        for version, called in ((VERSION, "main"), (other, "calendar"))
    ]
    assert "Contested" not in said(lambda r: recipereport.tell_history(r, lines))
    rivals = [
        *lines,
        HistoryLine(version=replace(other, entry=entry_id(3)), current=True, words=(), line="calendar"),
    ]
    text = said(lambda r: recipereport.tell_history(r, rivals))
    assert "Contested: 2 own (line calendar) versions claim to be current" in text
    assert "(own, line calendar)" in text


def test_a_contest_shows_its_versions_side_by_side_and_which_is_used() -> None:
    contest = Contest(frames=("N1.DNG",), shared=False, versions=(VERSION, VERSION),
                      differences=(("exposure", ("exposure +0.50 stops", "exposure −0.5")),),
                      others=4, line="calendar", stills_only=True)  # fmt: skip
    text = said(lambda r: recipereport.tell_contests(r, [contest]))
    for part in ("N1.DNG and 4 others: 2 versions claim to be its own recipe",
                 "used until it is settled", "exposure −0.5", "In sets and movies nothing"):  # fmt: skip
        assert part in text


def test_comparisons_show_only_what_differs_and_the_figures() -> None:
    rows = (CompareRow(part="exposure", first="", second="exposure +0.50 stops"),
            CompareRow(part="crop", first="same", second="same"))  # fmt: skip
    found = Comparison(frame="N1.DNG", first="plain", second="now", width=600, height=400, mean=4.27,
                       largest=9.9, changed=0.994, any_changed=1.0, rows=rows, written="a.png",
                       contested=True)  # fmt: skip
    text = said(lambda r: recipereport.tell_comparison(r, found))
    for part in ("plain", "now", "exposure +0.50 stops", "alike in both: crop", "4.27 on average", "99.4 %",
                 "Written: a.png", "Contested: what stands now is the newest"):  # fmt: skip
        assert part in text


def test_lines_and_items_have_a_line_each() -> None:
    state = LineState(name="print", started_as="print", current=True, versions=2, newest=VERSION)
    assert said(lambda r: recipereport.tell_lines(r, [state])).startswith("* print  2 versions, newest ")
    item = FinishLine(id="sharpness-1", on=False, words="sharpness")
    assert "off" in said(lambda r: recipereport.tell_finish(r, [item]))
