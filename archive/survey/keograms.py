"""The keogram of a sequence, from the middle columns that its survey kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

from archive.catalogue.books import Books
from archive.engine.blend import Axis, keogram, keogram_page
from archive.engine.output import encode_png
from archive.model.capture import Frame
from archive.model.survey import Basis
from archive.survey.pictures import middle_columns
from archive.survey.records import Seen

_LABEL = "vertical slice: the middle column of each frame, top at the top; time runs to the right"


@dataclass(frozen=True, kw_only=True)
class Keogram:
    """A keogram as PNG bytes; how many steps of time it has, how many hold no frame, and what it rests on."""

    data: bytes
    steps: int
    gaps: int
    basis: Basis


def make_keogram(
    books: Books,
    pairs: Sequence[tuple[Frame, Seen]],
    cadence_s: float | None,
    title: str,
    basis: Basis,
    *,
    plain: bool,
) -> Keogram:
    """The keogram of frames in order of time, a step for each cadence; gaps stay gaps.

    ``plain`` gives the columns alone, one pixel a step, bit for bit as surveyed, gaps black.
    """
    frames = [frame for frame, _ in pairs]
    seconds = [(frame.taken - frames[0].taken).total_seconds() for frame in frames]
    step = cadence_s or _usual_step(seconds)
    columns = middle_columns(books, [seen for _, seen in pairs])
    picture, filled = keogram(columns, seconds, step)
    if plain:
        data = encode_png(picture)
    else:
        site = books.catalogue.sites_of_rolls([frames[0].roll]).get(frames[0].roll)
        local = frames[0].taken.astimezone(ZoneInfo(site.zone) if site else UTC)
        offset = local.utcoffset()
        axis = Axis(
            first=frames[0].taken,
            step_s=step,
            offset_min=round(offset.total_seconds() / 60) if offset else 0,
            zone=f"{local:%Z}",
        )
        data = keogram_page(picture, filled, axis, title=title, label=_LABEL)
    basis = replace(basis, unusable=sum(column is None for column in columns))
    return Keogram(data=data, steps=len(filled), gaps=int((~filled).sum()), basis=basis)


def _usual_step(seconds: Sequence[float]) -> float:
    steps = [after - before for before, after in pairwise(seconds) if after > before]
    return max(median(steps), 0.1) if steps else 1.0
