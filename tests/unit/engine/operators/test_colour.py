"""Operators on colour."""

from archive.engine.operators.colour import Balance, Chroma


def test_a_stated_light_implies_its_source_and_an_explicit_source_wins() -> None:
    assert Balance.infer({"kelvin": 4000.0}) == {"kelvin": 4000.0, "source": "illuminant"}
    assert Balance.infer({"kelvin": 4000.0, "source": "daylight"})["source"] == "daylight"
    assert Balance.infer({}) == {}


def test_temperature_ramps_evenly_in_reciprocals_and_choices_never_ramp() -> None:
    kelvin, source = (Balance.declared.parameter(name) for name in ("kelvin", "source"))
    assert kelvin is not None
    assert source is not None
    assert (kelvin.scale, kelvin.ramp, source.ramp) == ("reciprocal", True, False)


def test_chroma_is_neutral_only_when_both_amounts_are() -> None:
    assert Chroma.declared.strength == ("amount", "muted")
