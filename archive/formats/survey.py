"""Measures documents of a survey: values to bytes and back. Their names carry their own digest."""

from __future__ import annotations

import base64
import hashlib
import re
from typing import Any

from pydantic import Field

from archive.errors import DamagedFileError, shown
from archive.formats.documents import Document, Part, checked
from archive.model.identity import canonical
from archive.model.survey import CELLS, Cells, KeptFile, Measures, SurveyDocument, SurveyedFrame

TYPE, FORMAT = "noctuary-survey", 1
MOST_FRAMES = 64
_NAME = re.compile(r"measures-(?P<method>\d\d)-(?P<id>[0-9a-f]{16})\.json")
_UNIT = 1_000_000
_DIGEST = r"^xxh128:[0-9a-f]{32}$"


class _File(Part):
    path: str = Field(pattern=r"^(previews/[0-9a-f]{16}\.jpg|slices/[0-9a-f]{16}\.png)$")
    size: int = Field(ge=1, le=1 << 40)
    digest: str = Field(pattern=_DIGEST)


class _Preview(_File):
    origin: str = Field(alias="from")


class _Cells(Part):
    red: list[int] = Field(min_length=CELLS[0] * CELLS[1], max_length=CELLS[0] * CELLS[1])
    green: list[int] = Field(min_length=CELLS[0] * CELLS[1], max_length=CELLS[0] * CELLS[1])
    blue: list[int] = Field(min_length=CELLS[0] * CELLS[1], max_length=CELLS[0] * CELLS[1])


class _Outline(Part):
    across: str = Field(max_length=1 << 16)
    down: str = Field(max_length=1 << 16)


class _Frame(Part):
    frame: str = Field(pattern=_DIGEST)
    path: str
    preview: _Preview
    brightness: float = Field(ge=-40, le=1)
    clipped: float = Field(ge=0, le=1)
    dark: float = Field(ge=0, le=1)
    sharpness: float | None = Field(ge=0, le=1)
    cells: _Cells
    outline: _Outline
    likeness: str = Field(pattern=r"^[0-9a-f]{64}$")


class _Survey(Document):
    method: int = Field(ge=1, le=99)
    roll: str = Field(pattern=r"^[0-9a-f]{8}$")
    size: list[int] = Field(min_length=2, max_length=2)
    slices: _File
    frames: list[_Frame] = Field(min_length=1, max_length=MOST_FRAMES)


def method_of(name: str) -> int | None:
    """The method in a measures document's file name; None for other files."""
    match = _NAME.fullmatch(name)
    return int(match["method"]) if match else None


def encode(document: SurveyDocument) -> tuple[str, bytes]:
    """The document's file name and bytes; the same values always give the same."""
    frames = [_frame_json(frame) for frame in document.frames]
    data = canonical(
        {
            "type": TYPE,
            "format": FORMAT,
            "method": document.method,
            "roll": document.roll,
            "size": list(document.size),
            "slices": _file_json(document.slices),
            "frames": frames,
        }
    )
    return f"measures-{document.method:02d}-{hashlib.sha256(data).hexdigest()[:16]}.json", data


def decode(data: bytes, name: str) -> SurveyDocument:
    """The document in ``data``; ``name`` is its file name, and is held against the bytes.

    Raises
    ------
    DamagedFileError : when name and bytes disagree, or a value is none that a survey writes.
    """
    match = _NAME.fullmatch(name)
    if match is None or hashlib.sha256(data).hexdigest()[:16] != match["id"]:
        raise DamagedFileError(
            f"The survey document {shown(name)} was changed after it was written.",
            hint="It was set aside; `noctuary survey` measures its frames again.",
        )
    read = checked(_Survey, data, name, kind=TYPE, reads=FORMAT, exact=True)
    if read.method != int(match["method"]):
        raise DamagedFileError(f"{shown(name)} is named by another method.", hint="It was set aside.")
    slices = _kept(read.slices)
    width, height = read.size
    try:
        frames = tuple(_surveyed(frame, slices, at, width, height) for at, frame in enumerate(read.frames))
    except ValueError as error:
        raise DamagedFileError(f"{shown(name)}: {error}.", hint="It was set aside.") from error
    return SurveyDocument(
        method=read.method, roll=read.roll, size=(width, height), slices=slices, frames=frames
    )


def _surveyed(frame: _Frame, slices: KeptFile, at: int, width: int, height: int) -> SurveyedFrame:
    columns, rows = CELLS if width >= height else CELLS[::-1]
    cells = frame.cells
    return SurveyedFrame(
        frame=frame.frame,
        path=frame.path,
        preview=_kept(frame.preview),
        preview_from=frame.preview.origin,
        slices=slices,
        slice_at=at,
        measures=Measures(
            brightness=frame.brightness,
            clipped=frame.clipped,
            dark=frame.dark,
            sharpness=frame.sharpness,
            cells=Cells(
                columns=columns,
                rows=rows,
                red=_light(cells.red),
                green=_light(cells.green),
                blue=_light(cells.blue),
            ),
            across=base64.b64decode(frame.outline.across, validate=True),
            down=base64.b64decode(frame.outline.down, validate=True),
            likeness=frame.likeness,
        ),
    )


def _light(millionths: list[int]) -> tuple[float, ...]:
    return tuple(value / _UNIT for value in millionths)


def _kept(file: _File) -> KeptFile:
    if not file.path.partition("/")[2].startswith(file.digest.removeprefix("xxh128:")[:16]):
        raise DamagedFileError(
            f"The survey names {shown(file.path)} by another digest than its own.", hint="It was set aside."
        )
    return KeptFile(path=file.path, size=file.size, digest=file.digest)


def _file_json(file: KeptFile) -> dict[str, Any]:
    return {"path": file.path, "size": file.size, "digest": file.digest}


def _frame_json(frame: SurveyedFrame) -> dict[str, Any]:
    told = frame.measures
    cells = {
        name: [round(value * _UNIT) for value in values]
        for name, values in (("red", told.cells.red), ("green", told.cells.green), ("blue", told.cells.blue))
    }
    return {
        "frame": frame.frame,
        "path": frame.path,
        "preview": {**_file_json(frame.preview), "from": frame.preview_from},
        "brightness": round(told.brightness, 4),
        "clipped": round(told.clipped, 6),
        "dark": round(told.dark, 6),
        "sharpness": None if told.sharpness is None else round(told.sharpness, 4),
        "cells": cells,
        "outline": {
            "across": base64.b64encode(told.across).decode("ascii"),
            "down": base64.b64encode(told.down).decode("ascii"),
        },
        "likeness": told.likeness,
    }
