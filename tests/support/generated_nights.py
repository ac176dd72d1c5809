"""Invented nights whose sequences are known: what cameras wrote, and which frames belong together.

Each night draws from what nights are made of: steady sequences, two regimes one after the other, ramps from
day to night, stalled buffers, missed frames, a new battery, bursts, brackets and groups of frames on an
interval timer, brackets by hand, single pictures and test shots between; clocks without fractions of a
second, clocks set right in the middle of the night, and file numbers that roll over.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from archive.model.place import ClockCorrection
from archive.nights.shots import Shot

_EXPOSURES = (1.0, 2.0, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 25.0)
_ISOS = (800, 1600, 3200, 6400)
_THIRD = 2 ** (1 / 3)


@dataclass(frozen=True, kw_only=True)
class CameraNight:
    """One camera's night: ``shots`` as its clock told them, ``runs`` the frames that belong together."""

    shots: tuple[Shot, ...]
    runs: tuple[tuple[str, ...], ...]
    clocks: tuple[ClockCorrection, ...] = ()


@dataclass(kw_only=True)
class _Tripod:
    """A camera as the night goes on."""

    chance: random.Random
    coarse: bool
    now: float = 0.0
    number: int = 1
    folder: int = 100
    taken: list[tuple[float, Shot]] = field(default_factory=list)
    runs: list[tuple[str, ...]] = field(default_factory=list)
    held: dict[str, float] = field(default_factory=dict)

    def settle(self, *, like: bool = False) -> None:
        """Choose exposure, sensitivity and lens, other ones by two stops than before unless ``like``."""
        if like and self.held:
            return
        before = self.held.get("exposure_s")
        choices = [e for e in _EXPOSURES if before is None or abs(math.log2(e / before)) >= 1.3]
        self.held = {
            "exposure_s": self.chance.choice(choices),
            "iso": self.chance.choice(_ISOS),
            "f_number": self.chance.choice((1.8, 2.8)),
            "focal_mm": 20.0,
        }

    def shoot(self, **other: float) -> str:
        name = f"{self.folder}NOCTU/NOCT{self.number:04d}.DNG"
        self.number += 1
        if self.number > 9999:
            self.number, self.folder = 1, self.folder + 1
        settings = self.held | other
        shot = Shot(
            frame=name,
            start=datetime(2026, 3, 18, 16, tzinfo=UTC) + timedelta(milliseconds=round(self.now * 1000)),
            exposure_s=settings["exposure_s"],
            iso=round(settings["iso"]),
            f_number=settings["f_number"],
            focal_mm=settings["focal_mm"],
            name=name,
        )
        self.taken.append((self.now, shot))
        return name

    def pause(self, low: float = 90, high: float = 1500) -> None:
        self.now += self.chance.uniform(low, high)

    def told(self, clock_set: bool) -> CameraNight:
        """The night as the camera's clock wrote it down."""
        shots = [shot for _, shot in self.taken]
        clocks: tuple[ClockCorrection, ...] = ()
        if clock_set:
            # Behind, not ahead: else readings before and after the setting could not be told apart.
            wrong = timedelta(seconds=self.chance.choice((-72, -3600, -41)))
            edge = self.chance.choice([run[0] for run in self.runs[1:]])
            at = next(index for index, shot in enumerate(shots) if shot.frame == edge)
            limit = shots[at - 1].start + (shots[at].start - shots[at - 1].start) / 2
            shots = [replace(s, start=s.start + wrong) if s.start < limit else s for s in shots]
            clocks = (ClockCorrection(reads=limit + wrong, true=limit, until=limit + wrong),)
        if self.coarse:
            shots = [replace(shot, start=shot.start.replace(microsecond=0)) for shot in shots]
        return CameraNight(shots=tuple(shots), runs=tuple(self.runs), clocks=clocks)


