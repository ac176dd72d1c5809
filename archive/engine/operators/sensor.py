"""Operators on the sensor's own samples."""

from archive.engine.declaration import Family, Operator, Unit, operator, param


@operator("hot_pixels", family=Family.SENSOR, strength=("reach",))
class HotPixels(Operator):
    """Replace single samples that glow on their own.

    A sample is replaced by the mean of its four nearest of the same colour when it stands out from all
    eight around it. A star spreads over its neighbours and stays. Mosaics only.
    """

    reach: float = param(
        0.0, unit=Unit.SIGMA, low=0, high=60, step=1,
        help="how far above its brightest neighbour, in multiples of the noise, a sample must stand to be "
        "replaced; 12 is a good start, smaller replaces more, 0 none",
    )  # fmt: skip
