"""Whether a card may be erased, told to people."""

from __future__ import annotations

import io
from dataclasses import replace

from rich.console import Console

from archive.model.erasing import EraseAnswer, Evidence, Lacking
from archive.model.results import FileNote
from archive.views.erasing import tell_erasing
from archive.views.report import Report

YES = EraseAnswer(
    source="/media/CA\x1bRD",
    may_erase=True,
    checked="2026-03-19T06:15:02Z",
    files=450,
    size=9_000_000_000,
    wanted=2,
    within_s=86400,
    card_grade="direct",
    evidence=(
        Evidence(volume="BLUE", device="grey drive", declared=True, how="read now", files=450),
        Evidence(volume="RED", device="the file system of RED", declared=False, how="read now", files=450),
    ),
    lacking=(),
    ignored=(FileNote(path=".DS_Store", text="litter"),),
)


def told(answer: EraseAnswer) -> str:
    sink = io.StringIO()
    tell_erasing(answer, Report(Console(file=sink, width=200, highlight=False)))
    return sink.getvalue()


def test_a_yes_says_what_it_rests_on_and_that_nothing_was_erased() -> None:
    text = told(YES)
    assert text.startswith("Yes: /media/CA\\x1bRD may be erased. All 450 files (9.0 GB) are proven")
    assert "BLUE: 450 files, read now (device: grey drive)." in text
    assert "(device: the file system of RED, told by the system)" in text
    assert "1 file of operating systems and links: not asked about." in text
    assert "Checked 2026-03-19 06:15:02 UTC. Nothing was erased." in text


def test_a_no_lists_files_under_their_reason_and_says_how_many_more() -> None:
    files = tuple(f"DCIM/{number}.JPG" for number in range(9))
    text = told(
        replace(
            YES,
            may_erase=False,
            lacking=(Lacking(reason="held on no volume", files=files), Lacking(reason="x", files=("y",))),
            remarks=("Look again.",),
        )
    )
    assert text.startswith("No: keep /media/CA\\x1bRD. 10 files are not proven on 2 different devices.")
    assert "9 × held on no volume:" in text and "… and 3 more; --json lists all." in text
    assert "DCIM/5.JPG" in text and "DCIM/6.JPG" not in text
    assert "Look again." in text


def test_a_card_with_nothing_to_judge_is_kept() -> None:
    text = told(replace(YES, may_erase=False, files=0, wanted=1, card_grade=None, evidence=(), ignored=()))
    assert text.startswith("No: keep /media/CA\\x1bRD. Nothing on it could be judged.")