def generated_night(seed: int) -> tuple[CameraNight, ...]:
    """The cameras of one invented night; equal seeds give equal nights."""
    chance = random.Random(seed)
    return tuple(_camera(random.Random(chance.random())) for _ in range(chance.choice((1, 1, 2, 3))))


def _camera(chance: random.Random) -> CameraNight:
    tripod = _Tripod(chance=chance, coarse=chance.random() < 0.45)
    if chance.random() < 0.3:
        tripod.number = 9999 - chance.randrange(10, 200)
    if chance.random() < 0.4:
        _tests(tripod)
        _ramp(tripod)
        tripod.pause()
    for _ in range(chance.randrange(2, 5)):
        if chance.random() < 0.5:
            _tests(tripod)
        kinds = (_steady, _steady, _two_regimes, _battery, _bursts, _rounds, _by_hand, _singles)
        chance.choice(kinds)(tripod)
        tripod.pause()
    return tripod.told(clock_set=chance.random() < 0.15 and len(tripod.runs) > 1)


def _tests(tripod: _Tripod) -> None:
    """A few test shots, each other than the one before, and a look at each."""
    for _ in range(tripod.chance.randrange(1, 4)):
        tripod.settle()
        tripod.shoot()
        tripod.now += tripod.held["exposure_s"] + tripod.chance.uniform(15, 120)


def _steady(tripod: _Tripod, *, like: bool = False, cadence: float | None = None) -> float:
    """A steady sequence with frames missed and buffers stalled; answers its cadence."""
    chance = tripod.chance
    tripod.settle(like=like)
    cadence = cadence or tripod.held["exposure_s"] + chance.choice((1.0, 2.0, 3.0, 0.7, 5.0))
    count = chance.randrange(12, 160)
    calm = 0
    frames = []
    for index in range(count):
        frames.append(tripod.shoot())
        calm += 1
        step = cadence + (0.0 if tripod.coarse else chance.uniform(-0.12, 0.12))
        if 8 <= index < count - 8 and calm > 8 and chance.random() < 0.04:
            # A missed frame or more, or a buffer that was written out before the next exposure could begin.
            late = chance.choice((2, 2, 3)) if chance.random() < 0.5 else chance.uniform(1.2, 3.5)
            step = cadence * late
            calm = 0
        tripod.now += step
    tripod.runs.append(tuple(frames))
    return cadence


def _two_regimes(tripod: _Tripod) -> None:
    """Two sequences close together that differ in settings, in cadence, or both."""
    cadence = _steady(tripod)
    if tripod.chance.random() < 0.5:
        tripod.now += tripod.chance.uniform(0, 40)
        _steady(tripod)
    else:
        tripod.now += tripod.chance.uniform(8, 40)
        _steady(tripod, like=True, cadence=cadence * tripod.chance.uniform(1.7, 3.0) + 2)


def _battery(tripod: _Tripod) -> None:
    """The same sequence goes on behind a pause that is much longer than its cadence."""
    cadence = _steady(tripod)
    tripod.now += max(6.5 * cadence, tripod.chance.uniform(60, 240))
    _steady(tripod, like=True, cadence=cadence)


def _bursts(tripod: _Tripod) -> None:
    """Hand-held bursts of a few frames a second."""
    tripod.settle()
    for _ in range(tripod.chance.randrange(1, 4)):
        step = tripod.chance.choice((0.1, 0.125, 0.2, 0.34))
        frames = []
        for _ in range(tripod.chance.randrange(6, 30)):
            frames.append(tripod.shoot(exposure_s=0.01))
            tripod.now += step
        tripod.runs.append(tuple(frames))
        tripod.pause(20, 90)


_ROUNDS = (
    (2.0, 8.0, 0.5), (1.0, 4.0, 15.0), (4.0, 15.0, 1.0), (8.0, 15.0, 4.0), (1 / 60, 1 / 15, 1 / 250),
    (1 / 30, 1 / 125, 1 / 8, 1 / 500, 1 / 2), (4.0, 1.0), (10.0, 10.0, 10.0), (8.0, 8.0), (2.0,) * 4,
)  # fmt: skip


