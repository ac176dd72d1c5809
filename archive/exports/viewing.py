"""Looking at a frame without making anything: previews, histograms, the tone response of its recipe."""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from archive.catalogue.books import Books
from archive.catalogue.lineage import standings
from archive.catalogue.resolve import find_one
from archive.engine.darkframe import MasterDark
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.histogram import picture_levels, raw_levels
from archive.engine.idle import idle
from archive.engine.keptplanes import KeptPlanes
from archive.engine.neutral import PickedLight, picked_neutral
from archive.engine.operator import declaration
from archive.engine.output import encoder_for
from archive.engine.pipeline import render, sharpened_radius
from archive.engine.preview import side_by_side
from archive.engine.toneresponse import tone_response
from archive.errors import UsageError
from archive.exports.darks import Darks
from archive.journal.recipes import effective
from archive.model.capture import Frame
from archive.model.levels import Idle, Levels, ToneResponse, TooFine
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, Foundation

_SIZES = (200, 8000)
_MEASURED = 2400
_FRAMES = 2


class Viewing:
    """What can be looked at; nothing is recorded, and no master is opened for writing.

    The scene data of the last two frames, their planes, and the last two master darks stay in memory, so
    that looking again after a change of tone or colour is quick.
    """

    def __init__(self, books: Books, foundation: Foundation, threads: int) -> None:
        self._books = books
        self._foundation = foundation
        self._threads = threads
        self._lock = threading.Lock()
        self._frames: OrderedDict[tuple[str, int | None], Decoded] = OrderedDict()
        self._planes = KeptPlanes()
        self._darks = Darks()

    def preview(
        self,
        name: str,
        *,
        size: int = 1600,
        before: bool = True,
        after: bool = True,
        only: Sequence[str] = (),
        file: str = "preview.jpg",
    ) -> bytes:
        """A picture of a frame before and after its recipe, side by side, or of one of the two.

        Parameters
        ----------
        size : longer side in pixels; of two pictures each is half of it wide at most, and a thin line comes
            between them. only : operators; all others of the recipe are left out.
        file : what the picture will be called; its ending says whether it is a JPEG or a PNG.

        Raises
        ------
        UsageError : for a size outside 200 to 8000 pixels, an operator that the recipe does not use or that
            has no part in what is shown, or a file that is no picture's.
        """
        encode = encoder_for(file)
        if only and not after:
            raise UsageError(
                "The frame without its recipe has no operators that could be left out.",
                hint="Nothing was made. Leave out --only, or --before.",
            )
        low, high = _SIZES
        if not low <= size <= high:
            raise UsageError(f"size: {size} px is outside {low} to {high} px.", hint="Nothing was made.")
        frame = find_one(self._books.catalogue, name)
        recipe = restricted(self._recipe(frame), only)
        both = before and after
        pixels = _box(size, beside=both)
        decoded, dark = self._decoded(frame, recipe)
        plain = replace(recipe, base=(), finish=())
        wanted = [plain] * before + [recipe] * after
        made: list[Any] = [
            render(decoded, each, pixels, threads=self._threads, dark=dark, kept=self._planes)
            for each in wanted
        ]
        picture = side_by_side(*made) if both else made[0]
        return encode(picture)

    def too_fine(
        self, name: str, *, size: int = 1600, beside: bool = True, only: Sequence[str] = ()
    ) -> TooFine | None:
        """What of a recipe is too fine for a preview of this size, or one beside another; None if nothing.

        Raises
        ------
        UsageError : as ``preview``.
        """
        decoded, recipe = self._looked_at(name, only)
        found = sharpened_radius(decoded, recipe, _box(size, beside=beside))
        if found is None or found[0] >= 1:
            return None
        here, at_most = found
        needed = math.ceil(size / here / 100) * 100
        return TooFine(pixels=here, size=needed if at_most >= 1 and needed <= _SIZES[1] else None)

    def idle(self, name: str, *, only: Sequence[str] = ()) -> tuple[Idle, ...]:
        """The operators of a recipe that take no part in a frame; those in ``only`` also if they are neutral.

        Raises
        ------
        UsageError : as ``preview``.
        """
        return idle(*self._looked_at(name, only), only)

    def levels(self, name: str) -> tuple[Levels, Levels]:
        """The histograms of a frame: of its raw counts, and of the picture that its recipe makes.

        The picture is measured at 2400 pixels, or its own size if that is smaller.
        """
        frame = find_one(self._books.catalogue, name)
        recipe = self._recipe(frame)
        decoded, dark = self._decoded(frame, recipe)
        pixels = PixelSpec(fit=(_MEASURED, _MEASURED))
        picture = render(decoded, recipe, pixels, threads=self._threads, dark=dark)
        return raw_levels(decoded), picture_levels(picture)

    def tone(self, name: str, *, in_sequence: bool = False) -> ToneResponse:
        """How the tone operators of a frame's recipe answer to grey light."""
        frame = find_one(self._books.catalogue, name)
        recipe = self._recipe(frame, in_sequence=in_sequence)
        decoded, _ = self._decoded(frame, replace(recipe, base=(), finish=()))
        return tone_response(recipe, decoded.camera)

    def neutral(self, name: str, patch: tuple[float, float, float, float]) -> PickedLight:
        """The light under which a patch of a frame is grey; sides as shares 0 to 1.

        Raises
        ------
        UsageError : when too much of the patch is clipped, it is too dark, or no light makes it grey.
        """
        frame = find_one(self._books.catalogue, name)
        with DecoderPool(1) as decoder:
            return picked_neutral(self._scene(frame, decoder), patch)

    def _looked_at(self, name: str, only: Sequence[str]) -> tuple[Decoded, EffectiveRecipe]:
        """A frame's scene data, and its recipe with the named operators only."""
        frame = find_one(self._books.catalogue, name)
        recipe = restricted(self._recipe(frame), only)
        with DecoderPool(1) as decoder:
            return self._scene(frame, decoder), recipe

    def _decoded(self, frame: Frame, recipe: EffectiveRecipe) -> tuple[Decoded, MasterDark | None]:
        """A frame's scene data, and the master of the dark frames that the recipe names."""
        with DecoderPool(1) as decoder:
            return self._scene(frame, decoder), self._darks.master(self._books, decoder, recipe)

    def _scene(self, frame: Frame, decoder: DecoderPool) -> Decoded:
        key = (frame.id, frame.facts.orientation)
        with self._lock:
            if key not in self._frames:
                data = self._books.master_bytes(frame)
                self._frames[key] = decoder.decode(data, frame.name, orientation=frame.facts.orientation)
            self._frames.move_to_end(key)
            while len(self._frames) > _FRAMES:
                self._frames.popitem(last=False)
            return self._frames[key]

    def _recipe(self, frame: Frame, *, in_sequence: bool = False) -> EffectiveRecipe:
        standing = standings(self._books.catalogue, [frame.id])[frame.id]
        return effective(standing, in_sequence=in_sequence, foundation=self._foundation)


def _box(size: int, *, beside: bool) -> PixelSpec:
    return PixelSpec(fit=(size // 2, size) if beside else (size, size))


def restricted(recipe: EffectiveRecipe, only: Sequence[str]) -> EffectiveRecipe:
    """A recipe with only the named operators; all of them when none is named.

    Raises
    ------
    UsageError : an operator that does not exist, or that the recipe does not use.
    """
    if not only:
        return recipe
    used = {values.name for values in (*recipe.base, *recipe.finish)}
    for name in only:
        declaration(name)
        if name not in used:
            raise UsageError(
                f"The recipe of this frame does not use {name}.",
                hint=f"Nothing was made. It uses {', '.join(sorted(used)) or 'no operator at all'}.",
            )
    return replace(
        recipe,
        base=tuple(values for values in recipe.base if values.name in only),
        finish=tuple(values for values in recipe.finish if values.name in only),
    )
