"""What is true of the simulated night, for checking what is measured from its files.

The noiseless light behind a file is ``cards.scene_light``, its time ``cards.capture_times``; what the files
say of camera and lens is in ``night.CAMERAS``; what lies on a written card is its ``cards.DemoCard``.
What went wrong, if asked for, is ``mishaps.Mishaps``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.demo import aurora, night

_WIDTH = 128


@dataclass(frozen=True, kw_only=True)
class Activity:
    """The aurora's light in every frame of a sequence, without sky, land, noise or mishaps.

    ``mean`` and ``peak`` are linear green light (1.0 = clipping at the usual exposure, about 100 kR), over
    the sky in view and in its brightest hundredth; ``redness`` is red light over green.
    """

    mean: NDArray[np.float64]
    peak: NDArray[np.float64]
    redness: NDArray[np.float64]

    @property
    def brightest(self) -> int:
        """Place in the sequence of the frame with most aurora."""
        return int(np.argmax(self.mean))


def plan_of(camera: str) -> night.CameraPlan:
    """A camera of the night: its body, lens, place, clock, settings and cadence.

    Raises
    ------
    StopIteration : there is no such camera; they are ``north`` and ``river``.
    """
    return next(plan for plan in night.CAMERAS if plan.name == camera)


def activity(camera: str, *, seed: int = 20260318, frames: int = 96) -> Activity:
    """The activity of the aurora that a camera's sequence of ``frames`` frames recorded."""
    plan = plan_of(camera)
    # The sky's share of a picture three wide and two high, or two wide and three high.
    rows = round(_WIDTH * plan.horizon * (1.5 if plan.upright else 2 / 3))
    curtains = aurora.Curtains(_WIDTH, rows, plan.half, plan.azimuth, seed)
    lights = []
    for exposure in night.exposures(plan, frames):
        if exposure.slot is not None:
            light = curtains.light(night.mood_at(exposure.middle, frames))
            green = light[..., 1]
            lights.append((green.mean(), np.percentile(green, 99), light[..., 0].sum() / green.sum()))
    mean, peak, redness = np.array(lights, np.float64).T
    return Activity(mean=mean, peak=peak, redness=redness)
