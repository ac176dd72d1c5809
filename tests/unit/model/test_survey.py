"""The words of the survey."""

from __future__ import annotations

from archive.errors import Exit
from archive.model.survey import CELLS, SurveyNote, SurveyReport


def test_a_survey_with_failures_needs_somebody() -> None:
    note = SurveyNote(path="a", text="b")
    done = SurveyReport(measured=1, held=0, copied=0, rolls=(), failed=())
    assert done.exit_code is Exit.DONE
    assert SurveyReport(measured=1, held=0, copied=0, rolls=(), failed=(note,)).exit_code is Exit.ATTENTION


def test_cells_are_nearly_square_on_a_frame_of_three_by_two() -> None:
    assert CELLS[0] / 3 == CELLS[1] / 2
