"""Operators on colour."""

from collections.abc import Mapping

from archive.engine.declaration import Family, Operator, Unit, operator, param
from archive.model.recipe import Value


@operator("balance", family=Family.COLOUR, strength=("source",))
class Balance(Operator):
    """Choose the light that shall look neutral.

    ``as_shot`` takes what the camera wrote. ``illuminant`` takes a correlated colour temperature and the
    distance from the Planckian locus in CIE 1960 u, v; ``daylight`` the CIE daylight of that temperature. A
    picture that the camera has already developed counts as balanced for 6504 K daylight.
    """

    source: str = param(
        "as_shot", choices=("as_shot", "illuminant", "daylight"), help="where the neutral comes from"
    )
    kelvin: float = param(
        5500.0, unit=Unit.KELVIN, low=2000, high=15000, step=50, scale="reciprocal",
        help="correlated colour temperature of the light; higher renders warmer",
    )  # fmt: skip
    duv: float = param(
        0.0, unit=Unit.DUV, low=-0.03, high=0.03, step=0.0005,
        help="distance of the light from the Planckian locus, positive towards green; higher is more magenta",
    )  # fmt: skip

    @classmethod
    def infer(cls, given: Mapping[str, Value]) -> dict[str, Value]:
        """A temperature or distance without a source means that the illuminant is stated."""
        implied = dict(given)
        if "source" not in implied and ("kelvin" in implied or "duv" in implied):
            implied["source"] = "illuminant"
        return implied


@operator("chroma", family=Family.COLOUR)
class Chroma(Operator):
    """Strengthen or weaken colour at unchanged luminance."""

    amount: float = param(
        0.0, low=-1, high=1, step=0.02, help="−1 leaves grey, 0 leaves the colour as it is, 1 doubles it"
    )
    muted: float = param(
        0.0,
        low=-1,
        high=1,
        step=0.02,
        help="the same for muted colours, sparing those that are strong already",
    )
