"""Operators that decide what part of the frame is shown."""

from collections.abc import Mapping

from archive.engine.declaration import Family, Operator, Unit, operator, param
from archive.model.recipe import Value

_MOST_CUT, _NARROWEST = 0.95, 0.05


@operator("straighten", family=Family.FRAMING)
class Straighten(Operator):
    """Turn the picture to level its horizon, keeping the largest part of the same shape that is filled."""

    angle: float = param(
        0.0,
        unit=Unit.DEGREE,
        low=-30,
        high=30,
        step=0.1,
        help="degrees the picture is turned, clockwise positive",
    )


@operator("crop", family=Family.FRAMING)
class Crop(Operator):
    """Leave out parts at the sides, and trim to a shape.

    The shares are of the upright, straightened picture, opposite ones 95 % of it together at most; the shape
    is then cut from the middle of what is left.
    """

    left: float = param(
        0.0, unit=Unit.SHARE, low=0, high=0.9, step=0.005, help="share of the width cut at the left"
    )
    top: float = param(
        0.0, unit=Unit.SHARE, low=0, high=0.9, step=0.005, help="share of the height cut at the top"
    )
    right: float = param(
        0.0, unit=Unit.SHARE, low=0, high=0.9, step=0.005, help="share of the width cut at the right"
    )
    bottom: float = param(
        0.0, unit=Unit.SHARE, low=0, high=0.9, step=0.005, help="share of the height cut at the bottom"
    )
    aspect: float = param(
        0.0, unit=Unit.RATIO, low=0, high=5, step=0.01, ramp=False,
        help="width divided by height, as 16:9 or 1.7778, from 0.05 on; 0 keeps the shape",
    )  # fmt: skip

    @classmethod
    def fault(cls, values: Mapping[str, Value]) -> str | None:
        """Opposite sides that leave nothing between them, or a shape that does."""
        for first, second, side in (("left", "right", "width"), ("top", "bottom", "height")):
            # Shares are decimal; 0.9 and 0.05 are no more than 0.95.
            cut = round(float(values[first]) + float(values[second]), 9)
            if cut > _MOST_CUT:
                return (
                    f"{first} and {second} together cut {100 * cut:.4g} % of the {side}, "
                    f"and at most {100 * _MOST_CUT:.4g} % can be cut"
                )
        if 0 < float(values["aspect"]) < _NARROWEST:
            return f"no picture is narrower than {_NARROWEST:g} of its height; an aspect of 0 keeps its shape"
        return None
