"""House recipes as documents: operators and values that people pass on, written by hand or by us."""

from __future__ import annotations

import json

from pydantic import Field

from archive.errors import DamagedFileError, shown
from archive.formats.documents import Document, Part, checked
from archive.model.recipe import FinishItem, HouseRecipe, OperatorValues

TYPE = "noctuary-house-recipe"
FORMAT = 1
MOST = 1024 * 1024
"""Bytes that a document of one recipe may have."""


class _Step(Part):
    operator: str
    version: int = Field(ge=1)
    values: dict[str, float | str]


class _Item(_Step):
    id: str = Field(min_length=1, max_length=60)
    on: bool = True


class _HouseRecipe(Document):
    name: str = Field(min_length=1, max_length=60)
    about: str = Field(default="", max_length=2000)
    base: list[_Step]
    finish: list[_Item] | None = None


def decode(data: bytes, name: str) -> HouseRecipe:
    """The house recipe in a document; its values may be fewer than the operators have.

    Raises
    ------
    DamagedFileError : when it is no such document; all faults together.
    ArchiveError : when a newer release wrote it.
    """
    if len(data) > MOST:
        raise DamagedFileError(f"{shown(name)} is larger than any house recipe.", hint="Nothing was changed.")
    document = checked(_HouseRecipe, data, name, kind=TYPE, reads=FORMAT)
    finish = document.finish
    try:
        return HouseRecipe(
            name=document.name,
            about=document.about,
            base=tuple(_step(step) for step in document.base),
            finish=None
            if finish is None
            else tuple(FinishItem(id=item.id, on=item.on, step=_step(item)) for item in finish),
        )
    except ValueError as error:
        raise DamagedFileError(f"{shown(name)}: {error}.", hint="Nothing was changed.") from error


def encode(recipe: HouseRecipe) -> bytes:
    """A document that people can read and change: indented, keys in order, a newline at its end."""
    document = {"type": TYPE, "format": FORMAT, **recipe.to_json()}
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def _step(step: _Step) -> OperatorValues:
    return OperatorValues(name=step.operator, version=step.version, values=dict(step.values))
