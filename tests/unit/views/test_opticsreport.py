"""Lenses in words."""

import io

from rich.console import Console
from support.builders import CAMERA, STARTED, frame_id

from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.lens import FallOffMeasure, LensAnswer, LensCandidate
from archive.model.survey import DarksFound
from archive.views.opticsreport import tell_darks, tell_fall_off, tell_lens
from archive.views.report import Report

LENS = LensCandidate(
    camera_make="Invented", camera_model="One", make="Invented", model="14-24mm f/2.8", shortest_mm=14.0,
    longest_mm=24.0, loose=True, holds=("distortion", "fall_off"),
)  # fmt: skip


def told(**changes: object) -> str:
    out = io.StringIO()
    answer = LensAnswer(
        **{
            "frame": "NOCT0001.DNG", "camera": "Invented One", "lens": "14-24", "focal_mm": 14.0,
            "chosen": None, "offered": (LENS,), **changes,
        }  # type: ignore[arg-type]
    )  # fmt: skip
    tell_lens(Report(Console(file=out, width=200)), answer)
    return out.getvalue()


def test_candidates_have_numbers_and_none_is_used_unasked() -> None:
    text = told()
    assert "NOCT0001.DNG: Invented One, 14-24, 14 mm" in text
    assert "14–24" in text
    assert "only resembles" in text
    assert "--take NUMBER" in text


def test_a_choice_and_its_absence_are_told() -> None:
    assert "Chosen: Invented 14-24mm f/2.8" in told(chosen=LENS)
    assert "has nothing for it" in told(offered=(), lens="")


def test_a_measured_fall_off_is_told_as_settings() -> None:
    out = io.StringIO()
    measure = FallOffMeasure(values={"k1": -0.5, "k2": 0.1, "k3": 0.0}, frames=2, left=0.0031, corner=0.6)
    tell_fall_off(Report(Console(file=out, width=200)), measure)
    assert "From 2 frames: fall_off.k1=-0.5 fall_off.k2=0.1 fall_off.k3=0" in out.getvalue()
    assert "60% of the middle's light; 0.31% of unevenness" in out.getvalue()


def darks_told(count: int, unseen: int, *, taken: bool = False) -> str:
    out = io.StringIO()
    frames = tuple(
        Frame(
            id=frame_id(number), camera=CAMERA, roll="7c1f9a2e", path=f"100NOCTU/NOCT{number:04d}.DNG",
            role=Role.RAW, taken=STARTED, time_source="original", facts=CaptureFacts(), night="2026-03-18",
        )
        for number in range(1, count + 1)
    )  # fmt: skip
    found = DarksFound(frame="NOCT0099.DNG", night="2026-03-18", frames=frames, unseen=unseen)
    tell_darks(Report(Console(file=out, width=200)), found, taken=taken)
    return out.getvalue()


def test_dark_frames_found_are_named_and_not_used_unasked() -> None:
    text = darks_told(3, 0)
    assert "3 dark frames of the night 2026-03-18: NOCT0001.DNG to NOCT0003.DNG" in text
    assert "Nothing was changed. --take uses them." in text
    assert "--take" not in darks_told(1, 0, taken=True)
    none = darks_told(0, 12)
    assert "No dark frame of the settings of NOCT0099.DNG was found." in none
    assert "12 frames of the same settings not looked at; `noctuary survey` does so." in none
