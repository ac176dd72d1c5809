"""A gallery of what the engine does: frames before and after, and every operator low, mid and high."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

from archive.demo import cards, gallerypage, lenses, looks
from archive.engine import operator
from archive.engine.declaration import Declaration, Parameter
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.foundation import current_foundation
from archive.engine.output import encode_jpeg
from archive.engine.pipeline import render, render_linear
from archive.errors import ArchiveError, UsageError, shown
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues, Value
from archive.model.results import FileNote

FRAMES = (
    ("north", 11, "A quiet arc"),
    ("north", 43, "The outburst"),
    ("north", 80, "What is left of it"),
    ("river", 37, "Over the river"),
)
"""Which raw files of a demo night of 90 frames are shown: camera, place on its card, title."""
_SIZE, _SEED, _NIGHT = (1620, 1080), 20260318, 90
_LARGEST = 400 << 20
_ONE_WAY = (0.20, 0.45, 0.90)
_TWO_WAYS = (-0.25, 0.15, 0.40)
_FILES, _DEPTH = 300, 8
# What is as fine as a pixel is lost in smaller pictures, and shown as a part of the frame at full size.
_FINE = ("sharpness", "lateral_colour")
_PART = 420
_SHARPENED = 2.0
_DRAWN_SIZE = 2400


@dataclass(frozen=True, kw_only=True)
class Gallery:
    """What was made: the page to begin with, how many frames and pictures, and the files that failed."""

    index: str
    frames: int
    pictures: int
    failed: tuple[FileNote, ...]


def steps(declared: Declaration) -> tuple[tuple[str, Mapping[str, Value]], ...]:
    """A low, a mid and a high setting of an operator's first strength, as ``("low 0.5 EV", values)``.

    A strength whose neutral value lies at an end of its range is tried at 20, 45 and 90 % of the way to the
    other end; one that runs both ways a quarter down, and 15 and 40 % up. A choice is tried with each answer,
    what undoes a lens at a third, two thirds and the whole of what undoes the lens of ``lenses.DRAWN``.
    """
    if declared.name in lenses.DRAWN:
        return lenses.undoing(declared.name)
    named = [declared.parameter(name) for name in declared.strength]
    numbers = [each for each in named if each is not None and not each.is_choice and not each.frames]
    if not numbers:
        numbers = [each for each in declared.parameters if not each.is_choice and not each.frames]
    if not numbers:
        choice = declared.parameters[0]
        return tuple((str(answer), {choice.name: answer}) for answer in choice.choices)
    parameter = numbers[0]
    made = []
    for word, value in zip(("low", "mid", "high"), _values(parameter), strict=True):
        number = f"{value:.4g}".replace("-", "−")
        unit = parameter.unit.value
        made.append((f"{word}: {parameter.name} {number} {unit}".rstrip(), {parameter.name: value}))
    return tuple(made)


def _values(parameter: Parameter) -> tuple[float, float, float]:
    turned = parameter.scale == "reciprocal"

    def even(value: float) -> float:
        return 1 / value if turned else value

    neutral = even(float(parameter.default))
    low, high = even(parameter.low), even(parameter.high)
    one_way = parameter.default in (parameter.low, parameter.high)
    far = low if parameter.default == parameter.high else high
    values = []
    for share in _ONE_WAY if one_way else _TWO_WAYS:
        end = low if share < 0 else far
        value = even(neutral + abs(share) * (end - neutral))
        counted = parameter.low + round((value - parameter.low) / parameter.step) * parameter.step
        values.append(round(min(parameter.high, max(parameter.low, counted)), 6))
    return values[0], values[1], values[2]


def shown_operators() -> tuple[Declaration, ...]:
    """Every operator but those that need frames of one's own beside the one they work on."""
    return tuple(each for each in operator.declarations() if not any(p.frames for p in each.parameters))


def _last(tried: tuple[tuple[str, OperatorValues], ...]) -> str:
    return tried[-1][0].partition(": ")[2]


def _corner(picture: Any) -> tuple[int, int]:
    """Top and left of the part in the upper right corner."""
    return 0, max(0, picture.shape[1] - _PART)


