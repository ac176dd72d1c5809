"""Operators on the sensor's own samples."""

from archive.engine.declaration import Family, Operator, Unit, frame_list, operator, param


@operator("dark_frame", family=Family.SENSOR, mosaic_only=True, strength=("frames",))
class DarkFrame(Operator):
    """Take away what the sensor counts in the dark.

    The frames named are averaged sample by sample, without the highest and the lowest of each, and what
    they hold above black is subtracted. They were taken with the lens covered, by the same camera at the
    same exposure, sensitivity and temperature. Bayer mosaics only. ``noctuary darks`` names them.
    """

    frames: str = frame_list(help="the dark frames, by their ids; none by default")
    share: float = param(
        1.0, unit=Unit.FACTOR, low=0, high=2, step=0.01,
        help="how much of them is subtracted: 1 all, less for a colder night, more for a warmer one",
    )  # fmt: skip


@operator("hot_pixels", family=Family.SENSOR, mosaic_only=True, strength=("reach",))
class HotPixels(Operator):
    """Replace single samples that glow on their own.

    A sample is replaced by the mean of its four nearest of the same colour when it stands out from all
    eight around it. A star spreads over its neighbours and stays. Bayer mosaics only.
    """

    reach: float = param(
        0.0, unit=Unit.SIGMA, low=0, high=60, step=1,
        help="how far above its brightest neighbour, in multiples of the noise, a sample must stand to be "
        "replaced; 12 is a good start, smaller replaces more, 0 none",
    )  # fmt: skip
