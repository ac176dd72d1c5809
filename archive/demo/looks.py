"""The looks that the demo gives its frames, as they would be typed."""

from __future__ import annotations

from archive.engine import operator
from archive.model.recipe import OperatorValues, Value

FIRST_LOOK = (
    "hot_pixels.reach=12",
    "vignetting.corner=0.6",
    "exposure.stops=0.3",
    "highlight_recovery.stops=0.9",
    "shadow_lift.stops=0.4",
    "contrast.amount=0.14",
    "chroma.muted=0.12",
    "luminance_noise.strength=3.2",
    "colour_noise.strength=4",
    "sharpness.amount=0.3",
)
SECOND_LOOK = (
    "exposure.stops=0.1",
    "balance.source=illuminant",
    "balance.kelvin=4100",
    "balance.duv=0.006",
)


def first_look() -> tuple[OperatorValues, ...]:
    """The first look as operators with all their values."""
    given: dict[str, dict[str, Value]] = {}
    for setting in FIRST_LOOK:
        name, parameter, value = operator.parse_setting(*setting.split("=", 1))
        given.setdefault(name, {})[parameter] = value
    return tuple(operator.checked(name, values) for name, values in given.items())
