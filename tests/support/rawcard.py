"""A card of small raw frames of one camera: lights, dark frames and flats, at settings of one's own."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image

from archive.demo import rawfile
from archive.demo.night import NORTH
from archive.demo.rawfile import Shot

BEGIN = datetime(2026, 3, 18, 22, 0, 0)
HEIGHT, WIDTH = 96, 144
BLACK, WHITE = NORTH.body.black, NORTH.body.white


def raw_card(
    folder: Path,
    mosaics: Sequence[npt.NDArray[np.uint16]],
    *,
    model: str = NORTH.body.model,
    make: str = NORTH.body.make,
    lens: str = "Invented 20mm f/1.8",
    exposures: Sequence[int] = (),
    preview: tuple[bytes, tuple[int, int]] | None = None,
) -> Path:
    """A card whose frames NOCT0001.DNG… hold these mosaics, uint16, ten seconds apart, 8 s unless stated.

    ``preview`` is a JPEG and its size; by default a tiny one.
    """
    body = replace(NORTH.body, compressed=False, model=model, make=make, lens=lens)
    if preview is None:
        tiny = io.BytesIO()
        Image.new("RGB", (32, 24), (20, 30, 40)).save(tiny, "JPEG")
        preview = tiny.getvalue(), (32, 24)
    target = folder / "DCIM" / "100NOCTU"
    target.mkdir(parents=True)
    for index, mosaic in enumerate(mosaics):
        taken = BEGIN + timedelta(seconds=10 * index)
        shot = Shot(
            taken=taken.strftime("%Y:%m:%d %H:%M:%S"), subsec="00", offset="+01:00",
            exposure_s=Fraction(exposures[index] if exposures else 8), f_number=Fraction(9, 5), iso=3200,
            noise=(1.28e-4, 1.5e-7),
        )  # fmt: skip
        data = rawfile.dng(mosaic, body, shot, *preview)
        (target / f"NOCT{index + 1:04d}.DNG").write_bytes(data)
    return folder


def level(share: float | npt.NDArray[np.float64], seed: int = 0) -> npt.NDArray[np.uint16]:
    """A mosaic of this share of clipping, with a little noise."""
    light = np.broadcast_to(np.asarray(share, np.float64), (HEIGHT, WIDTH)) * (WHITE - BLACK) + BLACK
    return np.round(np.random.default_rng(seed).normal(light, 3)).clip(0, WHITE).astype(np.uint16)


def glow() -> npt.NDArray[np.float64]:
    """Counts that this sensor adds in the dark, as shares of clipping: one corner, and a few hot samples."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    counts = 0.05 * np.exp(-((x - WIDTH) ** 2 + (y - HEIGHT) ** 2) / 900)
    counts[11, 17], counts[50, 81] = 0.3, 0.2
    return np.asarray(counts)


def fall_off() -> npt.NDArray[np.float64]:
    """Light of an even surface through a lens: 1 − 0.5 r² + 0.1 r⁴."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    squared = ((x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2) / ((HEIGHT / 2) ** 2 + (WIDTH / 2) ** 2)
    return np.asarray(1 - 0.5 * squared + 0.1 * squared**2)
