"""Surveyed frames in a line, for tests of the survey and of its documents."""

from __future__ import annotations

from support.builders import frame_id

from archive.model.survey import METHOD, Cells, KeptFile, Measures, SurveyDocument, SurveyedFrame
from archive.store.digest import digest_bytes

PREVIEW, SLICES = b"a preview", b"some slices"


def kept(folder: str, ending: str, data: bytes) -> KeptFile:
    digest = digest_bytes(data)
    path = f"{folder}/{digest.removeprefix('xxh128:')[:16]}.{ending}"
    return KeptFile(path=path, size=len(data), digest=digest)


def measures(
    *,
    brightness: float = -5.9618,
    light: float = 0.016,
    green: float = 0.0,
    sharpness: float | None = 0.55,
    clipped: float = 0.0,
    dark: float = 0.0,
    across: bytes = bytes(range(0, 256, 16)),
    down: bytes = bytes(range(10)),
) -> Measures:
    """Measures of an even sky with so much more green in its upper half."""
    cells = Cells(
        columns=12,
        rows=8,
        red=(light,) * 96,
        green=(light + green,) * 48 + (light,) * 48,
        blue=(light,) * 96,
    )
    return Measures(
        brightness=brightness,
        clipped=clipped,
        dark=dark,
        sharpness=sharpness,
        cells=cells,
        across=across,
        down=down,
        likeness="0f" * 32,
    )


def document(
    *numbers: int, roll: str = "7c1f9a2e", method: int = METHOD, seen: Measures | None = None
) -> SurveyDocument:
    """A document about invented frames; by default about frame 1."""
    slices = kept("slices", "png", SLICES)
    frames = tuple(
        SurveyedFrame(
            frame=frame_id(number),
            path=f"100NOCTU/NOCT{number:04d}.DNG",
            preview=kept("previews", "jpg", PREVIEW),
            preview_from="rendered",
            slices=slices,
            slice_at=at,
            measures=seen or measures(),
        )
        for at, number in enumerate(numbers or (1,))
    )
    return SurveyDocument(method=method, roll=roll, size=(32, 20), slices=slices, frames=frames)
