"""Nights, sequences and frames as people see them, in narrow and wide terminals."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from rich.cells import cell_len
from rich.console import Console
from support.builders import frame_id
from support.exports import SEQUENCE, Studio, studio

from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.listing import Copy, Course, FoundFrames, FrameLine, NightLine, SequenceLine, Story
from archive.views import nightreport
from archive.views.report import Report

BEGIN = datetime(2026, 3, 18, 21, 34, 8, tzinfo=UTC)
NIGHTS = [
    NightLine(
        night=f"2026-03-{18 + n}", site="Veskjelva bend", zone="Europe/Oslo", cameras=("north", "river"),
        frames=1450, sequences=12, first=BEGIN, last=BEGIN + timedelta(hours=4),
    )
    for n in range(2)
]  # fmt: skip
MORE = [("dark", ["21:32 – 01:58", "never: sun at -12.3°"]), ("moon", ["0 %", "100 %"])]
COURSE = Course(parts=tuple(float(n % 7) for n in range(60)), low=-11.7, high=-9.3, at=40, stops=-10.0)
LINE = SequenceLine(
    address="2026-03-18/north/12", key="k", night="2026-03-18", camera="north", number=12, first=BEGIN,
    last=BEGIN + timedelta(hours=1), frames=1450, missed=3, cadence_s=10, zone="Europe/Oslo", course=COURSE,
)  # fmt: skip
FACTS = CaptureFacts(exposure_s=8, f_number=1.8, iso=3200, focal_mm=20, make="Kvelvane Optisk", model="K6")


def frame_line(number: int, **more: object) -> FrameLine:
    frame = Frame(
        id=frame_id(number), camera="c", roll="r", path=f"100KVELV/KVEL{number:04d}.DNG", role=Role.RAW,
        taken=BEGIN + timedelta(seconds=10 * number), time_source="offset", facts=FACTS, night="2026-03-18",
    )  # fmt: skip
    values: dict[str, object] = {
        "frame": frame, "camera": "north", "zone": "Europe/Oslo", "address": f"2026-03-18/north/12#{number}",
        "rating": 5, "keywords": ("ice", "arc"), "versions": 12, "contested": False,
    }  # fmt: skip
    return FrameLine(**(values | more))  # type: ignore[arg-type]


def said(tell: Callable[[Report], None], width: int = 200) -> str:
    sink = io.StringIO()
    tell(Report(Console(file=sink, width=width, highlight=False)))
    text = sink.getvalue()
    assert "\x1b" not in text
    return text


def fits(text: str, width: int) -> list[str]:
    lines = text.splitlines()
    assert max(cell_len(line) for line in lines) <= width
    return lines


@pytest.mark.parametrize("width", [80, 120, 200])
def test_nights_fit_and_keep_dates_times_and_numbers_whole(width: int) -> None:
    lines = fits(said(lambda r: nightreport.tell_nights(r, NIGHTS, MORE), width), width)
    for at, night in enumerate(NIGHTS, 1):
        assert lines[at].startswith(f"{night.night}  ")
        # The moon was left out of terminals of 80 columns.
        assert MORE[0][1][at - 1] in lines[at]
        assert lines[at].endswith(f"  {MORE[1][1][at - 1]}")
        assert "  1450  " in lines[at]
    if width == 80:
        assert "Veskjelva" in lines[1] and "north, river" in lines[1]
        assert lines[-1].startswith("Left out, for want of room: ")
    else:
        assert len(lines) == 3


@pytest.mark.parametrize("width", [80, 200])
@pytest.mark.parametrize("title", ["", "First light over the bend, and what came after"])
def test_sequences_fit_and_show_how_brightness_ran(width: int, title: str) -> None:
    told = [replace(LINE, title=title), replace(LINE, address="2026-03-18/river/1", course=None)]
    lines = fits(said(lambda r: nightreport.tell_sequences(r, told), width), width)
    assert lines[1].startswith("2026-03-18/north/12  ")
    assert lines[2].startswith("2026-03-18/river/1 ")
    assert sum(lines[1].count(bar) for bar in "▁▂▃▄▅▆▇█") == (10 if width == 80 else 40)
    assert not set("▁▂▃▄▅▆▇█") & set(lines[2])
    assert ("First ligh" in lines[1]) == bool(title)


def test_sequences_without_a_survey_have_no_curve() -> None:
    text = said(lambda r: nightreport.tell_sequences(r, [replace(LINE, course=None)]))
    assert "brightness" not in text and "58.0 s" in text and "22:34:08 CET" in text


@pytest.mark.parametrize("width", [80, 200])
def test_frames_fit_and_keep_names_and_ids_whole(width: int) -> None:
    told = [frame_line(1), frame_line(1450, contested=True), frame_line(3, address=None)]
    lines = fits(said(lambda r: nightreport.tell_frames(r, told), width), width)
    assert lines[0] == "2026-03-18/north/12"
    assert "1450  KVEL1450.DNG  " in lines[3] and "12!" in lines[3]
    assert "2026-03-18/north, single frames" in lines
    assert lines[-1].startswith("! two versions claim")


@pytest.mark.parametrize("width", [80, 200])
def test_a_story_fits_and_marks_its_frame_in_the_course_of_its_sequence(width: int) -> None:
    copies = (("BLUE", Copy(volume="v", path="2026-03-18/north-e9a8f98c/100KVELV/KVEL0041.DNG")),)
    story = Story(line=frame_line(41), copies=copies, companions=(), recipe=(), made=(), course=COURSE)
    text = said(lambda r: nightreport.tell_story(r, story, [("sky", "night, sun -20.5°")]), width)
    lines = fits(text, width)
    bars, mark = (next(n for n, line in enumerate(lines) if sign in line) for sign in ("█", "▲"))
    assert mark == bars + 1
    assert lines[mark].index("▲") - lines[bars].index("▁") == (26 if width == 80 else 40)
    assert "−11.7 to −9.3 stops" in lines[bars] and "−10.0" in lines[mark]
    for part in ("22:40:58.0 CET", str(frame_id(41)), "sky", "Kvelvane Optisk K6", "ice, arc"):
        assert part in text
    assert "100KVELV/KVEL0041.DNG" in text


@pytest.fixture
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("story"))
    yield made
    made.workspace.close()


def test_a_real_story_has_versions_derivatives_and_copies(place: Studio) -> None:
    for stops in range(1, 8):
        place.workspace.recipes.set(f"{SEQUENCE}#2", [f"exposure.stops={stops / 10}"], note=f"try {stops}")
    place.export(f"{SEQUENCE}#2", "still-web")
    text = said(lambda r: nightreport.tell_story(r, place.workspace.story("NOCT0002.JPG")), 80)
    fits(text, 80)
    for part in ("“try 7”", "“try 3”", "… and 2 older", "still-web", "BLUE: masters/2026-03-18/one-"):
        assert part in text
    assert sum(line.startswith("version") and " * " in line for line in text.splitlines()) == 1
    assert "“try 2”" not in text


def test_nothing_held_says_what_to_do() -> None:
    assert "noctuary ingest" in said(lambda r: nightreport.tell_nights(r, []))
    assert "five frames" in said(lambda r: nightreport.tell_sequences(r, []))
    assert "No sequence of 2027-01-01 is" in said(lambda r: nightreport.tell_sequences(r, [], "2027-01-01"))
    assert "--keep NAME" in said(lambda r: nightreport.tell_queries(r, {}))


def test_questions_and_what_they_find_are_counted() -> None:
    found = FoundFrames(frames=(frame_line(1),), count=1, more=False)
    assert said(lambda r: nightreport.tell_found(r, found)).endswith("\n1 frame.\n")
    assert "1 of 9 frames" in said(lambda r: nightreport.tell_found(r, replace(found, count=9)))
    more = replace(found, count=1000, more=True)
    assert "1 of 1000 frames or more" in said(lambda r: nightreport.tell_found(r, more))
    long = "night:2026-03 " * 12
    lines = fits(said(lambda r: nightreport.tell_queries(r, {"dark": long}), 80), 80)
    assert lines[1].startswith("dark  night:2026-03") and len(lines) > 3
    lines = fits(said(lambda r: nightreport.tell_queries(r, {"dark": long}), 200), 200)
    assert lines[1].rstrip() == f"dark  {long.strip()}"


def test_contested_frames_are_marked_and_told_in_listings() -> None:
    nights = [NIGHTS[0], replace(NIGHTS[1], contested=1)]
    text = said(lambda report: nightreport.tell_nights(report, nights))
    assert "1450!" in text
    assert (
        "! 1 frame has more than one current recipe, in 2026-03-19: `noctuary recipe settle 2026-03-19 "
        in text
    )
    text = said(lambda report: nightreport.tell_sequences(report, [replace(LINE, contested=2)]))
    assert "! 2 frames have more than one current recipe, in 2026-03-18/north/12: " in text
    assert "!" not in said(lambda report: nightreport.tell_sequences(report, [LINE]))
