"""Lenses in words."""

import io

from rich.console import Console

from archive.model.lens import FallOffMeasure, LensAnswer, LensCandidate
from archive.views.opticsreport import tell_fall_off, tell_lens
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
