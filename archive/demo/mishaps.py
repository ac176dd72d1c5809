"""What may go wrong at the tripod: a bump, dew on the lens, exposures that waver."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from archive.demo.aurora import blurred


@dataclass(frozen=True, kw_only=True)
class Mishaps:
    """What befalls one camera; nothing by default. Frames are places in its sequence, counted from 0.

    ``bump_at`` is the first frame after someone touched the tripod, which then stands turned by ``bump``:
    shares of the picture's width that the picture moves right and down. ``dew_from`` is the first frame
    with dew on the lens, which grows during ``dew_frames`` until it blurs over ``dew_blur`` (share of the
    width, standard deviation) and holds back ``dew_loss`` of the light. ``flicker`` is the standard
    deviation, in stops, by which exposures waver, each by itself.
    """

    bump_at: int | None = None
    bump: tuple[float, float] = (0.012, -0.005)
    dew_from: int | None = None
    dew_frames: int = 24
    dew_blur: float = 0.006
    dew_loss: float = 0.35
    flicker: float = 0.0

    def dew(self, slot: int) -> float:
        """How far the dew has grown in a frame, 0 to 1."""
        if self.dew_from is None or slot < self.dew_from:
            return 0.0
        return min(1.0, (slot - self.dew_from + 1) / self.dew_frames)

    def wavering(self, slot: int, seed: int, camera: str) -> float:
        """Stops by which one exposure is off, of a normal distribution."""
        if not self.flicker:
            return 0.0
        digest = hashlib.sha256(f"flicker {seed} {camera} {slot}".encode()).digest()
        share = (int.from_bytes(digest[:6], "big") + 0.5) / 2**48
        return self.flicker * NormalDist().inv_cdf(share)

    def befall(
        self, picture: NDArray[np.float32], slot: int, *, seed: int, camera: str
    ) -> NDArray[np.float32]:
        """The light, float32 (H, W, 3), upright, as the sensor gets it in a frame of the sequence."""
        width = picture.shape[1]
        if self.bump_at is not None and slot >= self.bump_at:
            picture = _moved(picture, self.bump[0] * width, self.bump[1] * width)
        if dew := self.dew(slot):
            picture = blurred(picture, max(0.3, dew * self.dew_blur * width)) * np.float32(
                1 - dew * self.dew_loss
            )
        if stops := self.wavering(slot, seed, camera):
            picture = picture * np.float32(2**stops)
        return picture


NONE = Mishaps()
"""A night when nothing went wrong."""


def _moved(picture: NDArray[np.float32], right: float, down: float) -> NDArray[np.float32]:
    """The picture moved by parts of pixels; what comes into view repeats the edge."""
    for axis, shift in ((1, right), (0, down)):
        place = np.clip(np.arange(picture.shape[axis]) - shift, 0, picture.shape[axis] - 1)
        low = np.minimum(place.astype(np.intp), picture.shape[axis] - 2)
        share = (place - low).astype(np.float32)
        share = share[None, :, None] if axis == 1 else share[:, None, None]
        before, after = np.take(picture, low, axis), np.take(picture, low + 1, axis)
        picture = before + share * (after - before)
    return picture
