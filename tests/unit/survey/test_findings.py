"""What a row of measures says, against what was put into the frames."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from support.builders import CAMERA, frame_id
from support.invented_sky import Moment, frame
from support.surveys import measures

from archive.engine.surveyor import look
from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.survey import Measures, SurveyLine
from archive.survey.courses import gain_stops
from archive.survey.findings import findings, survey_lines


def taken(position: int, **facts: float) -> Frame:
    values: dict[str, object] = {"exposure_s": 8.0, "f_number": 2.8, "iso": 3200}
    return Frame(
        id=frame_id(position),
        camera=CAMERA,
        roll="7c1f9a2e",
        path=f"100NOCTU/NOCT{position:04d}.DNG",
        role=Role.RAW,
        taken=datetime(2026, 3, 18, 22, tzinfo=UTC) + timedelta(seconds=10 * position),
        time_source="offset",
        facts=CaptureFacts(**(values | facts)),  # type: ignore[arg-type]
        night="2026-03-18",
    )


def told(moments: list[Moment]) -> tuple[tuple[SurveyLine, ...], list[Measures]]:
    seen = [look(frame(moment, seed=number)).measures for number, moment in enumerate(moments)]
    return survey_lines([(taken(n), measured) for n, measured in enumerate(seen, 1)]), seen


# Exposure value arithmetic of the APEX system (Exif 2.32, annex C): f/2.8, 15 s, ISO 3200 is EV100 -5.936.
def test_gain_is_exposure_in_stops() -> None:
    facts = CaptureFacts(exposure_s=15, f_number=2.8, iso=3200)
    assert gain_stops(facts) == pytest.approx(5.9360, abs=1e-3)
    assert gain_stops(CaptureFacts()) == 0


def test_settings_are_taken_out_of_the_scene() -> None:
    lines = survey_lines(
        [(taken(1), measures(brightness=-5.0)), (taken(2, iso=6400), measures(brightness=-4.0))]
    )
    assert lines[0].scene == lines[1].scene == -5.0 - round(gain_stops(taken(1).facts), 4)


@pytest.fixture(scope="module")
def night() -> tuple[list[Moment], tuple[SurveyLine, ...], list[Measures]]:
    """Forty frames: aurora that flares twice, drifting stars, a tripod bumped before frame 15, late dew."""
    moments = []
    for n in range(40):
        flare = 0.03 * np.exp(-(((n - 12) / 4) ** 2)) + 0.06 * np.exp(-(((n - 27) / 5) ** 2)) + 0.001
        dew = 0.9 if n < 26 else 0.9 + 0.09 * (n - 25)
        bumped = (7.0, -3.0) if n >= 14 else (0.0, 0.0)
        moments.append(
            Moment(
                green=float(flare), red=float(0.2 * flare), place=n / 9, drift=0.4 * n, dew=dew, shift=bumped
            )
        )
    lines, seen = told(moments)
    return moments, lines, seen


def test_the_aurora_measured_follows_the_aurora_that_was_there(
    night: tuple[list[Moment], tuple[SurveyLine, ...], list[Measures]],
) -> None:
    moments, lines, _ = night
    truth = [moment.green for moment in moments]
    assert np.corrcoef(truth, [line.green for line in lines])[0, 1] > 0.95
    assert int(np.argmax([line.green for line in lines])) == int(np.argmax(truth))


def test_a_bumped_tripod_and_dew_are_found_where_they_began(
    night: tuple[list[Moment], tuple[SurveyLine, ...], list[Measures]],
) -> None:
    _, lines, seen = night
    found = {finding.kind: finding for finding in findings(lines, seen)}
    assert set(found) == {"bump", "dew"}
    assert found["bump"].position == 15
    assert abs(lines[14].moved[0] - 7) < 1
    assert found["bump"].text.startswith(("the view moved by 7 ", "the view moved by 8 "))
    assert 25 <= found["dew"].position <= 31


def test_a_quiet_night_and_one_that_passes_through_the_picture_are_not_notable() -> None:
    quiet = [Moment(drift=0.4 * n, green=0.002) for n in range(16)]
    lines, seen = told(quiet)
    assert findings(lines, seen) == ()
    (_, (passing,)) = told([replace(quiet[9], shift=(9.0, 0.0))])
    seen[9] = passing
    lines = survey_lines([(taken(n), measured) for n, measured in enumerate(seen, 1)])
    assert abs(lines[9].moved[0] - 9) < 1
    assert findings(lines, seen) == ()


def test_clipped_and_dark_frames_are_told_with_their_worst() -> None:
    row = [measures(clipped=0.0)] * 4 + [measures(clipped=0.04), measures(clipped=0.02), measures(dark=0.9)]
    lines = survey_lines([(taken(n), each) for n, each in enumerate(row, 1)])
    found = {finding.kind: finding for finding in findings(lines, row)}
    assert found["clipped"].position == 5
    assert found["clipped"].text.startswith("2 frames; at the worst 4.0 %")
    assert found["dark"].position == 7


def test_nothing_follows_from_nothing() -> None:
    assert survey_lines([]) == ()
    assert findings((), []) == ()
