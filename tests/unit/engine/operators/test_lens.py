"""Operators that undo what the lens did."""

from archive.engine.operators.lens import Vignetting


def test_fall_off_is_corrected_by_stops_in_the_corner_and_its_shape_is_chosen() -> None:
    assert Vignetting().corner == 0
    corner, shape = Vignetting.declared.parameters
    assert (corner.name, corner.ramp) == ("corner", True)
    assert (shape.name, shape.ramp) == ("shape", True)
