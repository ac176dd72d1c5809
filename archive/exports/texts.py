"""What is written into a made file of what people wrote about its frames; a note never leaves the house."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from archive.catalogue.index import Catalogue
from archive.model.entry import TEXT
from archive.model.product import WRITTEN, Texts


def texts_of(catalogue: Catalogue, frames: Sequence[str]) -> dict[str, Texts]:
    """The texts of each of these frames that leave with its pictures; empty where nothing is written."""
    held: dict[str, dict[str, str]] = {frame: {} for frame in frames}
    for (frame, name), value in catalogue.stated_about(frames, TEXT).items():
        if value:
            held[frame][name] = value
    return {
        frame: tuple((name, texts[name]) for name in WRITTEN if name in texts)
        for frame, texts in held.items()
    }


def alike(texts: Iterable[Texts]) -> Texts:
    """What all of a file's frames say alike: a movie has the creator of its frames, but no frame's title."""
    first, *others = list(texts) or [()]
    return tuple(text for text in first if all(text in each for each in others))
