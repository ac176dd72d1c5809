"""The specs that every archive starts with."""

from __future__ import annotations

from fractions import Fraction

from archive.errors import UsageError, shown
from archive.model.product import PixelSpec, Spec

_SPECS = (
    Spec(
        name="still-web",
        product="still",
        container="jpeg",
        pixels=PixelSpec(fit=(2048, 2048)),
        encoder={"quality": 90, "subsampling": "4:4:4"},
    ),
    Spec(
        name="still-print",
        product="still",
        container="tiff",
        pixels=PixelSpec(fit=None, bits=16),
        encoder={"compression": "deflate"},
    ),
    Spec(
        name="set-hd",
        product="set",
        container="jpeg",
        pixels=PixelSpec(fit=(1920, 1920)),
        encoder={"quality": 92, "subsampling": "4:4:4"},
    ),
    Spec(
        name="movie-hd",
        product="movie",
        container="mp4",
        pixels=PixelSpec(fit=(1920, 1920), even=True),
        encoder={"codec": "h264", "crf": 18, "preset": "medium"},
        rate=Fraction(25),
    ),
)

ENDINGS = {"jpeg": "jpg", "tiff": "tif", "png": "png", "mp4": "mp4"}


def specs() -> tuple[Spec, ...]:
    return _SPECS


def spec_named(name: str) -> Spec:
    """A spec by its name.

    Raises
    ------
    UsageError : when there is none; it lists those there are.
    """
    for spec in _SPECS:
        if spec.name == name:
            return spec
    raise UsageError(
        f"There is no spec called {shown(name)}.",
        hint="Nothing was made. Specs here: " + ", ".join(spec.name for spec in _SPECS) + ".",
    )
