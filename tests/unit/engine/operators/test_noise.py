"""Operators that take noise away."""

from archive.engine.declaration import Unit
from archive.engine.operators.noise import ColourNoise, LuminanceNoise


def test_both_count_in_multiples_of_the_measured_noise_and_look_at_neighbours() -> None:
    for kind in (LuminanceNoise, ColourNoise):
        (strength,) = kind.declared.parameters
        assert strength.unit is Unit.SIGMA
        assert strength.default == strength.low == 0
        assert kind.declared.halo > 0
