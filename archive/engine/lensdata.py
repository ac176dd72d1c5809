"""Values for the lens operators from the open lens database that comes with ``lensfunpy``."""

from __future__ import annotations

import math
from functools import cache
from importlib.metadata import version
from typing import Any

from archive.model.lens import LensCandidate

_MOST = 12
_ENOUGH_SCORE = 60
_FAR_M = 1000.0
_NAMES = {"POLY3": "poly3", "POLY5": "poly5", "PTLENS": "poly4"}
_PLACES = {"distortion": 5, "lateral_colour": 5, "fall_off": 4}


@cache
def _database() -> Any:
    import lensfunpy

    return lensfunpy.Database()


def source() -> str:
    """Which database the values come from, for the record."""
    return f"lensfun database of lensfunpy {version('lensfunpy')}"


def candidates(camera_make: str, camera_model: str, lens: str) -> tuple[LensCandidate, ...]:
    """Lenses that a file's own words may mean, the likeliest first; none where camera or lens are unknown.

    Exact finds come first. The database's loose search invents matches, so that what only it finds is marked:
    nothing of it may be used unless a person says that it is this lens.
    """
    if not camera_model.strip():
        return ()
    database = _database()
    cameras = database.find_cameras(camera_make, camera_model)
    found: list[LensCandidate] = []
    seen: set[tuple[str, str]] = set()
    for camera in cameras[:1]:
        for loose in (False, True):
            words = lens.strip()
            if not words:
                continue
            for each in database.find_lenses(camera, None, words, loose):
                if (each.maker, each.model) in seen or (loose and each.score < _ENOUGH_SCORE):
                    continue
                seen.add((each.maker, each.model))
                sure = not loose and _squeezed(words) in _squeezed(f"{each.maker} {each.model}")
                found.append(_candidate(camera, each, loose=not sure))
    return tuple(sorted(found, key=lambda each: each.loose)[:_MOST])


def _squeezed(text: str) -> str:
    return "".join(sign for sign in text.casefold() if sign.isalnum())


def _candidate(camera: Any, lens: Any, *, loose: bool) -> LensCandidate:
    held = (
        ("distortion", lens.calib_distortion),
        ("lateral_colour", lens.calib_tca),
        ("fall_off", lens.calib_vignetting),
    )
    return LensCandidate(
        camera_make=camera.maker, camera_model=camera.model, make=lens.maker, model=lens.model,
        shortest_mm=round(float(lens.min_focal or 0), 2), longest_mm=round(float(lens.max_focal or 0), 2),
        loose=loose, holds=tuple(name for name, entries in held if entries),
    )  # fmt: skip


def operator_values(
    chosen: LensCandidate, *, focal_mm: float, f_number: float | None, sides: tuple[float, float]
) -> dict[str, dict[str, float | str]]:
    """Values of the lens operators for a chosen lens at a focal length and aperture, by operator.

    Only what the database has is given. ``sides`` are width and height of the frame.
    """
    database = _database()
    camera = next(iter(database.find_cameras(chosen.camera_make, chosen.camera_model)), None)
    if camera is None:
        return {}
    lenses = database.find_lenses(camera, chosen.make, chosen.model)
    lens = next((each for each in lenses if (each.maker, each.model) == (chosen.make, chosen.model)), None)
    if lens is None:
        return {}
    crops = float(camera.crop_factor) / float(lens.crop_factor)
    # The database counts distances in half short sides of the frame that the lens was measured with.
    unit = round(min(sides) / math.hypot(*sides) * crops, 6)
    found: dict[str, dict[str, float | str]] = {}
    distortion = lens.interpolate_distortion(focal_mm)
    if distortion is not None and distortion.model.name in _NAMES:
        terms = _rounded("distortion", distortion.terms)
        found["distortion"] = {"model": _NAMES[distortion.model.name], "unit": unit, **terms_named(terms)}
    spread = lens.interpolate_tca(focal_mm)
    if spread is not None and spread.model.name in ("LINEAR", "POLY3"):
        terms = _rounded("lateral_colour", spread.terms)
        names = ("red", "blue", "red_c", "blue_c", "red_b", "blue_b")
        count = 2 if spread.model.name == "LINEAR" else 6
        found["lateral_colour"] = {"unit": unit, **dict(zip(names[:count], terms, strict=False))}
    if f_number:
        fall_off = lens.interpolate_vignetting(focal_mm, f_number, _FAR_M)
        if fall_off is not None and fall_off.model.name == "PA":
            scaled = [term / crops ** (2 * power) for power, term in enumerate(fall_off.terms[:3], 1)]
            found["fall_off"] = dict(terms_named(_rounded("fall_off", scaled)))
    return found


def terms_named(terms: list[float]) -> dict[str, float]:
    """Three values as k1, k2 and k3."""
    return dict(zip(("k1", "k2", "k3"), [*terms, 0.0, 0.0, 0.0][:3], strict=True))


def _rounded(operator: str, terms: Any) -> list[float]:
    return [round(float(term), _PLACES[operator]) for term in terms]