def _round(tripod: _Tripod, exposures: tuple[float, ...], pause: float) -> list[str]:
    """One bracket, or one group of like frames, at one press of the button."""
    frames = []
    for exposure in exposures:
        frames.append(tripod.shoot(exposure_s=exposure))
        tripod.now += exposure + pause
    return frames


def _rounds(tripod: _Tripod) -> None:
    """Brackets or groups of frames on an interval timer; a round may be late, or missed."""
    chance = tripod.chance
    exposures = chance.choice(_ROUNDS)
    tripod.held = {"exposure_s": exposures[0], "iso": 800.0, "f_number": 2.8, "focal_mm": 20.0}
    pause = chance.choice((0.2, 0.5, 1.0))
    taking = sum(exposures) + pause * len(exposures)
    # At least a third longer than the round itself: less is a steady cadence of unlike frames.
    every = math.ceil(1.35 * taking + chance.uniform(3, 25))
    if chance.random() < 0.4:
        # The bracket is tried by hand first.
        tried = _round(tripod, exposures, pause)
        if len(tried) > 4:
            # So many frames one right after the other are a burst of their own.
            tripod.runs.append(tuple(tried))
        tripod.now += chance.uniform(1.6, 4) * every
    frames = []
    count = chance.randrange(8, 70)
    for index in range(count):
        begin = tripod.now
        frames += _round(tripod, exposures, pause)
        middle = 6 <= index < count - 6
        late = 0.0 if tripod.coarse else chance.uniform(-0.12, 0.12)
        tripod.now = begin + every * (2 if middle and chance.random() < 0.03 else 1) + late
    tripod.runs.append(tuple(frames))


def _by_hand(tripod: _Tripod) -> None:
    """Brackets set off one by one, each when the person is ready: no sequence."""
    exposures = tripod.chance.choice([each for each in _ROUNDS if len(each) < 4 and len(set(each)) > 1])
    tripod.held = {"exposure_s": exposures[0], "iso": 800.0, "f_number": 2.8, "focal_mm": 20.0}
    for _ in range(tripod.chance.randrange(2, 9)):
        _round(tripod, exposures, 0.5)
        tripod.pause(15, 150)


def _singles(tripod: _Tripod) -> None:
    """Pictures taken one by one, composed anew each time."""
    for _ in range(tripod.chance.randrange(3, 12)):
        tripod.settle()
        tripod.shoot(focal_mm=tripod.chance.choice((14.0, 24.0, 35.0, 70.0)))
        tripod.now += tripod.held["exposure_s"] + tripod.chance.uniform(12, 400)


def _ramp(tripod: _Tripod) -> None:
    """From day to night: exposure and sensitivity rise by thirds of stops, and the interval with them."""
    chance = tripod.chance
    count = chance.randrange(150, 400)
    exposure, iso = chance.choice((1 / 500, 1 / 60)), 100
    begin, end = chance.uniform(4, 8), chance.uniform(12, 24)
    every = max(2, round(0.7 * count / (3 * math.log2(end / 2 / exposure))))
    frames = []
    for index in range(count):
        frames.append(tripod.shoot(exposure_s=exposure, iso=iso, f_number=2.8, focal_mm=20.0))
        step = max(begin + (end - begin) * index / count, exposure + 1)
        tripod.now += 2 * step if 8 < index < count - 8 and chance.random() < 0.01 else step
        if index % every == every - 1:
            exposure = min(exposure * _THIRD, end / 2)
        if index > 0.75 * count and index % 6 == 0:
            iso = min(round(iso * _THIRD), 3200)
    tripod.runs.append(tuple(frames))
    tripod.held = {"exposure_s": exposure, "iso": float(iso), "f_number": 2.8, "focal_mm": 20.0}
