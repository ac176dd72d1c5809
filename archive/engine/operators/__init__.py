"""Declarations of every operator, by family; importing this package registers them, and nothing else does."""

from archive.engine.operators import colour, framing, lens, noise, sensor, sharpness, tone

FAMILIES = (sensor, lens, framing, colour, noise, tone, sharpness)
