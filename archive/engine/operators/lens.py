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
        2.0, low=1, high=6, step=0.1,
        help="how the correction grows with the distance from the centre: 2 with its square, larger "
        "leaves more of the middle alone",
    )  # fmt: skip


@operator("fall_off", family=Family.LENS)
class FallOff(Operator):
    """Even out a lens's own fall-off of light, as it was measured.

    Light is divided by 1 + k1·r² + k2·r⁴ + k3·r⁶, r the distance from the frame's centre, 1 in the corner.
    ``noctuary lens`` finds the values for a lens, or measures them from frames of an even surface.
    """

    k1: float = param(
        0.0, low=-4, high=4, step=0.0001, help="weight of the squared distance; most lenses: −1 to 0"
    )
    k2: float = param(0.0, low=-4, high=4, step=0.0001, help="weight of the fourth power of the distance")
    k3: float = param(0.0, low=-4, high=4, step=0.0001, help="weight of the sixth power of the distance")


@operator("distortion", family=Family.LENS, strength=("k1", "k2", "k3"))
class Distortion(Operator):
    """Make straight lines straight that the lens bends.

    The published radial models say where on the sensor, R, the light of an ideal lens's place, r, fell:
    ``poly3`` R = r·(1 − k1 + k1·r²); ``poly5`` R = r·(1 + k1·r² + k2·r⁴); ``poly4`` R = r·(k1·r³ + k2·r² +
    k3·r + 1 − k1 − k2 − k3). The picture shows what is filled everywhere. ``noctuary lens`` finds the values.
    """

    model: str = param("poly3", choices=("poly3", "poly4", "poly5"), help="which of the models")
    k1: float = param(0.0, low=-1, high=1, step=0.00001, help="first value of the model")
    k2: float = param(0.0, low=-1, high=1, step=0.00001, help="second value of the model; 0 for poly3")
    k3: float = param(0.0, low=-1, high=1, step=0.00001, help="third value, of poly4 only")
    unit: float = param(
        0.5547, low=0.05, high=5, step=0.0001,
        help="the distance where r is 1, in half diagonals of the frame; 0.5547 is half the short side of "
        "a frame of 3:2",
    )  # fmt: skip


@operator(
    "lateral_colour", family=Family.LENS, strength=("red", "red_c", "red_b", "blue", "blue_c", "blue_b")
)
class LateralColour(Operator):
    """Bring red and blue to where green is, which the lens draws larger or smaller.

    The published model says where red and blue fell, R, when green fell at r: R = r·(v + c·r + b·r²), r as
    for distortion.
    """

    red: float = param(1.0, low=0.95, high=1.05, step=0.00001, help="v for red")
    red_c: float = param(0.0, low=-0.05, high=0.05, step=0.00001, help="c for red")
    red_b: float = param(0.0, low=-0.05, high=0.05, step=0.00001, help="b for red")
    blue: float = param(1.0, low=0.95, high=1.05, step=0.00001, help="v for blue")
    blue_c: float = param(0.0, low=-0.05, high=0.05, step=0.00001, help="c for blue")
    blue_b: float = param(0.0, low=-0.05, high=0.05, step=0.00001, help="b for blue")
    unit: float = param(
        0.5547, low=0.05, high=5, step=0.0001,
        help="the distance where r is 1, in half diagonals of the frame",
    )  # fmt: skip
