"""Where a lens drew what an ideal one would have drawn elsewhere: the published radial models, as numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine.operators.lens import Distortion, FallOff, LateralColour, Vignetting

Floats = npt.NDArray[np.float64]

RED, GREEN, BLUE = 0, 1, 2
_STEPS = 1025
_BORDER, _INNER = 65, 33
_HALVINGS, _LEAST = 40, 0.1


@dataclass(frozen=True, kw_only=True)
class LensModel:
    """How a frame's lens bends and spreads; None means that it does not.

    Distances are in half diagonals of the frame, from its centre.
    """

    distortion: Distortion | None = None
    lateral: LateralColour | None = None

    @property
    def bends(self) -> bool:
        return self.distortion is not None or self.lateral is not None

    def placed(self, x: Floats, y: Floats, channel: int) -> tuple[Floats, Floats]:
        """Where on the sensor the light of an ideal place fell, for one channel."""
        if self.distortion is not None:
            ratio = _distorted(self.distortion, np.hypot(x, y))
            x, y = x * ratio, y * ratio
        if self.lateral is not None and channel != GREEN:
            ratio = _spread(self.lateral, np.hypot(x, y), channel)
            x, y = x * ratio, y * ratio
        return x, y

    def filled(self, width: float, height: float) -> float:
        """The largest share, at most 1, of a centred frame of this shape that is filled in every channel."""
        if not self.bends:
            return 1.0
        half = np.hypot(width, height) / 2
        across, down = width / 2 / half, height / 2 / half
        along = np.linspace(-1, 1, _BORDER)
        x = np.concatenate([along * across, np.full(_BORDER, across)])
        y = np.concatenate([np.full(_BORDER, down), along * down])
        # The last step is a short one, to end where a fold begins.
        inner = np.append(np.linspace(0, 1, _INNER)[:-1], [0.9999, 1])[:, None]

        def inside(share: float) -> bool:
            for channel in (RED, GREEN, BLUE):
                at_x, at_y = self.placed(x * share * inner, y * share * inner, channel)
                if max(np.max(np.abs(at_x)) / across, np.max(np.abs(at_y)) / down) > 1 + 1e-9:
                    return False
                # Where values run a model back on itself, the frame would show things twice.
                if np.any(np.diff(np.hypot(at_x, at_y), axis=0) <= 0):
                    return False
            return True

        if inside(1.0):
            return 1.0
        low, high = _LEAST, 1.0
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if inside(middle) else (low, middle)
        return low


NO_LENS = LensModel()


def _distorted(lens: Distortion, distance: Floats) -> Floats:
    r = distance / lens.unit
    if lens.model == "poly3":
        return np.asarray(1 - lens.k1 + lens.k1 * r**2)
    if lens.model == "poly5":
        return np.asarray(1 + lens.k1 * r**2 + lens.k2 * r**4)
    return np.asarray(lens.k1 * r**3 + lens.k2 * r**2 + lens.k3 * r + 1 - lens.k1 - lens.k2 - lens.k3)


def _spread(lens: LateralColour, distance: Floats, channel: int) -> Floats:
    r = distance / lens.unit
    if channel == RED:
        return np.asarray(lens.red + lens.red_c * r + lens.red_b * r**2)
    return np.asarray(lens.blue + lens.blue_c * r + lens.blue_b * r**2)


def radial_gains(vignetting: Vignetting | None, fall_off: FallOff | None) -> npt.NDArray[np.float32]:
    """Gains that even the fall-off out, at evenly spaced squared distances 0 to 1 (the corner)."""
    squared = np.linspace(0, 1, _STEPS)
    gains = np.ones(_STEPS)
    if vignetting is not None:
        gains *= 2 ** (vignetting.corner * squared ** (vignetting.shape / 2))
    if fall_off is not None:
        left = 1 + fall_off.k1 * squared + fall_off.k2 * squared**2 + fall_off.k3 * squared**3
        # No lens leaves less than a sixteenth; less than that is a slip of the values.
        gains /= np.maximum(left, 1 / 16)
    # Powers may differ in their last bits from processor to processor.
    return np.round(gains, 6).astype(np.float32)
