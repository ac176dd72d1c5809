"""Operators on brightness."""

from archive.engine.operators.tone import Contrast, Exposure, HighlightRecovery, ShadowLift


def test_exposure_is_in_stops_either_way() -> None:
    (stops,) = Exposure.declared.parameters
    assert (stops.low, stops.high) == (-8, 8)


def test_only_contrast_of_these_may_be_a_finish_step() -> None:
    kinds = (Exposure, HighlightRecovery, ShadowLift, Contrast)
    assert [kind.declared.finish for kind in kinds] == [False, False, False, True]


def test_reach_and_pivot_alone_change_nothing() -> None:
    assert ShadowLift.declared.strength == ("stops",)
    assert Contrast.declared.strength == ("amount",)
