"""Lenses as a database of them, or a measurement, knows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from archive.model.editing import Saved
from archive.model.identity import EntryId

_LONGEST = 200


@dataclass(frozen=True, kw_only=True)
class LensCandidate:
    """One lens that a frame may have been taken with; ``loose`` if its name only resembles the file's.

    Focal lengths in millimetres. ``holds`` are the operators that the database has values for.
    """

    camera_make: str
    camera_model: str
    make: str
    model: str
    shortest_mm: float
    longest_mm: float
    loose: bool
    holds: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        return {**asdict(self), "holds": list(self.holds)}

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> LensCandidate:
        """A choice of lens as it was stated.

        Raises
        ------
        LookupError, TypeError, ValueError : the document is none.
        """
        words = {key: document[key] for key in ("camera_make", "camera_model", "make", "model")}
        holds = tuple(document["holds"])
        if not all(isinstance(word, str) and len(word) <= _LONGEST for word in (*words.values(), *holds)):
            raise ValueError("a lens's names are no short texts")
        return LensCandidate(
            **words,
            shortest_mm=float(document["shortest_mm"]),
            longest_mm=float(document["longest_mm"]),
            loose=bool(document["loose"]),
            holds=holds,
        )


@dataclass(frozen=True, kw_only=True)
class LensAnswer:
    """What is known of a frame's lens: what its file says, the choice on record, and what is offered."""

    frame: str
    camera: str
    lens: str
    focal_mm: float | None
    chosen: LensCandidate | None
    offered: tuple[LensCandidate, ...]
    entry: EntryId | None = None


@dataclass(frozen=True, kw_only=True)
class LensApplied:
    """A recipe with a lens's values in it; ``remarks`` are sentences about what a person may not expect."""

    saved: Saved
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class FallOffMeasure:
    """A fall-off of light that was measured: light is 1 + k1·r² + k2·r⁴ + k3·r⁶, r = 1 in the corner.

    ``left`` is what remains after correction, root mean square, as a share of the light; ``corner`` the light
    in the corner as a share of that in the middle.
    """

    values: Mapping[str, float]
    frames: int
    left: float
    corner: float
