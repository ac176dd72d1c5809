from __future__ import annotations

import pytest

from archive.editing.settings import chosen, next_id, of_one, parsed
from archive.engine import operator
from archive.errors import ArchiveError, Exit, UsageError
from archive.model.recipe import FinishItem

STEP = operator.checked("sharpness", {"amount": 0.5})


def test_settings_start_from_what_is_there() -> None:
    (step,) = parsed(["sharpness.radius=0.4"], {"sharpness": STEP})
    assert (step.values["amount"], step.values["radius"]) == (0.5, 0.4)
    (fresh,) = parsed(["sharpness.radius=0.4"], {})
    assert fresh.values["amount"] == 0.0


def test_every_fault_is_told_in_one_error() -> None:
    with pytest.raises(UsageError) as caught:
        parsed(["exposure.stops=99", "nonsense.x=1", "loose"], {})
    for part in ("99 EV is outside", "nonsense", "'loose' is no setting"):
        assert part in caught.value.message


def test_values_that_make_no_picture_together_are_refused_and_wrong_words_before_them() -> None:
    away = ["crop.left=0.6", "crop.right=0.6"]
    with pytest.raises(ArchiveError, match="left and right together cut 120 %") as caught:
        parsed(away, {})
    assert caught.value.exit_code is Exit.REFUSED
    with pytest.raises(UsageError, match=r"'loose' is no setting.*together cut 120 %"):
        parsed([*away, "loose"], {})


def test_one_operator_is_set_by_its_parameters_alone() -> None:
    assert of_one("sharpness", ["amount=0.7", "sharpness.floor=2"], None).values["amount"] == 0.7
    assert of_one("sharpness", [], STEP) == STEP
    assert of_one("sharpness", [], None) == operator.checked("sharpness", {})
    with pytest.raises(UsageError, match="exposure is another operator than sharpness"):
        of_one("sharpness", ["exposure.stops=1"], None)


def test_operators_are_chosen_by_name_by_family_or_as_the_finish() -> None:
    present = ["contrast", "exposure", "crop", "finish"]
    assert chosen(["tone"], present, "x") == ["contrast", "exposure"]
    assert chosen(["crop", "finish", "crop"], present, "x") == ["crop", "finish"]
    assert chosen([], present, "x") == []
    with pytest.raises(UsageError, match="sensor is not in the recipe of x") as caught:
        chosen(["sensor"], present, "x")
    assert "contrast, crop, exposure, finish" in caught.value.hint


def test_ids_of_a_finish_are_never_twice() -> None:
    items = [FinishItem(id=name, on=True, step=STEP) for name in ("sharpness-1", "sharpness-3")]
    assert next_id(items, "sharpness") == "sharpness-2"
    assert next_id([], "contrast") == "contrast-1"
