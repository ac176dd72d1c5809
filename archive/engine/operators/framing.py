"""Operators that decide what part of the frame is shown."""

from archive.engine.declaration import Family, Operator, Unit, operator, param


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

    The shares are of the upright, straightened picture; the shape is then cut from the middle of what is
    left.
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
        help="width divided by height, as 16:9 or 1.7778; 0 keeps the shape",
    )  # fmt: skip
