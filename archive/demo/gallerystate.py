"""What an unfinished gallery has made so far, so that the command that began it goes on where it stopped."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from archive.demo.gallerypage import Picture, Row, Series, Shot
from archive.errors import UsageError, shown

NAME = "unfinished.json"
"""Lies in the gallery's folder until its last page is written."""


def begin(folder: Path, plan: Mapping[str, Any]) -> dict[str, Shot]:
    """Make a gallery's folder; where the same plan was begun in it, the frames that are whole, by key.

    Parameters
    ----------
    plan : what decides the pages and pictures, as JSON has it.

    Raises
    ------
    UsageError : the folder holds something else.
    """
    held: dict[str, Shot] = {}
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        begun, shots = _read(folder / NAME)
        if begun is None:
            raise UsageError(
                f"{shown(str(folder))} already holds something.",
                hint="Nothing was changed. Name a new or an empty folder: noctuary gallery FOLDER",
            )
        if begun != plan:
            raise UsageError(
                f"{shown(str(folder))} holds an unfinished gallery of other frames, size or release.",
                hint="Nothing was changed. Run the command that began it, or name a new or an empty folder.",
            )
        held = {shot.key: shot for shot in shots if _is_whole(folder, shot)}
    folder.mkdir(parents=True, exist_ok=True)
    keep(folder, plan, list(held.values()))
    return held


def keep(folder: Path, plan: Mapping[str, Any], shots: Sequence[Shot]) -> None:
    """Note which frames are whole."""
    temporary = folder / f"{NAME}.part"
    told = {"plan": plan, "frames": [asdict(shot) for shot in shots]}
    temporary.write_text(json.dumps(told, indent=1), encoding="utf-8")
    temporary.replace(folder / NAME)


def finish(folder: Path) -> None:
    """The gallery is whole."""
    (folder / NAME).unlink()


def _read(path: Path) -> tuple[Any, list[Shot]]:
    """The plan and the frames that are noted; no plan where nothing can be made out."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return told["plan"], [_shot(each) for each in told["frames"]]
    except (OSError, ValueError, TypeError, KeyError):
        return None, []


def _shot(told: dict[str, Any]) -> Shot:
    rows = tuple(Row(**{**row, "series": tuple(map(_series, row["series"]))}) for row in told["rows"])
    return Shot(**{**told, "rows": rows})


def _series(told: dict[str, Any]) -> Series:
    return Series(**{**told, "pictures": tuple(Picture(**each) for each in told["pictures"])})


def _is_whole(folder: Path, shot: Shot) -> bool:
    pictures = (picture for row in shot.rows for series in row.series for picture in series.pictures)
    files = [f"{shot.key}.html", *(picture.file for picture in pictures)]
    return all((folder / name).is_file() and (folder / name).stat().st_size for name in files)
