"""The sensor: from linear light through colour filters to electrons, and to 14-bit numbers with noise."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.demo import radiometry
from archive.demo.radiometry import USUAL_F, USUAL_ISO, USUAL_S
from archive.demo.rawfile import PATTERNS, Body
from archive.engine.kernels.compiled import kernel

SRGB_TO_XYZ = np.array(
    [
        [0.4123907993, 0.3575843394, 0.1804807884],
        [0.2126390059, 0.7151686788, 0.0721923154],
        [0.0193308187, 0.1191947798, 0.9505321522],
    ]
)
"""Linear sRGB to CIE XYZ for D65 (IEC 61966-2-1 primaries, unrounded)."""
_READ_E = 3.0
_DARK_E_S = 0.05
_HOT = 2.2e-5


@kernel
def _scrambled(word: Any) -> Any:
    word = (word ^ (word >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    word = (word ^ (word >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return word ^ (word >> np.uint64(31))


@kernel
def _expose(
    light: Any, matrix: Any, pattern: Any, normal: Any, frame_key: Any, body_key: Any,
    full: float, gain: float, read: float, dark: float, hot: float, fall: float, black: float, white: float,
    out: Any,
) -> None:  # fmt: skip
    height, width, _ = light.shape
    stretch = fall / (0.25 * (height * height + width * width))
    limit = np.uint64(hot * 2.0**32)
    for row in range(height):
        for column in range(width):
            colour = pattern[2 * (row & 1) + (column & 1)]
            pixel = light[row, column]
            signal = (
                matrix[colour, 0] * pixel[0] + matrix[colour, 1] * pixel[1] + matrix[colour, 2] * pixel[2]
            )  # fmt: skip
            squared = ((row + 0.5 - 0.5 * height) ** 2 + (column + 0.5 - 0.5 * width) ** 2) * stretch
            electrons = max(0.0, signal * full / (1 + squared) ** 2) + dark
            place = np.uint64(row * width + column + 1) * np.uint64(0x9E3779B97F4A7C15)
            flaw = _scrambled(place ^ body_key)
            if (flaw & np.uint64(0xFFFFFFFF)) < limit:
                electrons += 0.04 * full * float(1 + ((flaw >> np.uint64(40)) & np.uint64(15)))
            draw = normal[int(_scrambled(place + frame_key) >> np.uint64(50))]
            value = black + gain * (electrons + draw * np.sqrt(electrons + read * read))
            out[row, column] = np.uint16(min(white, max(0.0, np.floor(value + 0.5))))


@cache
def _normal_table() -> NDArray[np.float32]:
    """Standard normal deviates at 2**14 equal shares of probability."""
    half = [NormalDist().inv_cdf((index + 0.5) / 16384) for index in range(8192)]
    return np.array(half + [-value for value in reversed(half)], np.float32)


def _key(*parts: object) -> np.uint64:
    return np.uint64(int.from_bytes(hashlib.sha256(repr(parts).encode()).digest()[:8], "little"))


def camera_matrix(body: Body) -> NDArray[np.float64]:
    """Linear sRGB to raw camera signals, (3, 3); white gives the body's as-shot neutral."""
    matrix = np.array(body.matrix).reshape(3, 3) @ SRGB_TO_XYZ
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True) * np.array(body.neutral)[:, None])


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """One body's sensor, ``width`` pixels long, behind a lens with the half-diagonal tangent ``diagonal``.

    Electrons follow from the size of its photosites, aperture, time and ISO (``radiometry``).
    """

    body: Body
    width: int
    diagonal: float

    @property
    def full_e(self) -> float:
        """Electrons that light 1.0 leaves in a green pixel at the usual exposure, before the lens darkens."""
        return radiometry.full_well(self.width)

    def gain(self, iso: int) -> float:
        """Camera numbers per electron."""
        return (self.body.white - self.body.black) / self.full_e * iso / USUAL_ISO

    def noise_profile(self, iso: int) -> tuple[float, float]:
        """DNG NoiseProfile: variance per signal, and at zero, for signals where the white level is 1."""
        share = self.gain(iso) / (self.body.white - self.body.black)
        return share, (share * _READ_E) ** 2

    def expose(
        self,
        light: NDArray[np.float32],
        *,
        exposure_s: Fraction,
        f_number: Fraction,
        iso: int,
        frame: int,
        seed: int,
    ) -> NDArray[np.uint16]:
        """The mosaic of one exposure, uint16 (H, W), from linear sRGB light, float32 (H, W, 3)."""
        if light.shape[0] % 2 or light.shape[1] % 2:
            raise ValueError("a Bayer mosaic has even sides")
        out = np.empty(light.shape[:2], np.uint16)
        time = float(exposure_s)
        full = self.full_e * time / USUAL_S * (USUAL_F / float(f_number)) ** 2
        _expose(
            light, camera_matrix(self.body), np.array(PATTERNS[self.body.pattern]), _normal_table(),
            _key("frame", seed, self.body.serial, frame), _key("body", self.body.serial), full,
            self.gain(iso), _READ_E, _DARK_E_S * time, _HOT, (0.62 * self.diagonal) ** 2,
            float(self.body.black), float(self.body.white), out,
        )  # fmt: skip
        return out


def quick_look(mosaic: NDArray[np.uint16], body: Body) -> NDArray[np.uint8]:
    """A half-size picture of a mosaic as the camera would show it, sRGB uint8 (H/2, W/2, 3)."""
    planes = np.zeros((3, mosaic.shape[0] // 2, mosaic.shape[1] // 2), np.float32)
    for index, colour in enumerate(PATTERNS[body.pattern]):
        planes[colour] += mosaic[index >> 1 :: 2, index & 1 :: 2]
    planes[1] *= 0.5
    planes = np.clip((planes - body.black) / (body.white - body.black), 0, 1)
    inverse = np.linalg.inv(camera_matrix(body)).astype(np.float32)
    # Every channel clips where the first of them does, or burnt highlights would turn magenta.
    neutral = np.array(body.neutral, np.float32)[:, None, None]
    balanced = np.minimum(planes / neutral, 1.0) * neutral
    # Written out: a linear-algebra library would start threads of its own for so small a matrix.
    rows = [row[0] * balanced[0] + row[1] * balanced[1] + row[2] * balanced[2] for row in inverse]
    linear = np.clip(np.stack(rows), 0, 1)
    table = np.linspace(0, 1, 4097)
    curve = np.where(table <= 0.0031308, 12.92 * table, 1.055 * table ** (1 / 2.4) - 0.055)
    shades = np.round(curve * 255).astype(np.uint8)
    return np.ascontiguousarray(shades[(linear * 4096).astype(np.int16)].transpose(1, 2, 0))
