"""What tone operators add, in stops, by tone in stops: known every 32nd of a stop, even between."""

from __future__ import annotations

import numpy as np
from support.plain.planes import Floats, smoothstep

from archive.engine.operators.tone import Contrast, HighlightCompression, HighlightRecovery, ShadowLift

TONES = np.arange(-16 * 32, 6 * 32 + 1) / 32


def looked_up(added: Floats, tones: Floats) -> Floats:
    return np.interp(tones, TONES, added)


def regional(
    lift: ShadowLift | None,
    recovery: HighlightRecovery | None,
    compression: HighlightCompression | None,
    headroom: float,
) -> Floats:
    """By the tone of surroundings, at each of ``TONES``.

    headroom : stops by which the brightest light that can be recorded lies above white.
    """
    added = np.zeros_like(TONES)
    room = max(headroom, 0.0)
    lowered = min(recovery.stops, room) if recovery else 0.0
    if lift:
        half = 1 + abs(lift.stops)
        added += lift.stops * (1 - smoothstep(TONES, -lift.reach - half, -lift.reach + half))
    if lowered > 0:
        added -= lowered * smoothstep(TONES, headroom - max(3, 2 * lowered), headroom)
    if compression and headroom + compression.reach > 0:
        # Down to white wholly; of what would go further, never as much as a stop.
        to_white = min(compression.stops, room - lowered)
        further = compression.stops - to_white
        most = to_white + further / (1 + further)
        way = np.clip((TONES + compression.reach) / (headroom + compression.reach), 0, 1)
        added -= most * way**2
    tone = TONES[0] + added[0]
    made = [tone]
    for step in np.diff(TONES + added):
        # Tones that were apart stay so, by 15 % at least.
        tone += max(step, 0.15 / 32)
        made.append(tone)
    return np.array(made) - TONES


def contrasted(step: Contrast) -> Floats:
    """By a pixel's own tone, at each of ``TONES``."""
    apart = TONES - step.pivot
    above = apart * np.maximum(1 - apart / -step.pivot, 0)
    below = 2.5 * np.tanh(apart / 2.5)
    return np.asarray(step.amount * np.where(apart >= 0, above, below))
