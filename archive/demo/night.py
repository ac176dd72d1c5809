"""The plot of the night: where, which cameras, every exposure by true time and by the cameras' clocks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from archive.demo import aurora
from archive.demo.rawfile import Body, Shot
from archive.demo.sensor import Sensor
from archive.model.place import Site

NIGHT = "2026-03-18"
SITE = Site(
    id="site:veskjelva",
    name="Veskjelva bend",
    latitude=69.12,
    longitude=20.41,
    elevation_m=74.0,
    zone="Europe/Oslo",
)
SHOW = datetime(2026, 3, 18, 21, 34, 8, tzinfo=UTC)
"""When the aurora's show begins; it lasts for as many seconds as the north camera's sequence."""
OFFSET = "+01:00"


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Exposure settings."""

    exposure_s: Fraction
    f_number: Fraction
    iso: int


@dataclass(frozen=True, kw_only=True)
class CameraPlan:
    """One camera of the night.

    ``half`` is the tangent of half the upright picture's horizontal field of view, ``azimuth`` that of the
    optical axis in degrees, ``horizon`` the share of the picture above the horizon; ``slow_s`` is how far
    its clock is behind; ``first`` the number of its first file, in directory number ``directory``;
    ``missed`` the share of the sequence after which one exposure is missing; ``start`` the first
    exposure's true time; ``tests`` are the test shots: true time before the start in seconds, and settings.
    """

    name: str
    body: Body
    half: float
    azimuth: float
    horizon: float
    slow_s: float
    letters: str
    stem: str
    directory: int
    rolls_over_after: int | None
    first: int
    missed: float
    start: datetime
    cadence_s: int
    usual: Settings
    tests: tuple[tuple[float, Settings], ...]

    @property
    def upright(self) -> bool:
        """Whether the camera stands on its side."""
        return self.body.orientation == 8


def _settings(exposure: Fraction | int, f_number: str, iso: int) -> Settings:
    return Settings(exposure_s=Fraction(exposure), f_number=Fraction(f_number), iso=iso)


NORTH = CameraPlan(
    name="north",
    body=Body(
        make="Kvelvane Optisk",
        model="Kvelvane K6",
        serial="KV600317",
        lens="Kvelvane 20 mm f/1.8",
        lens_range=(Fraction(20), Fraction(20), Fraction(9, 5), Fraction(9, 5)),
        focal_mm=20.0,
        pattern="RGGB",
        black=1024,
        white=15871,
        matrix=(0.7215, -0.2184, -0.0653, -0.4467, 1.2519, 0.2230, -0.0811, 0.1987, 0.6034),
        neutral=(0.5172, 1.0, 0.6305),
        compressed=False,
    ),
    half=0.90,
    azimuth=-9.0,
    horizon=0.765,
    slow_s=0.0,
    letters="KVELV",
    stem="KVEL",
    directory=100,
    rolls_over_after=None,
    first=412,
    missed=0.68,
    start=SHOW,
    cadence_s=10,
    usual=_settings(8, "1.8", 3200),
    tests=(
        (1310.0, _settings(15, "1.8", 1600)),
        (1262.0, _settings(4, "1.8", 6400)),
        (1218.0, _settings(8, "1.8", 3200)),
    ),
)
RIVER = CameraPlan(
    name="river",
    body=Body(
        make="Ormlys",
        model="Ormlys S24",
        serial="81-20455",
        lens="Ormlys 16 mm F2",
        lens_range=(Fraction(16), Fraction(16), Fraction(2), Fraction(2)),
        focal_mm=16.0,
        pattern="GBRG",
        black=512,
        white=16383,
        matrix=(0.6988, -0.1901, -0.0719, -0.5120, 1.3204, 0.2107, -0.0925, 0.2308, 0.5711),
        neutral=(0.4884, 1.0, 0.6687),
        compressed=True,
        orientation=8,
    ),
    half=0.62,
    azimuth=46.0,
    horizon=0.735,
    slow_s=72.0,
    letters="ORMLS",
    stem="ORML",
    directory=114,
    rolls_over_after=9999,
    first=9958,
    missed=0.31,
    start=SHOW - timedelta(seconds=45),
    cadence_s=13,
    usual=_settings(10, "2.0", 3200),
    tests=((1504.0, _settings(20, "2.8", 3200)), (1416.0, _settings(10, "2.0", 3200))),
)
CAMERAS = (NORTH, RIVER)
CLOCK_SHOT = 1
"""Which test shot of the river camera is the one of a phone that shows the true time."""


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """One raw file: which, when truly begun (UTC), how.

    ``slot`` counts the cadence from the sequence's begin, the missed exposure too, and ``place`` the frames
    that there are; None and -1 for test shots.
    """

    number: int
    slot: int | None
    place: int
    folder: str
    stem: str
    true: datetime
    reads: datetime
    settings: Settings

    @property
    def middle(self) -> datetime:
        return self.true + timedelta(seconds=float(self.settings.exposure_s) / 2)


