"""Two cards from one night, written file by file as two cameras would have filled them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from archive.demo import extras, night, rawfile
from archive.demo.mishaps import NONE, Mishaps
from archive.demo.picture import View
from archive.demo.sensor import Sensor, quick_look
from archive.errors import ArchiveError, UsageError, shown
from archive.model.place import Site

_CLIP_SIDE = 320
_UNDISTURBED: Mapping[str, Mishaps] = {}
_FULL: Mapping[int, int] = {}


@dataclass(frozen=True, kw_only=True)
class DemoCard:
    """What lies on one card, for those who tell its story or check it.

    ``camera`` is the model as the files name it; ``frames`` counts all raw files, ``sequence_frames`` those
    of the sequence; ``missed_after`` is the index in the sequence of the frame before the gap; ``files`` are
    the raw files in order, ``twin``, ``sound`` and ``clip`` the other recordings, all below ``folder`` with
    ``/``; ``reads`` are the camera's clock readings (naive, in the site's zone), ``true`` the UTC instants.
    """

    name: str
    camera: str
    make: str
    serial: str
    folder: Path
    frames: int
    sequence_frames: int
    test_frames: int
    cadence_s: float
    exposure_s: float
    missed_after: int
    clock_slow_s: float
    site_longitude: float
    files: tuple[str, ...]
    reads: tuple[datetime, ...]
    true: tuple[datetime, ...]
    twin: str | None
    sound: str | None
    clip: str | None


@dataclass(frozen=True, kw_only=True)
class DemoNight:
    """The whole night; ``clock_photo`` is what the slow camera read, and the true time, both local ISO 8601.

    ``clock_frame`` is the raw file, below its card, that was taken at that moment.
    """

    site: Site
    night: str
    cards: tuple[DemoCard, ...]
    clock_error_s: float
    slow_camera: str
    clock_photo: tuple[str, str]
    clock_frame: str


class _Studio:
    """One camera's view and sensor at one size."""

    def __init__(
        self,
        plan: night.CameraPlan,
        seed: int,
        size: tuple[int, int],
        frames: int,
        mishaps: Mapping[str, Mishaps] = _UNDISTURBED,
    ) -> None:
        self.plan, self.seed, self.frames = plan, seed, frames
        self.mishaps = mishaps.get(plan.name, NONE)
        width, height = size
        upright = (height, width) if plan.upright else (width, height)
        self.view = View(
            width=upright[0],
            height=upright[1],
            half=plan.half,
            azimuth=plan.azimuth,
            horizon=plan.horizon,
            latitude=night.SITE.latitude,
            longitude=night.SITE.longitude,
            seed=seed,
        )
        diagonal = plan.half * float(np.hypot(*upright)) / upright[0]
        self.sensor = Sensor(body=plan.body, width=max(size), diagonal=diagonal)
        self.exposures = night.exposures(plan, frames)

    def light(self, exposure: night.Exposure) -> NDArray[np.float32]:
        """Linear light on the sensor, in the sensor's own rows and columns."""
        mood = night.mood_at(exposure.middle, self.frames)
        upright = self.view.light(exposure.middle, mood, night.flyby(self.plan, exposure.slot, self.frames))
        if exposure.slot is not None:
            upright = self.mishaps.befall(upright, exposure.place, seed=self.seed, camera=self.plan.name)
        # Orientation 8: the stored rows run down the picture's right-hand side (Exif 2.32, tag 274).
        return np.ascontiguousarray(np.rot90(upright, -1)) if self.plan.upright else upright

    def raw(self, exposure: night.Exposure, photosites: int | None = None) -> bytes:
        sensor = self.sensor if photosites is None else replace(self.sensor, width=photosites)
        mosaic = sensor.expose(
            self.light(exposure),
            exposure_s=exposure.settings.exposure_s,
            f_number=exposure.settings.f_number,
            iso=exposure.settings.iso,
            frame=exposure.number,
            seed=self.seed,
        )
        look = quick_look(mosaic, self.plan.body)
        step = max(1, -(-max(look.shape[:2]) // 1620))
        look = np.ascontiguousarray(look[::step, ::step])
        preview = extras.jpeg(look)
        shot = night.shot(exposure, sensor)
        return rawfile.dng(mosaic, self.plan.body, shot, preview, (look.shape[1], look.shape[0]))


def _checked(size: tuple[int, int], frames: int) -> None:
    width, height = size
    if width % 2 or height % 2 or width < 64 or height < 48 or width < height:
        raise UsageError(
            f"A demo frame of {width} x {height} pixels cannot be made.",
            hint="Nothing was written. Ask for even sides, at least 64 x 48, the longer one first.",
        )
    if not 5 <= frames <= 5000:
        raise UsageError(
            f"A demo sequence of {frames} frames cannot be made.",
            hint="Nothing was written. Ask for 5 to 5000 frames.",
        )


def scene_light(
    camera: str,
    index: int,
    *,
    seed: int = 20260318,
    size: tuple[int, int] = (960, 640),
    frames: int = 96,
    mishaps: Mapping[str, Mishaps] = _UNDISTURBED,
) -> NDArray[np.float32]:
    """The noiseless light behind one raw file, for checking what is measured from it.

    Parameters
    ----------
    camera : ``north`` or ``river``; ``index`` counts the card's raw files from 0, test shots included.
    size : pixels (width, height) of the sensor; the same scene at every size.
    mishaps : what went wrong, by camera.

    Returns
    -------
    float32, (H, W, 3) in the sensor's rows and columns, linear sRGB as it looks at the as-shot white balance,
    before the lens darkens its corners; 1.0 just clips at 8 s, f/1.8, ISO 3200.
    """
    _checked(size, frames)
    plan = next(plan for plan in night.CAMERAS if plan.name == camera)
    studio = _Studio(plan, seed, size, frames, mishaps)
    return studio.light(studio.exposures[index])


def raw_files(
    camera: str,
    indices: Iterable[int],
    *,
    seed: int = 20260318,
    size: tuple[int, int] = (960, 640),
    frames: int = 96,
    mishaps: Mapping[str, Mishaps] = _UNDISTURBED,
    photosites: Mapping[int, int] = _FULL,
) -> Iterator[bytes]:
    """The bytes of some raw files as ``write_cards`` would write them; takes what ``scene_light`` does.

    ``photosites``, by index, gives a file photosites as small, and so as noisy, as those of a sensor so many
    pixels long, with gaps between them.
    """
    _checked(size, frames)
    plan = next(plan for plan in night.CAMERAS if plan.name == camera)
    studio = _Studio(plan, seed, size, frames, mishaps)
    for index in indices:
        yield studio.raw(studio.exposures[index], photosites.get(index))


def capture_times(camera: str, *, frames: int = 96) -> tuple[datetime, ...]:
    """The true beginning of every exposure on a card, in UTC, test shots included."""
    plan = next(plan for plan in night.CAMERAS if plan.name == camera)
    return tuple(exposure.true for exposure in night.exposures(plan, frames))


def write_cards(
    folder: Path,
    *,
    seed: int = 20260318,
    size: tuple[int, int] = (960, 640),
    frames: int = 96,
    mishaps: Mapping[str, Mishaps] = _UNDISTURBED,
    progress: Callable[[int, int], None] | None = None,
) -> DemoNight:
    """Writes ``card-north`` and ``card-river`` below ``folder`` and says what is on them.

    The same seed, size and number of frames give the same bytes, whatever the number of threads.

    Parameters
    ----------
    size : pixels (width, height) of every raw frame; even.
    frames : raw frames in each camera's sequence; test shots come on top.
    mishaps : what went wrong, by camera (``north``, ``river``); nothing by default.
    progress : called with files done and files in all.

    Raises
    ------
    UsageError : a size or number of frames that cannot be made.
    ArchiveError : a card's folder exists already.
    """
    _checked(size, frames)
    for plan in night.CAMERAS:
        card = folder / f"card-{plan.name}"
        if card.exists():
            raise ArchiveError(
                f"{shown(str(card))} exists already.",
                hint="Nothing was written or changed. Choose an empty folder for the demo.",
            )
    workers = max(1, min(8, os.cpu_count() or 1, 30_000_000 // (size[0] * size[1]) or 1))
    with ThreadPoolExecutor(workers) as pool:
        studios = list(pool.map(lambda plan: _Studio(plan, seed, size, frames, mishaps), night.CAMERAS))
        jobs = [(studio, exposure) for studio in studios for exposure in studio.exposures]

        def make(job: tuple[_Studio, night.Exposure]) -> None:
            studio, exposure = job
            _write(folder, studio, exposure)

        for done, _ in enumerate(pool.map(make, jobs), 1):
            if progress is not None:
                progress(done, len(jobs))
        cards = tuple(pool.map(lambda studio: _finished(folder, studio), studios))
    slow = studios[1]
    photographed = slow.exposures[night.CLOCK_SHOT]
    return DemoNight(
        site=night.SITE,
        night=night.NIGHT,
        cards=cards,
        clock_error_s=night.RIVER.slow_s,
        slow_camera=night.RIVER.body.model,
        clock_photo=(_local(photographed.reads), _local(photographed.true)),
        clock_frame=_path(photographed, "DNG"),
    )


def _local(moment: datetime) -> str:
    return night.SITE.to_local(moment).replace(tzinfo=None).isoformat()


def _path(exposure: night.Exposure, suffix: str) -> str:
    return f"DCIM/{exposure.folder}/{exposure.stem}.{suffix}"


def _write(folder: Path, studio: _Studio, exposure: night.Exposure) -> None:
    data = studio.raw(exposure)
    card = folder / f"card-{studio.plan.name}"
    written = exposure.reads + timedelta(seconds=float(exposure.settings.exposure_s))
    _put(card / _path(exposure, "DNG"), data, written)
    if exposure is _twinned(studio):
        shot = night.shot(exposure, studio.sensor)
        _put(card / _path(exposure, "JPG"), extras.twin(data, studio.plan.body, shot), written)


def _put(path: Path, data: bytes, moment: datetime) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    os.utime(path, (moment.timestamp(), moment.timestamp()))


def _twinned(studio: _Studio) -> night.Exposure | None:
    """The north camera's frame that has a JPEG twin: in the middle of the outburst."""
    if studio.plan is not night.NORTH:
        return None
    return studio.exposures[len(studio.plan.tests) + round(0.44 * studio.frames)]


def _finished(folder: Path, studio: _Studio) -> DemoCard:
    """Writes what is not a raw frame, and describes the card."""
    plan, made = studio.plan, studio.exposures
    card = folder / f"card-{plan.name}"
    sound = clip = None
    last = made[-1].reads + timedelta(seconds=float(plan.usual.exposure_s))
    if plan is night.NORTH:
        note = made[len(plan.tests) - 1]
        sound = _path(note, "WAV")
        _put(card / sound, extras.sound_note(1.6, studio.seed), note.reads + timedelta(seconds=21))
        _put(card / ".DS_Store", extras.desktop_store(), last + timedelta(hours=8))
        first = made[len(plan.tests)]
        litter = card / f"DCIM/{first.folder}/._{first.stem}.DNG"
        _put(litter, extras.resource_fork(), last + timedelta(hours=8))
    else:
        clip = _clip(card, studio)
        marker = card / "System Volume Information/IndexerVolumeGuid"
        _put(marker, extras.volume_marker(plan.body.serial), last + timedelta(hours=8))
    index = extras.housekeeping(plan.body, made[0].stem, made[-1].stem)
    _put(card / "MISC" / f"{plan.letters}.CTG", index, last)
    for path in sorted(card.rglob("*"), reverse=True):
        if path.is_dir():
            os.utime(path, (last.timestamp(), last.timestamp()))
    sequence = [exposure for exposure in made if exposure.slot is not None]
    gap = next(n for n, exposure in enumerate(sequence) if exposure.slot != n) - 1
    twinned = _twinned(studio)
    return DemoCard(
        name=plan.name,
        camera=plan.body.model,
        make=plan.body.make,
        serial=plan.body.serial,
        folder=card,
        frames=len(made),
        sequence_frames=len(sequence),
        test_frames=len(plan.tests),
        cadence_s=float(plan.cadence_s),
        exposure_s=float(plan.usual.exposure_s),
        missed_after=gap,
        clock_slow_s=plan.slow_s,
        site_longitude=night.SITE.longitude,
        files=tuple(_path(exposure, "DNG") for exposure in made),
        reads=tuple(night.SITE.to_local(exposure.reads).replace(tzinfo=None) for exposure in made),
        true=tuple(exposure.true for exposure in made),
        twin=_path(twinned, "JPG") if twinned else None,
        sound=sound,
        clip=clip,
    )


def _clip(card: Path, studio: _Studio) -> str:
    """A clip that the camera filmed after its sequence, lying so that it needs no orientation tag."""
    final = studio.exposures[-1]
    number = int(final.stem[-4:]) + 1
    path = f"DCIM/{final.folder}/{studio.plan.stem}{number:04d}.MOV"
    begun = final.true + timedelta(seconds=48)
    pictures = []
    for second in (0.0, 0.6, 1.2):
        moment = begun + timedelta(seconds=second)
        light = studio.view.light(moment, night.mood_at(moment, studio.frames))
        step = max(1, max(light.shape) // _CLIP_SIDE)
        small = light[: light.shape[0] // step * step : step, : light.shape[1] // step * step : step]
        small = small[: small.shape[0] // 2 * 2, : small.shape[1] // 2 * 2]
        curve = 1.055 * np.clip(small, 0.0031308, 1) ** (1 / 2.4) - 0.055
        pictures.append(np.round(curve * 255).astype(np.uint8))
    read = begun - timedelta(seconds=studio.plan.slow_s)
    extras.clip(card / path, pictures, read)
    os.utime(card / path, ((read + timedelta(seconds=2)).timestamp(),) * 2)
    return path
