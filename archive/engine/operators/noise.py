"""Operators that take noise away."""

from archive.engine.declaration import Family, Operator, Unit, operator, param


@operator("luminance_noise", family=Family.NOISE)
class LuminanceNoise(Operator):
    """Smooth grain in brightness, keeping edges and stars down to the faint ones.

    Works where the noise is equally strong in light and dark (square-root values), guided by the picture
    itself.
    """

    strength: float = param(
        0.0, unit=Unit.SIGMA, low=0, high=6, step=0.1,
        help="variations of up to this many times the measured noise are smoothed",
    )  # fmt: skip


@operator("colour_noise", family=Family.NOISE)
class ColourNoise(Operator):
    """Smooth blotches of false colour, guided by brightness so that no colour runs over an edge."""

    strength: float = param(
        0.0, unit=Unit.SIGMA, low=0, high=10, step=0.1,
        help="variations of up to this many times the measured noise are smoothed",
    )  # fmt: skip
