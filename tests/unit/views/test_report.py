from __future__ import annotations

import io
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from rich.console import Console

from archive.model.capture import CaptureFacts
from archive.model.results import (
    AuditFinding,
    AuditReport,
    ExportReport,
    FileNote,
    LineageAnswer,
    LineageInput,
    MadeFile,
    RebuildReport,
    StaleLine,
)
from archive.views.report import Report, clock, minutes, settings, size, span

NAME = "red\x1b[31m[bold]"


def said(tell: Callable[[Report], None]) -> str:
    sink = io.StringIO()
    tell(Report(Console(file=sink, width=200, highlight=False)))
    text = sink.getvalue()
    assert "\x1b" not in text
    return text


def test_markup_and_escapes_in_names_are_text() -> None:
    assert "[bold]" in said(lambda r: r.say("name [bold]"))
    text = said(lambda r: r.stale([StaleLine(path=NAME, state="stale", reason="why", changes=("[red]x",))]))
    assert "\\x1b[31m[bold]" in text
    assert "[red]x" in text


def test_long_lists_are_cut_and_counted() -> None:
    notes = tuple(FileNote(path=f"file{n}", text="left") for n in range(20))
    assert "… and 8 more; --json lists all." in said(lambda r: r.notes("Ignored", notes))
    assert said(lambda r: r.notes("Ignored", ())) == ""


def test_an_export_tells_what_is_made_there_and_lost() -> None:
    files = (MadeFile(path="exports/a.jpg", state="made"), MadeFile(path="exports/b.jpg", state="fresh"))
    lost = (FileNote(path="c.dng", text="is damaged"),)
    report = ExportReport(job="j", spec="set-hd", files=files, contested=("d.dng",), lost_frames=lost)
    text = said(lambda r: r.export(report))
    assert "set-hd: 1 made, 1 already there." in text
    assert "c.dng: is damaged" in text
    assert "1 frame has two current recipes" in text
    assert "nothing to do" in said(lambda r: r.export(ExportReport(job=None, spec="s", files=())))


def test_lineage_names_masters_recipes_and_the_rest_in_counts() -> None:
    item = LineageInput(frame="xxh128:" + "a" * 32, address="2026-03-18/one/1#1", name=NAME,
                        master="masters/x on BLUE",
                        versions=("sha256:" + "b" * 64,),
                        recipe=("exposure +0.5 EV",), pixel_key="")  # fmt: skip
    answer = LineageAnswer(
        asked="x.jpg", found_by="its bytes", certainty="certain", path="exports/x.jpg", spec="still-web",
        made="2026-03-20T10:00:00Z", made_by="job 1", generation=1, inputs=(item,) * 6,
        outputs=tuple(f"o{n}" for n in range(14)), state="fresh",
    )  # fmt: skip
    text = said(lambda r: r.lineage(answer))
    for part in ("masters/x on BLUE", "exposure +0.5 EV", "and 3 frames more", "and 2 more"):
        assert part in text


def test_audits_say_whether_all_is_well() -> None:
    good = AuditReport(
        volumes=("BLUE",), files=2, size=10, entries=3, derivatives=1, findings=(), grade="direct"
    )
    assert "All of them are what was recorded." in said(lambda r: r.audit(good))
    finding = AuditFinding(volume="BLUE", path=NAME, fault="is missing")
    bad = AuditReport(
        volumes=("BLUE",), files=2, size=10, entries=3, derivatives=1, findings=(finding,), grade="cached"
    )
    text = said(lambda r: r.audit(bad))
    assert "is missing" in text
    assert "Nothing was changed" in text
    rebuilt = RebuildReport(entries=1, rolls=1, frames=1, sequences=0, faults=("x: broken",))
    assert "x: broken" in said(lambda r: r.rebuild(rebuilt))


def test_nothing_held_says_what_to_do() -> None:
    assert "No recipe" in said(lambda r: r.recipe([]))
    assert "Every derivative" in said(lambda r: r.stale([]))


@pytest.mark.parametrize(
    ("count", "text"),
    [
        (0, "0 bytes"),
        (999, "999 bytes"),
        (1000, "1.0 kB"),
        (2_500_000, "2.5 MB"),
        (3e9, "3.0 GB"),
        (4.2e12, "4.20 TB"),
    ],
)
def test_sizes_are_said_as_people_say_them(count: int, text: str) -> None:
    assert size(count) == text


def test_times_are_told_on_the_site_s_clock() -> None:
    moment = datetime(2026, 3, 18, 22, 30, 15, 250_000, tzinfo=UTC)
    assert clock("Europe/Oslo", moment) == "2026-03-18 23:30:15.2 CET"
    assert clock(None, moment) == "2026-03-18 22:30:15.2 UTC"
    assert span(moment, moment, "Europe/Oslo") == "23:30 – 23:30 CET"
    assert (minutes(42), minutes(150)) == ("42 s", "2.5 min")


def test_settings_are_written_as_photographers_write_them() -> None:
    facts = CaptureFacts(exposure_s=8, f_number=1.8, iso=3200, focal_mm=20)
    assert settings(facts) == "8 s f/1.8 ISO 3200 20 mm"
    assert settings(CaptureFacts(exposure_s=0.004)) == "1/250 s"
    assert settings(CaptureFacts()) == ""
