"""Operators on fine detail."""

from archive.engine.declaration import Family, Operator, Unit, operator, param


@operator("sharpness", family=Family.SHARPNESS, finish=True, strength=("amount",))
class Sharpness(Operator):
    """Strengthen fine detail in brightness, with overshoot held down at strong edges.

    Radii are a share of the frame, so small pictures lose what is finer than their pixels: at the default
    radius nothing changes up to 1600 pixels of length, and little is seen below 3000. Look at full size.
    """

    amount: float = param(
        0.0, low=0, high=3, step=0.05, help="how much detail is added; 0 none, 1 doubles it"
    )
    radius: float = param(
        0.3, unit=Unit.PERMILLE, low=0.1, high=5, step=0.05,
        help="size of what counts as detail; 0.3 ‰ is about 2 pixels of a 24-megapixel frame, and little "
        "is seen in a picture where it is less than one",
    )  # fmt: skip
    floor: float = param(
        1.5, unit=Unit.SIGMA, low=0, high=6, step=0.1,
        help="detail smaller than this many times the measured noise is left alone",
    )  # fmt: skip
