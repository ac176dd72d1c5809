"""Statements of levelling: what is added to the frames of a selection in sets and movies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from archive.catalogue.books import Books
from archive.catalogue.levelling import levels_of
from archive.catalogue.resolve import find
from archive.editing.bench import selection_from
from archive.errors import UsageError
from archive.model.capture import Frame, Selection
from archive.model.entry import LEVELLING, SELECTION, Change, Draft
from archive.model.identity import EntryId

METHOD = 3
"""How what is added was found: the number of the levelling method, for later readers."""


class LevellingStatements:
    """States levelling, anew as often as wanted, and takes it back."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def state(
        self,
        frames: Sequence[Frame],
        stops: Sequence[float],
        *,
        region: tuple[float, float, float, float] | None,
        cells: Sequence[int],
    ) -> EntryId | None:
        """State what is added to each frame; the same again is not stated. The entry, if one was written."""
        chosen = selection_from(frames)
        value = {
            "method": METHOD,
            "region": list(region) if region else None,
            "cells": list(cells),
            "stops": [round(each, 3) + 0.0 for each in stops],
        }
        held = levels_of(self._books.catalogue, list(chosen.frames))
        told = [held[frame].stops if frame in held else None for frame in chosen.frames]
        # Equal stops by another region are another statement: it says what they rest on.
        if told == value["stops"] and self._books.catalogue.stated(chosen.id, LEVELLING) == value:
            return None
        return self._write(chosen, value)

    def drop(self, name: str) -> EntryId:
        """Take levelling off what a name finds.

        Raises
        ------
        UsageError : when the name finds nothing, or nothing that is levelled.
        """
        frames = find(self._books.catalogue, name).frames
        if not levels_of(self._books.catalogue, [frame.id for frame in frames]):
            raise UsageError("None of these frames is levelled.", hint="Nothing was changed.")
        return self._write(selection_from(frames), None)

    def _write(self, chosen: Selection, value: dict[str, Any] | None) -> EntryId:
        changes = (
            Change(subjects=(chosen.id,), layer=SELECTION, value=chosen.to_json()),
            Change(subjects=(chosen.id,), layer=LEVELLING, value=value),
        )
        return self._books.state(Draft(kind=LEVELLING, changes=changes)).id
