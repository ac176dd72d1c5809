"""A gallery of what the engine does: frames before and after, and every operator low, mid and high."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import archive
from archive.demo import gallerypage, gallerystate, looks, trials
from archive.demo.exhibits import EXHIBITS, Exhibit, raw_files
from archive.demo.trials import Made, Series, Trial
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.foundation import current_foundation
from archive.engine.output import encode_jpeg, encode_png
from archive.errors import ArchiveError, UsageError, shown
from archive.model.product import PixelSpec
from archive.model.results import FileNote
from archive.store.targets import check_outside

_LARGEST = 400 << 20
_FILES, _DEPTH = 300, 8


@dataclass(frozen=True, kw_only=True)
class Gallery:
    """What was made: the page to begin with, how many frames and pictures, and the files that failed."""

    index: str
    frames: int
    pictures: int
    failed: tuple[FileNote, ...]


def make_gallery(
    folder: Path,
    *,
    samples: Path | None = None,
    size: int = 1200,
    demo: int = len(EXHIBITS),
    progress: Callable[[str, int, int], None] | None = None,
) -> Gallery:
    """Writes pages and pictures into a new or empty folder; a file that cannot be developed is told of.

    Stopped on the way and called again with the same arguments, it goes on: frames that are whole are kept.

    Parameters
    ----------
    samples : a folder of raw files to show too, each for itself, and of folders of such; links in it are not
        followed, and what is left out is told.
    size : longer side of the pictures in pixels.
    demo : how many of the simulated frames are shown.

    Raises
    ------
    UsageError : the folder holds something, or a size outside 200 to 4000 pixels.
    ArchiveError : it would lie in an archive.
    """
    if not 200 <= size <= 4000:
        raise UsageError(f"size: {size} px is outside 200 to 4000 px.", hint="Nothing was made.")
    check_outside(folder / "index.html")
    files, failed = _found(samples) if samples else ([], [])
    exhibits = EXHIBITS[:demo]
    plan = _plan(exhibits, samples, files, size)
    keys = [f"{number:02d}" for number in range(1, len(exhibits) + len(files) + 1)]
    held = gallerystate.begin(folder, plan)
    waiting = [key for key in keys if key not in held]
    sources = [
        *_exhibits(tuple(each for key, each in zip(keys, exhibits, strict=False) if key not in held)),
        *(
            _sample(path, samples or path.parent)
            for key, path in zip(keys[len(exhibits) :], files, strict=True)
            if key not in held
        ),
    ]
    with DecoderPool(1) as pool:
        for number, (key, source) in enumerate(zip(waiting, sources, strict=True), len(held)):
            if progress is not None:
                progress(source.title, number, len(keys))
            try:
                decoded = pool.decode(source.data(), source.title)
                held[key] = _shown(folder, key, source, decoded, size)
            except (ArchiveError, OSError) as error:
                text = error.message if isinstance(error, ArchiveError) else error.strerror or str(error)
                failed.append(FileNote(path=shown(source.title), text=text))
            else:
                gallerystate.keep(folder, plan, list(held.values()))
    shots = [held[key] for key in keys if key in held]
    index = folder / "index.html"
    index.write_text(gallerypage.index(shots), encoding="utf-8")
    gallerystate.finish(folder)
    pictures = sum(len(list((folder / shot.key).iterdir())) for shot in shots)
    return Gallery(index=str(index), frames=len(shots), pictures=pictures, failed=tuple(failed))


@dataclass(frozen=True, kw_only=True)
class _Source:
    """A file to show: its title, its bytes when they are asked for, and what is known of it."""

    title: str
    data: Callable[[], bytes]
    note: str
    exhibit: Exhibit | None = None


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


def _plan(
    exhibits: tuple[Exhibit, ...], samples: Path | None, files: list[Path], size: int
) -> dict[str, object]:
    """What decides the pages and pictures, as JSON has it."""
    states = [(path, path.stat()) for path in files]
    return {
        "release": archive.__version__,
        "foundation": current_foundation().to_json(),
        "size": size,
        "exhibits": [each.title for each in exhibits],
        "samples": [
            [shown(str(path.relative_to(samples or path.parent))), state.st_size, state.st_mtime_ns]
            for path, state in states
        ],
    }


def _exhibits(exhibits: tuple[Exhibit, ...]) -> Iterator[_Source]:
    made = raw_files(exhibits)
    for each in exhibits:
        yield _Source(title=each.title, data=partial(next, made), note=each.told, exhibit=each)


def _sample(path: Path, samples: Path) -> _Source:
    return _Source(title=str(path.relative_to(samples)), data=partial(_read, path), note="sample")


def _read(path: Path) -> bytes:
    if path.stat().st_size > _LARGEST:
        raise OSError(0, f"is larger than {_LARGEST >> 20} MB")
    return path.read_bytes()


def _shown(folder: Path, key: str, source: _Source, decoded: Decoded, size: int) -> gallerypage.Shot:
    place = folder / key
    place.mkdir(exist_ok=True)
    written: set[Path] = set()
    trial = Trial(decoded, PixelSpec(fit=(size, size)), source.exhibit)

    def write(made: Made, *, close: bool = False) -> gallerypage.Picture:
        file = place / f"{made.name}{'.png' if close else '.jpg'}"
        if file not in written:
            written.add(file)
            # JPEG would blur the very grain that is to be seen.
            encoded = encode_png(made.picture) if close else encode_jpeg(made.picture, quality=90)
            file.write_bytes(encoded)
        height, width = made.picture.shape[:2]
        return gallerypage.Picture(label=made.label, file=f"{key}/{file.name}", width=width, height=height)

    def page_series(made: tuple[Series, ...]) -> tuple[gallerypage.Series, ...]:
        return tuple(
            gallerypage.Series(
                place=each.place, pictures=tuple(write(one, close=bool(each.place)) for one in each.made)
            )
            for each in made
        )

    look = looks.first_look()
    before = Made(name="before", label="before", picture=trial.whole(()))
    after = Made(name="after", label="after", picture=trial.whole(look))
    close, told = trial.close(look)
    rows = [
        gallerypage.Row(
            title="Before and after", note=f"No recipe, and the demo's first look. {told}",
            series=page_series((Series(made=(before, after)), *close)),
        )
    ]  # fmt: skip
    for declared in trials.shown_operators():
        series, told = trial.of(declared)
        rows.append(
            gallerypage.Row(
                operator=declared.name, title=declared.title, note=told, series=page_series(series)
            )
        )
    width, height = trial.sides
    shot = gallerypage.Shot(
        key=key, title=shown(source.title), note=f"{source.note}, {width} × {height} pixels",
        rows=tuple(rows),
    )  # fmt: skip
    (folder / f"{key}.html").write_text(gallerypage.shot_page(shot), encoding="utf-8")
    return shot
