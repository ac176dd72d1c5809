"""Operators on fine detail."""

from archive.engine.declaration import Unit
from archive.engine.operators.sharpness import Sharpness


def test_the_radius_scales_with_the_frame_and_is_held_in_ramps() -> None:
    radius = Sharpness.declared.parameter("radius")
    assert radius is not None
    assert (radius.unit, radius.ramp) == (Unit.PERMILLE, True)
    assert Sharpness.declared.finish
    assert Sharpness.declared.strength == ("amount",)