def _detailed(picture: Any) -> tuple[int, int]:
    """Top and left of the part whose brightness changes most from pixel to pixel."""
    luma = picture[..., 1].astype(np.float32)
    rough = np.zeros_like(luma)
    rough[:, 1:] = np.abs(np.diff(luma, axis=1))
    places = [
        (top, left)
        for top in range(0, max(1, luma.shape[0] - _PART + 1), _PART // 2)
        for left in range(0, max(1, luma.shape[1] - _PART + 1), _PART // 2)
    ]
    return max(places, key=lambda at: float(rough[at[0] : at[0] + _PART, at[1] : at[1] + _PART].sum()))


def looks_of(declared: Declaration) -> tuple[tuple[str, OperatorValues], ...]:
    """The operator itself at each of its steps."""
    return tuple((label, operator.checked(declared.name, values)) for label, values in steps(declared))


def make_gallery(
    folder: Path,
    *,
    samples: Path | None = None,
    size: int = 1200,
    demo: int = len(FRAMES),
    progress: Callable[[str, int, int], None] | None = None,
) -> Gallery:
    """Writes pages and pictures into a new or empty folder; a file that cannot be developed is told of.

    Parameters
    ----------
    samples : a folder of raw files to show too, each for itself, and of folders of such; links in it are not
        followed, and what is left out is told.
    size : longer side of the pictures in pixels.
    demo : how many of the simulated frames are shown.

    Raises
    ------
    UsageError : the folder holds something, or a size outside 200 to 4000 pixels.
    """
    if not 200 <= size <= 4000:
        raise UsageError(f"size: {size} px is outside 200 to 4000 px.", hint="Nothing was made.")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(
            f"{shown(str(folder))} already holds something.",
            hint="Nothing was changed. Name a new or an empty folder: noctuary gallery FOLDER",
        )
    folder.mkdir(parents=True, exist_ok=True)
    files, failed = _found(samples) if samples else ([], [])
    shots, total = [], min(demo, len(FRAMES)) + len(files)
    with DecoderPool(1) as pool:
        for number, (title, data, note) in enumerate(_sources(files, samples, demo)):
            if progress is not None:
                progress(title, number, total)
            try:
                decoded = pool.decode(data(), title)
                shots.append(_shown(folder, f"{number + 1:02d}", title, note, decoded, size))
            except (ArchiveError, OSError) as error:
                text = error.message if isinstance(error, ArchiveError) else error.strerror or str(error)
                failed.append(FileNote(path=shown(title), text=text))
    index = folder / "index.html"
    index.write_text(gallerypage.index(shots), encoding="utf-8")
    pictures = sum(2 + sum(len(row.pictures) for row in shot.rows) for shot in shots)
    return Gallery(index=str(index), frames=len(shots), pictures=pictures, failed=tuple(failed))


def _found(samples: Path) -> tuple[list[Path], list[FileNote]]:
    """Files of a folder and of those in it, in order, and what of it is left out."""
    files: list[Path] = []
    left: list[FileNote] = []

    def leave(path: Path, why: str) -> None:
        left.append(FileNote(path=shown(str(path.relative_to(samples))), text=why))

    def look_into(folder: Path, depth: int) -> None:
        try:
            entries = sorted(folder.iterdir())
        except OSError as error:
            leave(folder, error.strerror or str(error))
            return
        for path in entries:
            if path.is_symlink():
                leave(path, "is a link, which is not followed")
            elif path.is_dir():
                if depth == _DEPTH:
                    leave(path, f"lies more than {_DEPTH} folders deep")
                else:
                    look_into(path, depth + 1)
            elif not path.is_file():
                leave(path, "is no ordinary file")
            elif len(files) == _FILES:
                leave(path, f"was left out; {_FILES} files are shown at most")
            else:
                files.append(path)

    look_into(samples, 0)
    return files, left


def _sources(
    files: list[Path], samples: Path | None, demo: int
) -> Iterator[tuple[str, Callable[[], bytes], str]]:
    for camera, shown_of in groupby(FRAMES[:demo], lambda frame: frame[0]):
        chosen = [(place, title) for _, place, title in shown_of]
        places = [place for place, _ in chosen]
        made = cards.raw_files(camera, places, seed=_SEED, size=_SIZE, frames=_NIGHT)
        for place, title in chosen:
            yield title, partial(next, made), f"simulated, camera {camera}, file {place}"
    for path in files:
        yield str(path.relative_to(samples or path.parent)), partial(_read, path), "sample"


def _read(path: Path) -> bytes:
    if path.stat().st_size > _LARGEST:
        raise OSError(0, f"is larger than {_LARGEST >> 20} MB")
    return path.read_bytes()


def _shown(folder: Path, key: str, title: str, note: str, decoded: Decoded, size: int) -> gallerypage.Shot:
    place = folder / key
    place.mkdir()
    pixels = PixelSpec(fit=(size, size))

    def write(name: str, picture: Any) -> str:
        (place / f"{name}.jpg").write_bytes(encode_jpeg(picture, quality=90))
        return f"{key}/{name}.jpg"

    light = render_linear(decoded, _recipe(()), PixelSpec(fit=(_DRAWN_SIZE, _DRAWN_SIZE)), threads=_threads())
    height, width = decoded.pixels.shape[:2]
    before = write("before", _made(decoded, (), pixels))
    after = write("after", _made(decoded, looks.first_look(), pixels))
    rows = []
    for declared in shown_operators():
        developed, told = _developed(declared, decoded, light, pixels)
        pictures = tuple(
            (label, write(f"{declared.name}-{number}", picture)) for number, label, picture in developed
        )
        rows.append(
            gallerypage.Row(
                name=declared.name, title=declared.title, pictures=pictures, note=told,
                exact=declared.name in _FINE,
            )
        )  # fmt: skip
    shot = gallerypage.Shot(
        key=key, title=shown(title), note=f"{note}, {width} × {height}",
        before=before, after=after, rows=tuple(rows),
    )  # fmt: skip
    (folder / f"{key}.html").write_text(gallerypage.shot_page(shot), encoding="utf-8")
    return shot


def _threads() -> int:
    return max(1, os.cpu_count() or 1)


def _recipe(base: tuple[OperatorValues, ...]) -> EffectiveRecipe:
    return EffectiveRecipe(foundation=current_foundation(), base=base)


def _made(decoded: Decoded, base: tuple[OperatorValues, ...], pixels: PixelSpec) -> Any:
    return render(decoded, _recipe(base), pixels, threads=_threads())


def _developed(
    declared: Declaration, decoded: Decoded, light: lenses.Light, pixels: PixelSpec
) -> tuple[list[tuple[int, str, Any]], str]:
    """An operator's pictures with their numbers and labels, 0 for one without it; and what they were made of.

    light : the frame's, for lenses to draw.
    """
    height, width = decoded.pixels.shape[:2]
    tried, of, notes = looks_of(declared), decoded, []
    by_lens, exact = declared.name in lenses.DRAWN, declared.name in _FINE
    if by_lens:
        of = Decoded(pixels=lenses.drawn(light, declared.name))
        notes.append(f"The frame was first drawn as by a lens of {_last(tried)}, which high undoes.")
    if declared.name == "sharpness":
        radius = min(5.0, max(0.1, round(1000 * _SHARPENED / math.hypot(width, height), 2)))
        tried = tuple((label, operator.changed(values, {"radius": radius})) for label, values in tried)
        notes.append(f"Its radius is {radius:g} ‰ here, {_SHARPENED:g} pixels of this frame.")
    bases = [(number, label, (values,)) for number, (label, values) in enumerate(tried, 1)]
    spec = PixelSpec(fit=None) if exact else pixels
    made = [(number, label, _made(of, base, spec)) for number, label, base in bases]
    if by_lens or exact:
        made.insert(0, (0, "without", _made(of, (), spec)))
    if exact:
        notes.append("Part of the frame, pixel by pixel.")
        first = made[0][2]
        top, left = _corner(first) if by_lens else _detailed(first)
        part = slice(top, top + _PART), slice(left, left + _PART)
        made = [(number, label, picture[part]) for number, label, picture in made]
    return made, " ".join(notes)
