"""Operators that undo what the lens did."""

from archive.engine.declaration import Family, Operator, Unit, operator, param


@operator("vignetting", family=Family.LENS, strength=("corner",))
class Vignetting(Operator):
    """Even out the fall-off of light from the centre to the corners.

    Centred on the whole frame, before any crop.
    """

    corner: float = param(
        0.0, unit=Unit.EV, low=-1, high=4, step=0.1,
        help="stops added in the extreme corner; less towards the centre, none in it",
    )  # fmt: skip
    shape: float = param(
        2.0, low=1, high=6, step=0.1, ramp=False,
        help="how the correction grows with the distance from the centre: 2 with its square, larger "
        "leaves more of the middle alone",
    )  # fmt: skip
