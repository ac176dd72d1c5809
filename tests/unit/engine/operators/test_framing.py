"""Operators that decide what part of the frame is shown."""

from archive.engine.operators.framing import Crop, Straighten


def test_nothing_is_cut_or_turned_unless_asked() -> None:
    assert Straighten().angle == 0
    assert [each.default for each in Crop.declared.parameters] == [0.0] * 5


def test_shape_is_held_and_edges_may_move_along_a_sequence() -> None:
    ramped = {each.name for each in Crop.declared.parameters if each.ramp}
    assert ramped == {"left", "top", "right", "bottom"}
