"""House recipes: kept under a name, started from, passed on as documents."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from pathlib import Path

from archive.editing.bench import NOTHING, Bench, finish_speaking
from archive.engine import operator
from archive.errors import ArchiveError, UsageError, shown
from archive.formats import houserecipe
from archive.journal.recipes import with_values
from archive.model.editing import HouseLine, Saved
from archive.model.entry import HOUSE, Change, Draft, Version
from archive.model.identity import EntryId, derived_key
from archive.model.recipe import FinishItem, HouseRecipe, OperatorValues, Recipe, Value
from archive.store.targets import write_target


class House:
    """The house recipes of one archive."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def all(self) -> list[HouseLine]:
        """Every house recipe, by name."""
        stated = self._bench.books.catalogue.layer(HOUSE).values()
        recipes = [HouseRecipe.from_json(value) for value in stated if value is not None]
        return [
            HouseLine(recipe=each, words=tuple(words(each)))
            for each in sorted(recipes, key=lambda each: each.name.casefold())
        ]

    def named(self, name: str) -> HouseRecipe:
        """The house recipe of this name.

        Raises
        ------
        UsageError : when there is none; it lists those there are.
        """
        lines = self.all()
        wanted = _title(name).casefold()
        for line in lines:
            if line.recipe.name.casefold() == wanted:
                return line.recipe
        there = ", ".join(shown(line.recipe.name) for line in lines) or "none yet"
        raise UsageError(
            f"There is no house recipe {shown(name)}.",
            hint=f"{NOTHING} Those here: {there}. Keep one with `noctuary recipe house save` or `add`.",
        )

    def save(self, frame_name: str, name: str, *, about: str = "") -> EntryId | None:
        """Keep a frame's recipe as it is now, under a name; one of that name is replaced.

        Raises
        ------
        UsageError : when the frame has no recipe, or the name is no name.
        """
        frame = self._bench.one(frame_name)
        standing = self._bench.standing(frame)
        base = self._bench.effective(standing).base
        finish = finish_speaking(standing)
        if not base and not finish:
            raise UsageError(f"{shown(frame.name)} has no recipe to keep.", hint=NOTHING)
        return self._state(HouseRecipe(name=_title(name), about=about.strip(), base=base, finish=finish))

    def add(self, path: Path) -> tuple[HouseRecipe, EntryId | None]:
        """Keep the house recipe that a document holds; values that it leaves out are neutral.

        Raises
        ------
        ArchiveError : when the file cannot be read, or is no such document.
        UsageError : for an operator or value that is not known here, all of them together.
        """
        try:
            with path.open("rb") as stream:
                data = stream.read(houserecipe.MOST + 1)
        except OSError as error:
            raise UsageError(f"{shown(str(path))} cannot be read: {error.strerror}.", hint=NOTHING) from error
        document = houserecipe.decode(data, path.name)
        recipe = self._checked(document, path.name)
        return recipe, self._state(recipe)

    def write(self, name: str, path: Path) -> HouseRecipe:
        """Write a house recipe as a document that any archive can add; never over another file.

        Raises
        ------
        UsageError : when there is no such recipe, or something lies at the path.
        ArchiveError : when no file may or can lie there.
        """
        recipe = self.named(name)
        write_target(path, houserecipe.encode(recipe))
        return recipe

    def remove(self, name: str) -> EntryId:
        """Take a house recipe off the list; frames that started from it keep what they have."""
        recipe = self.named(name)
        change = Change(subjects=(_subject(recipe.name),), layer=HOUSE, value=None)
        return self._bench.state(Draft(kind=HOUSE, changes=(change,)))

    def start(self, frame_name: str, name: str, *, shared: bool = False, note: str = "") -> Saved:
        """Start from a house recipe: its operators become the frame's own, others stay as they are.

        With ``shared``, the named frames share them instead; ramps of its operators end.

        Raises
        ------
        UsageError : for a frame or a house recipe that there is not.
        """
        house = self.named(name)
        note = note or f"started from {house.name}"
        if shared:

            def change(before: Recipe | None, _version: Version | None) -> Recipe:
                recipe = before or Recipe(foundation=self._bench.foundation)
                names = {step.name for step in house.base}
                ramps = tuple(r for r in recipe.ramps if r.parameter.partition(".")[0] not in names)
                return _laid_over(replace(recipe, ramps=ramps), house)

            return self._bench.share(self._bench.several(frame_name), change, note=note)
        frame = self._bench.one(frame_name)
        standing = self._bench.standing(frame)
        recipe = _laid_over(self._bench.own_recipe(standing), house)
        return self._bench.save_own(frame, standing, recipe, note=note)

    def _state(self, recipe: HouseRecipe) -> EntryId | None:
        subject, value = _subject(recipe.name), recipe.to_json()
        if self._bench.books.catalogue.stated(subject, HOUSE) == value:
            return None
        self._bench.refuse_unrenderable(recipe)
        change = Change(subjects=(subject,), layer=HOUSE, value=value)
        return self._bench.state(Draft(kind=HOUSE, changes=(change,)))

    def _checked(self, document: HouseRecipe, file: str) -> HouseRecipe:
        faults: list[ArchiveError] = []

        def complete(step: OperatorValues) -> OperatorValues:
            try:
                return operator.checked(step.name, _numbers(step), version=step.version)
            except ArchiveError as error:
                faults.append(error)
                return step

        base = tuple(complete(step) for step in document.base)
        finish = document.finish
        if finish is not None:
            finish = tuple(_finishing(replace(item, step=complete(item.step)), faults) for item in finish)
        if faults:
            text = f"{shown(file)}: {' '.join(fault.message for fault in faults)}"
            if any(isinstance(fault, UsageError) for fault in faults):
                raise UsageError(text, hint=NOTHING)
            raise ArchiveError(text, hint=NOTHING)
        return replace(document, name=_title(document.name), base=base, finish=finish)


def words(recipe: HouseRecipe) -> list[str]:
    """What a house recipe does, operator by operator."""
    told = [operator.in_words(step) for step in recipe.base]
    return [*told, *(f"finish: {operator.in_words(item.step)}" for item in recipe.finish or () if item.on)]


def _laid_over(recipe: Recipe, house: HouseRecipe) -> Recipe:
    made = with_values(recipe, house.base)
    return made if house.finish is None else replace(made, finish=house.finish)


def _finishing(item: FinishItem, faults: list[ArchiveError]) -> FinishItem:
    try:
        if not operator.declaration(item.step.name, item.step.version).finish:
            faults.append(UsageError(f"{item.step.name} cannot be a finish step."))
    except ArchiveError as error:
        faults.append(error)
    return item


def _numbers(step: OperatorValues) -> dict[str, Value]:
    return {
        name: float(value) if isinstance(value, int) and not isinstance(value, bool) else value
        for name, value in step.values.items()
    }


def _title(text: str) -> str:
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or len(name) > 60 or not name.isprintable():
        raise UsageError("A house recipe's name has 1 to 60 characters.", hint=NOTHING)
    return name


def _subject(name: str) -> str:
    return f"house-recipe:{derived_key('house-recipe', name.casefold()).removeprefix('sha256:')[:16]}"
