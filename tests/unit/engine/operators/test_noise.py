"""Operators that take noise away."""

from archive.engine.declaration import Unit
from archive.engine.operators.noise import ColourNoise, LuminanceNoise


def test_both_count_in_multiples_of_the_measured_noise() -> None:
    for kind in (LuminanceNoise, ColourNoise):
        (strength,) = kind.declared.parameters
        assert strength.unit is Unit.SIGMA
        assert strength.default == strength.low == 0