def exposures(plan: CameraPlan, frames: int) -> tuple[Exposure, ...]:
    """Every exposure on a camera's card in order: its test shots, then ``frames`` of its sequence.

    One slot of the sequence is missing, as when a buffer was full: file numbers go on, time shows the gap.
    """
    if frames < 2:
        raise ValueError("a sequence needs at least two frames")
    gap = min(frames - 1, max(1, round(plan.missed * frames)))
    slots = [slot for slot in range(frames + 1) if slot != gap]
    moments: list[tuple[int | None, datetime, Settings]] = [
        (None, plan.start - timedelta(seconds=before), settings) for before, settings in plan.tests
    ]
    moments += [(slot, plan.start + timedelta(seconds=slot * plan.cadence_s), plan.usual) for slot in slots]
    made = []
    for number, (slot, true, settings) in enumerate(moments):
        directory, file = _numbered(plan, number, frames)
        made.append(
            Exposure(
                number=number,
                slot=slot,
                place=max(-1, number - len(plan.tests)),
                folder=f"{directory}{plan.letters}",
                stem=f"{plan.stem}{file:04d}",
                true=true,
                reads=true - timedelta(seconds=plan.slow_s),
                settings=settings,
            )
        )
    return tuple(made)


def _numbered(plan: CameraPlan, number: int, frames: int) -> tuple[int, int]:
    """Directory and file number; a roll-over comes in the middle of the sequence, however short."""
    if plan.rolls_over_after is None:
        return plan.directory, plan.first + number
    before = len(plan.tests) + min(frames // 2, plan.rolls_over_after - plan.first - len(plan.tests) + 1)
    if number < before:
        return plan.directory, plan.rolls_over_after - before + 1 + number
    return plan.directory + 1, number - before + 1


def show_seconds(frames: int) -> float:
    """How long the aurora's show lasts."""
    return float(frames * NORTH.cadence_s)


def mood_at(moment: datetime, frames: int) -> aurora.Mood:
    """The aurora at an instant of a night whose sequences have ``frames`` frames."""
    return aurora.mood((moment - SHOW).total_seconds(), show_seconds(frames))


def shot(exposure: Exposure, sensor: Sensor) -> Shot:
    """What the file of an exposure says."""
    local = exposure.reads + timedelta(hours=1)
    return Shot(
        taken=local.strftime("%Y:%m:%d %H:%M:%S"),
        subsec=f"{local.microsecond // 10000:02d}",
        offset=OFFSET,
        exposure_s=exposure.settings.exposure_s,
        f_number=exposure.settings.f_number,
        iso=exposure.settings.iso,
        noise=sensor.noise_profile(exposure.settings.iso),
    )


def flyby(plan: CameraPlan, slot: int | None, frames: int) -> NDArray[np.float64] | None:
    """What crosses the north camera's view in a frame: an airliner in two frames, a satellite in one.

    Rows of (tangent right, tangent up, red, green, blue).
    """
    if plan is not NORTH or slot is None or frames < 4:
        return None
    plane, satellite = round(0.115 * frames), round(0.90 * frames)
    if slot in (plane, plane + 1):
        begin = 0.285 * (slot - plane)
        share = np.linspace(0, 1, 90)
        x, y = -0.16 + begin + 0.228 * share, 0.645 - 0.10 * (begin + 0.228 * share)
        lamps = np.tile([0.055, 0.034, 0.026], (90, 1))
        lamps[4::11] = [1.6, 1.6, 1.7]
        return np.column_stack([x, y, lamps])
    if slot == satellite:
        share = np.linspace(0, 1, 70)
        strength = 0.050 * np.sin(np.pi * share) ** 0.7
        return np.column_stack(
            [0.42 - 0.10 * share, 0.52 + 0.17 * share, strength[:, None] * np.array([1.0, 0.96, 0.88])]
        )
    return None
