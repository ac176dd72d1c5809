"""Master darks for the recipes that name dark frames; each is made once for a job."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from weakref import WeakKeyDictionary

from archive.catalogue.books import Books
from archive.engine.darkframe import MasterDark, master_dark
from archive.engine.decode import Decoded, DecoderPool
from archive.errors import ArchiveError
from archive.model.capture import Frame
from archive.model.recipe import EffectiveRecipe

_OPERATOR = "dark_frame"
_KEPT = 2


class Darks:
    """Makes master darks from masters, and keeps the last two; may be shared by threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._made: OrderedDict[tuple[str, ...], MasterDark] = OrderedDict()

    def master(self, books: Books, decoder: DecoderPool, recipe: EffectiveRecipe) -> MasterDark | None:
        """The master dark of a recipe; None when it names no dark frames.

        Raises
        ------
        ArchiveError : a dark frame is not held, cannot be decoded, is not dark, or does not fit the others.
        """
        step = next((each for each in recipe.base if each.name == _OPERATOR), None)
        ids = tuple(str(step.values.get("frames", "")).split()) if step else ()
        if not ids:
            return None
        with self._lock:
            if ids not in self._made:
                known = books.catalogue.frames_by_id(list(ids))
                names = [known[each].name if each in known else each for each in ids]
                self._made[ids] = master_dark(_decoded(books, decoder, ids, known), names)
                while len(self._made) > _KEPT:
                    self._made.popitem(last=False)
            self._made.move_to_end(ids)
            return self._made[ids]


def _decoded(
    books: Books, decoder: DecoderPool, ids: tuple[str, ...], known: Mapping[str, Frame]
) -> Iterator[Decoded]:
    for each in ids:
        frame = known.get(each)
        if frame is None:
            raise ArchiveError(
                f"The dark frame {each[:19]}… is not held here.",
                hint="Nothing was made. Mount the volume that holds its night, or name other dark frames "
                "with `noctuary darks FRAME DARK…`.",
            )
        yield decoder.decode(books.master_bytes(frame), frame.name)


_by_pool: WeakKeyDictionary[DecoderPool, Darks] = WeakKeyDictionary()
_making = threading.Lock()


def master_for(books: Books, decoder: DecoderPool, recipe: EffectiveRecipe) -> MasterDark | None:
    """The master dark of a recipe, kept as long as the pool that decoded it; None when it names none.

    Raises
    ------
    ArchiveError : as ``Darks.master``.
    """
    with _making:
        darks = _by_pool.setdefault(decoder, Darks())
    return darks.master(books, decoder, recipe)
