"""What was surveyed, in words and small curves."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

import pytest
from rich.console import Console

from archive.errors import Exit
from archive.model.survey import (
    Basis,
    Finding,
    SequenceSurvey,
    Suggestion,
    Suggestions,
    SurveyLine,
    SurveyNote,
    SurveyReport,
)
from archive.views.report import Report
from archive.views.surveyreport import _curve, tell_basis, tell_suggestions, tell_survey, tell_surveyed


def lines(count: int) -> tuple[SurveyLine, ...]:
    return tuple(
        SurveyLine(
            frame=f"xxh128:{n:032x}", position=n, name=f"NOCT{n:04d}.DNG",
            taken=datetime(2026, 3, 18, 22, tzinfo=UTC) + timedelta(seconds=10 * n),
            brightness=-5.0, scene=-11.0, clipped=0, dark=0, sharpness=None,
            green=float(n), red=0, moved=(0, 0),
        )
        for n in range(1, count + 1)
    )  # fmt: skip


@pytest.fixture
def report() -> Report:
    return Report(Console(file=io.StringIO(), width=120, highlight=False))


def said(report: Report) -> str:
    assert isinstance(report.console.file, io.StringIO)
    return report.console.file.getvalue()


def test_curves_run_from_least_to_most_and_have_gaps() -> None:
    low, bars, high = _curve([1.0, None, 3.0], ".0f")
    assert (low, bars, high) == ("1", "▁ █", "3")
    assert _curve([None, None], ".0f") == ("–", "", "–")
    assert len(_curve([float(n) for n in range(450)], ".0f")[1]) == 40


def test_findings_are_told_by_frame_and_local_time(report: Report) -> None:
    finding = Finding(kind="dew", position=3, text="stars spread from here on")
    told = SequenceSurvey(name="n/1", zone="Europe/Oslo", lines=lines(6), findings=(finding,), unseen=2)
    tell_surveyed(report, told)
    for part in ("n/1", "2 frames are not surveyed", "#3 23:00:30  stars spread", "▁", "█"):
        assert part in said(report)


def test_a_quiet_sequence_says_so_and_an_empty_one_nothing_more(report: Report) -> None:
    tell_surveyed(report, SequenceSurvey(name="n/1", zone=None, lines=lines(3), findings=(), unseen=0))
    assert "Nothing notable" in said(report)
    tell_surveyed(report, SequenceSurvey(name="n/2", zone=None, lines=(), findings=(), unseen=9))
    assert said(report).endswith("9 frames are not surveyed.\n")


def test_what_failed_is_told_with_its_reason(report: Report) -> None:
    notes = tuple(SurveyNote(path=f"a/{n}", text="is damaged") for n in range(20))
    told = SurveyReport(measured=4, held=2, copied=1, rolls=(), failed=notes)
    tell_survey(report, told)
    assert told.exit_code is Exit.ATTENTION
    for part in ("4 frames measured, 2 held already; 1 records", "a/11: is damaged", "and 8 more"):
        assert part in said(report)


@pytest.mark.parametrize("width", [80, 200])
def test_the_curves_of_a_survey_fit_the_terminal_whole(width: int) -> None:
    report = Report(Console(file=io.StringIO(), width=width, highlight=False))
    told = SequenceSurvey(name="2026-03-18/north/1", zone=None, lines=lines(450), findings=(), unseen=2)
    tell_surveyed(report, told)
    shown = said(report).splitlines()
    assert max(map(len, shown)) <= width
    (green,) = [line for line in shown if line.startswith("green")]
    assert green.split()[1:] == ["1", green.split()[2], "450"]
    assert len(green.split()[2]) == 40


def test_an_answer_from_a_part_of_the_frames_says_how_large_it_is_what_lacks_and_what_to_do(
    report: Report,
) -> None:
    """Rushes, suggestions and keograms used what there was without a word."""
    whole = Basis(name="2026-03-18/north/1", frames=90)
    tell_basis(report, whole)
    assert (said(report), whole.exit_code) == ("", Exit.DONE)
    part = Basis(name="2026-03-18/north/1", frames=90, unseen=61, unusable=1)
    tell_basis(report, part)
    assert said(report).splitlines() == [
        "Only 28 of 90 frames: 61 are not surveyed, 1 has no sound preview or slice.",
        "`noctuary survey 2026-03-18/north/1` measures them and makes what is missing.",
    ]
    assert (part.used, part.exit_code) == (28, Exit.ATTENTION)


def test_previews_of_another_size_are_told_and_need_no_survey(report: Report) -> None:
    tell_basis(report, Basis(name="x", frames=3, unlike=2))
    assert said(report) == "Only 1 of 3 frames: 2 have previews of another size.\n"


def test_suggestions_fit_a_terminal_of_80_columns() -> None:
    """They were lines of up to 116."""
    narrow = Report(Console(file=io.StringIO(), width=80, highlight=False))
    why = (
        "the most green and red light of the sequence", "3.4 times the usual green and red light",
        "stars as sharp as any here",
    )  # fmt: skip
    one = Suggestion(
        position=45, frame="xxh128:0", name="NOCT0045.DNG", taken=datetime(2026, 3, 18, 22, tzinfo=UTC),
        score=1.0, why=why,
    )  # fmt: skip
    tell_suggestions(narrow, Suggestions(found=(one,), basis=Basis(name="x", frames=90)))
    text = said(narrow)
    assert max(map(len, text.splitlines())) <= 80
    assert " ".join(text.split()) == f"# file why 45 NOCT0045.DNG {'; '.join(why)}"
