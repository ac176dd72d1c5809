"""Ramps against SciPy's monotone interpolation, and what they never do."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from scipy.interpolate import PchipInterpolator
from support.builders import frame_id

from archive.journal.ramps import linear, monotone_cubic, value_at
from archive.model.capture import Selection
from archive.model.recipe import Anchor, Ramp

SELECTION = Selection(
    frames=tuple(frame_id(number) for number in range(11)),
    milliseconds=tuple(number * 10_000 for number in range(11)),
)


def ramp(
    anchors: dict[int, float], *, rule: str = "linear", scale: str = "linear", rounding: float = 0
) -> Ramp:
    return Ramp(
        parameter="exposure.stops",
        rule=rule,
        scale=scale,
        rounding=rounding,
        anchors=tuple(Anchor(frame=frame_id(number), value=value) for number, value in anchors.items()),
    )


def at(which: Ramp, number: int) -> float:
    return value_at(which, SELECTION, frame_id(number))


def knots(seed: int) -> tuple[list[float], list[float]]:
    source = random.Random(seed)
    xs = sorted(source.sample(range(4_500_000), source.randint(3, 12)))
    shapes = [
        lambda: source.uniform(-3, 3),
        lambda: float(source.randint(-1, 1)),
        lambda: source.uniform(0, 1e-6),
    ]
    shape = source.choice(shapes)
    return [float(x) for x in xs], [shape() for _ in xs]


@pytest.mark.parametrize("seed", range(60))
def test_the_monotone_cubic_is_that_of_fritsch_and_butland_as_scipy_computes_it(seed: int) -> None:
    xs, ys = knots(seed)
    reference = PchipInterpolator(xs, ys)
    for step in range(201):
        x = xs[0] + (xs[-1] - xs[0]) * step / 200
        assert monotone_cubic(xs, ys, x) == pytest.approx(float(reference(x)), abs=1e-9)


@pytest.mark.parametrize("rule", [linear, monotone_cubic])
@pytest.mark.parametrize("seed", range(20))
def test_between_two_anchors_no_value_leaves_the_span_of_the_two(rule: object, seed: int) -> None:
    xs, ys = knots(seed)
    assert callable(rule)
    for (x0, y0), (x1, y1) in pairwise(zip(xs, ys, strict=True)):
        for step in range(51):
            value = rule(xs, ys, x0 + (x1 - x0) * step / 50)
            assert min(y0, y1) - 1e-12 <= value <= max(y0, y1) + 1e-12


@pytest.mark.parametrize("rule", ["linear", "monotone-cubic"])
def test_a_ramp_passes_through_its_anchors_and_is_flat_outside(rule: str) -> None:
    which = ramp({2: 0.5, 5: -1.25, 8: 2.0}, rule=rule)
    assert [at(which, number) for number in (2, 5, 8)] == [0.5, -1.25, 2.0]
    assert [at(which, number) for number in (0, 1, 9, 10)] == [0.5, 0.5, 2.0, 2.0]


def test_a_linear_ramp_runs_straight() -> None:
    which = ramp({0: 0.0, 10: 1.0})
    assert [at(which, number) for number in range(11)] == pytest.approx([n / 10 for n in range(11)])


@pytest.mark.parametrize("rule", ["linear", "monotone-cubic"])
def test_one_anchor_holds_everywhere_and_two_give_a_line(rule: str) -> None:
    assert {at(ramp({4: 0.75}, rule=rule), number) for number in range(11)} == {0.75}
    assert at(ramp({0: 0.0, 10: 1.0}, rule=rule), 3) == pytest.approx(0.3)


def test_the_order_of_anchors_means_nothing() -> None:
    one = ramp({0: 0.0, 4: 1.0, 10: -1.0}, rule="monotone-cubic")
    two = ramp({10: -1.0, 0: 0.0, 4: 1.0}, rule="monotone-cubic")
    assert [at(one, n) for n in range(11)] == [at(two, n) for n in range(11)]


def test_a_reciprocal_ramp_is_straight_in_the_reciprocal() -> None:
    which = ramp({0: 4000.0, 10: 8000.0}, scale="reciprocal")
    # Half-way in mireds: 1 / ((1/4000 + 1/8000) / 2) = 5333.33 K.
    assert at(which, 5) == pytest.approx(16000 / 3, abs=1e-9)
    assert at(which, 0) == pytest.approx(4000, abs=1e-9)


@pytest.mark.parametrize(("rounding", "wanted"), [(0, 1 / 3), (0.01, 0.33), (0.05, 0.35), (1.0, 0.0)])
def test_a_value_is_rounded_as_the_ramp_says(rounding: float, wanted: float) -> None:
    selection = Selection(frames=tuple(frame_id(n) for n in range(4)), milliseconds=(0, 1, 2, 3))
    which = ramp({0: 0.0, 3: 1.0}, rounding=rounding)
    assert value_at(which, selection, frame_id(1)) == pytest.approx(wanted, abs=1e-12)


def test_time_runs_on_the_milliseconds_of_the_selection() -> None:
    selection = Selection(frames=(frame_id(0), frame_id(1), frame_id(2)), milliseconds=(0, 9_000, 10_000))
    assert value_at(ramp({0: 0.0, 2: 1.0}), selection, frame_id(1)) == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("which", "number", "message"),
    [
        (ramp({0: 1.0}), 99, "is not in the selection"),
        (ramp({99: 1.0}), 0, "is not in the selection"),
        (ramp({0: 1.0}, rule="spline"), 0, "'spline' .* not known to this release"),
        (ramp({0: 1.0}, scale="cubic"), 0, "'cubic' is not known to this release"),
    ],
)
def test_a_ramp_that_cannot_be_evaluated_says_why(which: Ramp, number: int, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        at(which, number)


def test_two_anchors_at_one_time_are_refused() -> None:
    selection = Selection(frames=(frame_id(0), frame_id(1)), milliseconds=(5, 5))
    with pytest.raises(ValueError, match="stand at the same time"):
        value_at(ramp({0: 0.0, 1: 1.0}), selection, frame_id(0))


@pytest.mark.parametrize("scale", ["linear", "reciprocal"])
@pytest.mark.parametrize("seed", range(12))
def test_a_ramp_is_scipys_curve_on_its_natural_scale_rounded_at_the_end(scale: str, seed: int) -> None:
    source = random.Random(seed)
    moments = sorted(source.sample(range(4_500_000), 60))
    along = Selection(frames=tuple(frame_id(n) for n in range(60)), milliseconds=tuple(moments))
    chosen = sorted(source.sample(range(60), source.randint(3, 8)))
    values = {n: source.uniform(2500, 9000) for n in chosen}
    bare = ramp(values, rule="monotone-cubic", scale=scale)
    rounded = ramp(values, rule="monotone-cubic", scale=scale, rounding=0.1)
    natural = [1 / values[n] if scale == "reciprocal" else values[n] for n in chosen]
    reference = PchipInterpolator([moments[n] for n in chosen], natural)
    for number in range(60):
        place = min(max(moments[number], moments[chosen[0]]), moments[chosen[-1]])
        curve = float(reference(place))
        expected = 1 / curve if scale == "reciprocal" else curve
        # Relative to values of thousands of kelvin, 1e-12 is far below 1e-9 of their reciprocals.
        assert value_at(bare, along, frame_id(number)) == pytest.approx(expected, rel=1e-12, abs=1e-9)
        assert abs(value_at(rounded, along, frame_id(number)) - expected) <= 0.05 + 1e-9
