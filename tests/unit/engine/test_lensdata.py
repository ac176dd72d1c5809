"""The open lens database: what it offers, and its values as our operators take them.

The database's own library applies its models by itself; its coordinates are the reference here.
"""

import math

import lensfunpy
import numpy as np
import pytest

from archive.engine import lensdata
from archive.engine.lensmodel import LensModel
from archive.engine.operators.lens import Distortion, FallOff, LateralColour
from archive.model.lens import LensCandidate

# Any lens with values will do, found by its place in the database, so that no maker is named here.
FULL_FRAME = 1.0


def a_lens(*, crops_differ: bool, distortion: str) -> LensCandidate:
    """The first lens of the database with all values, on a camera that takes it."""
    database = lensfunpy.Database()
    for camera in database.cameras:
        if (camera.crop_factor != FULL_FRAME) != crops_differ or not camera.mount:
            continue
        for lens in database.find_lenses(camera):
            focal = lens.min_focal
            model = lens.interpolate_distortion(focal) if lens.calib_distortion else None
            if model is None or model.model.name != distortion or not lens.calib_vignetting:
                continue
            if not lens.calib_tca or (lens.crop_factor != camera.crop_factor) != crops_differ:
                continue
            again = database.find_cameras(camera.maker, camera.model)
            if again and any(
                each.model == lens.model for each in database.find_lenses(again[0], lens.maker, lens.model)
            ):
                return LensCandidate(
                    camera_make=camera.maker, camera_model=camera.model, make=lens.maker, model=lens.model,
                    shortest_mm=focal, longest_mm=lens.max_focal or focal, loose=False, holds=(),
                )  # fmt: skip
    pytest.skip(f"this database has no such lens with {distortion}")


@pytest.mark.parametrize("crops_differ", [False, True])
@pytest.mark.parametrize("distortion", ["PTLENS", "POLY3"])
def test_places_and_light_agree_with_the_databases_own_library(crops_differ: bool, distortion: str) -> None:
    chosen = a_lens(crops_differ=crops_differ, distortion=distortion)
    width, height = 5400, 3600
    focal, f_number = chosen.shortest_mm, 4.0
    values = lensdata.operator_values(chosen, focal_mm=focal, f_number=f_number, sides=(width, height))
    model = LensModel(
        distortion=Distortion(**values["distortion"]),
        lateral=LateralColour(**values["lateral_colour"]) if "lateral_colour" in values else None,
    )
    database = lensfunpy.Database()
    camera = database.find_cameras(chosen.camera_make, chosen.camera_model)[0]
    lens = next(e for e in database.find_lenses(camera, chosen.make, chosen.model) if e.model == chosen.model)
    library = lensfunpy.Modifier(lens, camera.crop_factor, width, height)
    library.initialize(focal, f_number, 1000.0, scale=1.0, pixel_format=np.float32)
    half = math.hypot(width, height) / 2
    for x, y in ((9, 9), (2700, 9), (9, 1800), (1000, 700), (5300, 3500)):
        expected = library.apply_subpixel_geometry_distortion(x, y, 1, 1)[0, 0]
        for channel in range(3):
            px, py = model.placed(
                np.array([(x + 0.5 - width / 2) / half]), np.array([(y + 0.5 - height / 2) / half]), channel
            )
            found = px[0] * half + width / 2 - 0.5, py[0] * half + height / 2 - 0.5
            assert np.hypot(*(found - expected[channel])) < 0.3
    light = np.ones((height // 10, width // 10, 3), np.float32)
    small = lensfunpy.Modifier(lens, camera.crop_factor, width // 10, height // 10)
    small.initialize(focal, f_number, 1000.0, scale=1.0, pixel_format=np.float32)
    assert small.apply_color_modification(light)
    fall = FallOff(**values["fall_off"])
    r = np.hypot(0.5 - width / 20, 0.5 - height / 20) / (half / 10)
    left = 1 + fall.k1 * r**2 + fall.k2 * r**4 + fall.k3 * r**6
    assert light[0, 0, 1] * left == pytest.approx(1, rel=0.02)


def test_unknown_cameras_and_lenses_give_nothing_that_is_sure() -> None:
    assert lensdata.candidates("Invented", "Kittiwake Nine", "Invented 20mm f/1.8") == ()
    assert lensdata.candidates("", "", "") == ()
    camera = lensfunpy.Database().cameras[0]
    assert lensdata.candidates(camera.maker, camera.model, "") == ()
    invented = lensdata.candidates(camera.maker, camera.model, "Hrafnsson Nocturne 23.7mm f/0.77")
    assert all(each.loose for each in invented)


def test_what_the_file_says_in_full_is_found_and_not_called_loose() -> None:
    chosen = a_lens(crops_differ=False, distortion="PTLENS")
    found = lensdata.candidates(chosen.camera_make, chosen.camera_model, chosen.model)
    assert (found[0].make, found[0].model, found[0].loose) == (chosen.make, chosen.model, False)
    assert set(found[0].holds) == {"distortion", "lateral_colour", "fall_off"}


def test_a_choice_that_the_database_no_longer_has_gives_no_values() -> None:
    gone = LensCandidate(
        camera_make="Invented", camera_model="Nine", make="Invented", model="20mm", shortest_mm=20.0,
        longest_mm=20.0, loose=False, holds=(),
    )  # fmt: skip
    assert lensdata.operator_values(gone, focal_mm=20, f_number=2.0, sides=(3, 2)) == {}
    camera = lensfunpy.Database().cameras[0]
    there = LensCandidate(
        camera_make=camera.maker, camera_model=camera.model, make="Invented", model="20mm", shortest_mm=20.0,
        longest_mm=20.0, loose=False, holds=(),
    )  # fmt: skip
    assert lensdata.operator_values(there, focal_mm=20, f_number=2.0, sides=(3, 2)) == {}
    assert "lensfunpy" in lensdata.source()
