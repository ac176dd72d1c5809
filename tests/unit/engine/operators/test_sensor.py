"""Operators on the sensor's own samples."""

from archive.engine.operators.sensor import HotPixels


def test_nothing_is_replaced_unless_asked() -> None:
    assert HotPixels().reach == 0
    assert HotPixels.declared.strength == ("reach",)
    assert not HotPixels.declared.finish
