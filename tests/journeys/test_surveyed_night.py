"""What the survey says of the simulated night, against what was put into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from support.builders import CAMERA, frame_id

from archive.demo import cards, truth
from archive.demo.mishaps import Mishaps
from archive.demo.sensor import camera_matrix
from archive.engine.decode import DecoderPool
from archive.engine.surveyor import look
from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.survey import Finding, Measures, SurveyLine
from archive.survey.findings import findings, survey_lines

pytestmark = pytest.mark.slow

FRAMES, SIZE, BUMP, DEW = 28, (768, 512), 11, 20
PLAN = truth.plan_of("north")
TESTS = len(PLAN.tests)
MISHAPS = {"north": Mishaps(bump_at=BUMP, bump=(0.012, -0.009), dew_from=DEW, dew_frames=8, dew_loss=0.0)}


@dataclass(frozen=True, kw_only=True)
class Seen:
    """The north camera's sequence as surveyed: bumped, and later with dew on its lens."""

    measures: list[Measures]
    lines: tuple[SurveyLine, ...]
    found: tuple[Finding, ...]


@pytest.fixture(scope="module")
def seen() -> Seen:
    usual, begin = PLAN.usual, cards.capture_times("north", frames=FRAMES)[TESTS:]
    facts = CaptureFacts(exposure_s=float(usual.exposure_s), f_number=float(usual.f_number), iso=usual.iso)
    measured, frames = [], []
    indices = range(TESTS, TESTS + FRAMES)
    with DecoderPool(1) as decoder:
        for at, data in enumerate(
            cards.raw_files("north", indices, size=SIZE, frames=FRAMES, mishaps=MISHAPS)
        ):
            measured.append(look(decoder.decode(data, "frame")).measures)
            frames.append(
                Frame(
                    id=frame_id(at),
                    camera=CAMERA,
                    roll="7c1f9a2e",
                    path=f"100KVELV/KVEL{at:04d}.DNG",
                    role=Role.RAW,
                    taken=begin[at],
                    time_source="offset",
                    facts=facts,
                    night="2026-03-18",
                )
            )
    lines = survey_lines(list(zip(frames, measured, strict=True)))
    return Seen(measures=measured, lines=lines, found=findings(lines, measured))


def mosaic_light(index: int) -> np.ndarray:
    """What each sample of the sensor gets, without noise, 1.0 = clipping: float, (H, W)."""
    light = cards.scene_light("north", TESTS + index, size=SIZE, frames=FRAMES, mishaps=MISHAPS)
    height, width = light.shape[:2]
    y, x = np.mgrid[:height, :width] + 0.5
    # The lens darkens by the fourth power of the cosine; the scene's own light is told before that.
    tangent = 0.62 * PLAN.half * np.hypot(height, width) / width
    squared = ((y - height / 2) ** 2 + (x - width / 2) ** 2) / (0.25 * (height**2 + width**2)) * tangent**2
    camera = light @ camera_matrix(PLAN.body).T / (1 + squared[..., None]) ** 2
    out = np.empty((height, width))
    for place, channel in enumerate((0, 1, 1, 2)):
        out[place // 2 :: 2, place % 2 :: 2] = camera[place // 2 :: 2, place % 2 :: 2, channel]
    return out


def test_aurora_measured_in_noisy_files_is_the_scene_s_own(seen: Seen) -> None:
    curtains = truth.activity("north", frames=FRAMES)
    steady = slice(0, DEW)
    green = np.array([line.green for line in seen.lines])
    red = np.array([line.red for line in seen.lines])
    assert np.corrcoef(green[steady], curtains.mean[steady])[0, 1] > 0.95
    assert np.corrcoef(green, curtains.mean)[0, 1] > 0.95
    assert np.corrcoef(red, curtains.mean * curtains.redness)[0, 1] > 0.9


@pytest.mark.parametrize("index", [int(np.argmax(truth.activity("north", frames=FRAMES).mean))])
def test_brightness_and_shares_are_those_of_the_light_that_fell_in(seen: Seen, index: int) -> None:
    light, measured = mosaic_light(index), seen.measures[index]
    green = light[0::2, 1::2]
    assert measured.brightness == pytest.approx(np.log2(green.mean()), abs=0.07)
    assert measured.clipped == pytest.approx((light >= 0.995).mean(), abs=2e-4)
    rows, columns = (side // 8 for side in green.shape)
    blocks = green[: rows * 8, : columns * 8].reshape(rows, 8, columns, 8).mean(axis=(1, 3))
    assert measured.dark == pytest.approx((blocks < 2.0**-11).mean(), abs=2e-3)
    assert seen.lines[index].scene == pytest.approx(measured.brightness - np.log2(8 * 32 / 1.8**2), abs=1e-3)


def test_the_bump_is_found_at_its_frame_and_the_dew_while_it_grows(seen: Seen) -> None:
    kinds = {found.kind: found.position - 1 for found in seen.found}
    assert kinds["bump"] == BUMP
    assert [found.kind for found in seen.found].count("bump") == 1
    assert DEW <= kinds["dew"] <= DEW + 8
