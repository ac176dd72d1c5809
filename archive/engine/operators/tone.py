"""Operators on brightness, in stops."""

from archive.engine.declaration import Family, Operator, Unit, operator, param


@operator("exposure", family=Family.TONE)
class Exposure(Operator):
    """Scale scene light by whole or part stops."""

    stops: float = param(
        0.0, unit=Unit.EV, low=-8, high=8, step=1 / 6, help="stops added; +1 doubles the light"
    )


@operator("highlight_recovery", family=Family.TONE)
class HighlightRecovery(Operator):
    """Bring detail back at the top: rebuild channels that were clipped and draw bright areas down.

    Where some channels of a pixel are clipped the others still tell its brightness: the lost ones are rebuilt
    from them and from the colour around. Bright areas are then lowered as a whole, so that detail inside
    them stays, down to where the brightest light that was recorded is just white.
    """

    stops: float = param(
        0.0,
        unit=Unit.EV,
        low=0,
        high=3,
        step=0.1,
        help="stops by which the brightest areas are lowered at most",
    )


@operator("shadow_lift", family=Family.TONE, strength=("stops",))
class ShadowLift(Operator):
    """Open dark areas, leaving local contrast and bright areas as they are."""

    stops: float = param(
        0.0, unit=Unit.EV, low=-3, high=4, step=0.1, help="stops by which the darkest areas are raised"
    )
    reach: float = param(
        5.0, unit=Unit.EV, low=2, high=9, step=0.25,
        help="stops below clipping at which half of the lift is given; smaller reaches further up",
    )  # fmt: skip


@operator("highlight_compression", family=Family.TONE, strength=("stops",))
class HighlightCompression(Operator):
    """Gather bright areas into less range, without halos, leaving detail inside them as it is.

    Light that exposure or highlight recovery left above white comes down first. White itself turns to a light
    neutral grey, never a stop darker, so that what lies below can draw nearer to it; with highlight recovery
    beside it clipped cores take the colour around them instead.
    """

    stops: float = param(
        0.0, unit=Unit.EV, low=0, high=3, step=0.1,
        help="stops by which the very brightest areas are lowered; below white by less and less of them",
    )  # fmt: skip
    reach: float = param(
        4.0, unit=Unit.EV, low=1.5, high=8, step=0.25,
        help="stops below clipping at which lowering begins; larger reaches further down",
    )  # fmt: skip


@operator("local_contrast", family=Family.TONE, finish=True)
class LocalContrast(Operator):
    """Strengthen or soften differences to the surroundings, sparing strong edges and deep shadow."""

    amount: float = param(
        0.0, low=-0.9, high=1.5, step=0.02,
        help="how much larger differences of texture become; 0.2 is 20 % larger, −0.9 nearly flat",
    )  # fmt: skip


@operator("contrast", family=Family.TONE, finish=True, strength=("amount",))
class Contrast(Operator):
    """Spread or gather tones around a pivot, by luminance, leaving colour ratios alone."""

    amount: float = param(
        0.0,
        low=-0.8,
        high=0.8,
        step=0.02,
        help="how much steeper tones run at the pivot; 0.2 is 20 % steeper",
    )
    pivot: float = param(
        -3.0, unit=Unit.EV, low=-8, high=-0.5, step=0.25,
        help="the tone that stays, in stops relative to clipping; middle grey is −2.5",
    )  # fmt: skip
