"""A choice of lens, as it is stated and read again."""

import json

import pytest

from archive.model.lens import LensCandidate

LENS = LensCandidate(
    camera_make="Invented", camera_model="One", make="Invented", model="20mm f/1.8", shortest_mm=20.0,
    longest_mm=20.0, loose=True, holds=("distortion",),
)  # fmt: skip


def test_a_choice_survives_its_document() -> None:
    assert LensCandidate.from_json(json.loads(json.dumps(LENS.to_json()))) == LENS


@pytest.mark.parametrize(
    "changes", [{"model": 7}, {"model": "x" * 300}, {"shortest_mm": "wide"}, {"holds": None}]
)
def test_what_is_no_choice_is_refused(changes: dict[str, object]) -> None:
    with pytest.raises((LookupError, TypeError, ValueError)):
        LensCandidate.from_json({**LENS.to_json(), **changes})
    with pytest.raises(LookupError):
        LensCandidate.from_json({})
