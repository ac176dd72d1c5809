"""The finish: an ordered list of steps in which an operator may come again, each switched on or off."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from archive.editing.bench import NOTHING, Bench, finish_speaking
from archive.editing.settings import next_id, of_one
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.model.editing import FinishLine, Saved
from archive.model.entry import Version
from archive.model.recipe import FinishItem, Recipe

Items = tuple[FinishItem, ...]


class Finish:
    """Changes of the finish: a frame's own, or with ``shared`` what many frames share."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def items(self, name: str) -> list[FinishLine]:
        """The finish that speaks for a frame, in order, with the items that are off."""
        items = finish_speaking(self._bench.standing(self._bench.one(name)))
        return [FinishLine(id=i.id, on=i.on, words=operator.in_words(i.step)) for i in items or ()]

    def add(
        self,
        name: str,
        what: str,
        settings: Sequence[str] = (),
        *,
        at: int | None = None,
        shared: bool = False,
        note: str = "",
    ) -> Saved:
        """Add a step at the end, or at a place (1 is the first).

        Raises
        ------
        UsageError : for an operator that cannot be a finish step, a wrong value, or a place that is none.
        """
        declared = operator.declaration(what)
        if not declared.finish:
            able = ", ".join(each.name for each in operator.declarations() if each.finish)
            raise UsageError(
                f"{what} cannot be a finish step.",
                hint=f"{NOTHING} These can: {able}; set others with `noctuary recipe set`.",
            )
        step = of_one(what, settings, None)

        def change(items: Items) -> Items:
            place = _place(at, len(items) + 1)
            item = FinishItem(id=next_id(items, what), on=True, step=step)
            return (*items[: place - 1], item, *items[place - 1 :])

        return self._change(name, change, shared=shared, note=note)

    def adjust(
        self, name: str, item: str, settings: Sequence[str], *, shared: bool = False, note: str = ""
    ) -> Saved:
        """Set values of an item.

        Raises
        ------
        UsageError : for an item that there is not, or a wrong value.
        """

        def change(items: Items) -> Items:
            held = _item(items, item)
            step = of_one(held.step.name, settings, held.step)
            return tuple(replace(i, step=step) if i.id == item else i for i in items)

        return self._change(name, change, shared=shared, note=note)

    def move(self, name: str, item: str, to: int, *, shared: bool = False, note: str = "") -> Saved:
        """Move an item to a place in the order (1 is the first)."""

        def change(items: Items) -> Items:
            held = _item(items, item)
            place = _place(to, len(items))
            rest = [i for i in items if i.id != item]
            return (*rest[: place - 1], held, *rest[place - 1 :])

        return self._change(name, change, shared=shared, note=note)

    def switch(self, name: str, item: str, *, on: bool, shared: bool = False, note: str = "") -> Saved:
        """Switch an item on or off; its values stay."""

        def change(items: Items) -> Items:
            _item(items, item)
            return tuple(replace(i, on=on) if i.id == item else i for i in items)

        return self._change(name, change, shared=shared, note=note)

    def remove(self, name: str, item: str, *, shared: bool = False, note: str = "") -> Saved:
        """Take an item out."""

        def change(items: Items) -> Items:
            _item(items, item)
            return tuple(i for i in items if i.id != item)

        return self._change(name, change, shared=shared, note=note)

    def _change(self, name: str, change: Callable[[Items], Items], *, shared: bool, note: str) -> Saved:
        if shared:
            nothing = Recipe(foundation=self._bench.foundation)

            def on_shared(before: Recipe | None, _version: Version | None) -> Recipe:
                recipe = before or nothing
                return replace(recipe, finish=change(recipe.finish or ()))

            return self._bench.share(self._bench.several(name), on_shared, note=note)
        frame = self._bench.one(name)
        standing = self._bench.standing(frame)
        recipe = self._bench.own_recipe(standing)
        # The finish is overridden as a whole: an own one begins as the one that spoke before.
        items = change(finish_speaking(standing) or ())
        return self._bench.save_own(frame, standing, replace(recipe, finish=items), note=note)


def _item(items: Items, wanted: str) -> FinishItem:
    found = next((item for item in items if item.id == wanted), None)
    if found is None:
        there = ", ".join(item.id for item in items) or "none"
        raise UsageError(f"The finish has no item {shown(wanted)}.", hint=f"{NOTHING} Items here: {there}.")
    return found


def _place(wanted: int | None, last: int) -> int:
    place = last if wanted is None else wanted
    if not 1 <= place <= max(last, 1):
        raise UsageError(f"place: {place} is outside 1 to {max(last, 1)}.", hint=NOTHING)
    return place
