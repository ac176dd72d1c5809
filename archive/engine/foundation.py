"""What stands under every operator in this release, and whether a recipe's foundation can be rendered."""

from __future__ import annotations

from archive.errors import ArchiveError
from archive.model.recipe import Foundation

GENERATION = 5

_DECODER = "libraw"
_DEMOSAIC = "directional-1"
_MATRIX = "camera-1"


def current_foundation() -> Foundation:
    """What a recipe that is saved now stands on."""
    return Foundation(decoder=_DECODER, demosaic=_DEMOSAIC, matrix=_MATRIX, generation=GENERATION)


def require(foundation: Foundation) -> None:
    """Refuse a foundation that this release cannot render exactly.

    Raises
    ------
    ArchiveError : its generation or one of its parts is not shipped.
    """
    present = current_foundation()
    if foundation == present:
        return
    differing = [
        f"{name} {value!r}"
        for name, value in foundation.to_json().items()
        if value != present.to_json()[name]
    ]
    newer = foundation.generation > GENERATION
    raise ArchiveError(
        f"This release does not ship the foundation of this recipe ({', '.join(differing)}).",
        hint="The recipe and the master are untouched; "
        + (
            "a newer release is needed."
            if newer
            else "an older release renders it exactly; `noctuary recipe renew FRAME` saves it on this one's."
        ),
    )
