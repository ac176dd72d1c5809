"""Settings as people type them, turned to operators with their values; every fault told together."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from archive.engine import operator
from archive.errors import ArchiveError, UsageError, shown
from archive.model.recipe import FinishItem, OperatorValues, Value


def parsed(settings: Sequence[str], start: Mapping[str, OperatorValues]) -> list[OperatorValues]:
    """Operators with the settings (``operator.parameter=value``) laid over where they start.

    Raises
    ------
    UsageError : for an unknown operator or parameter, or a value out of range; all faults at once.
    ArchiveError : for values of one operator that are in range and together make no picture.
    """
    wanted: dict[str, dict[str, Value]] = {}
    faults: list[ArchiveError] = []
    for setting in settings:
        target, equals, text = setting.partition("=")
        try:
            if not equals:
                raise UsageError(f"{shown(setting)!r} is no setting: write operator.parameter=value.")
            name, parameter, value = operator.parse_setting(target.strip(), text.strip())
            wanted.setdefault(name, {})[parameter] = value
        except UsageError as error:
            faults.append(error)
    steps = []
    for name, values in wanted.items():
        try:
            before = start.get(name)
            steps.append(operator.changed(before, values) if before else operator.checked(name, values))
        except ArchiveError as error:
            faults.append(error)
    if faults:
        text = "; ".join(error.message.removesuffix(".") for error in faults)
        nothing = "Nothing was changed."
        hint = next((error.hint for error in faults if error.hint), "`noctuary operators` lists them.")
        hint = hint if hint.startswith(nothing) else f"{nothing} {hint}"
        if any(isinstance(error, UsageError) for error in faults):
            raise UsageError(f"{text}.", hint=hint)
        raise ArchiveError(f"{text}.", hint=hint)
    return steps


def of_one(name: str, settings: Sequence[str], start: OperatorValues | None) -> OperatorValues:
    """One operator with its settings; a parameter's name alone will do (``amount=0.5``).

    Raises
    ------
    UsageError : for an unknown operator or parameter, or a value out of range; all faults at once.
    """
    full = []
    for setting in settings:
        target = setting.partition("=")[0]
        full.append(setting if "." in target else f"{name}.{setting}")
    steps = parsed(full, {name: start} if start else {})
    strange = next((step.name for step in steps if step.name != name), None)
    if strange is not None:
        raise UsageError(f"{strange} is another operator than {name}.", hint="Nothing was changed.")
    return steps[0] if steps else start or operator.checked(name, {})


def chosen(words: Sequence[str], present: Collection[str], of: str) -> list[str]:
    """The operators that words name among those present: by name, by family, or ``finish``.

    Raises
    ------
    UsageError : for a word that names none of them.
    """
    families: dict[str, list[str]] = {}
    for each in operator.declarations():
        families.setdefault(str(each.family), []).append(each.name)
    found: list[str] = []
    for word in words:
        named = [word] if word in present else [n for n in families.get(word, ()) if n in present]
        if not named:
            raise UsageError(
                f"{shown(word)} is not in the recipe of {shown(of)}.",
                hint=f"Nothing was changed. It has: {', '.join(sorted(present)) or 'nothing'}; families: "
                f"{', '.join(families)}.",
            )
        found += named
    return list(dict.fromkeys(found))


def next_id(items: Sequence[FinishItem], name: str) -> str:
    """An id for another item of a finish: the operator's name and a number that none has."""
    taken = {item.id for item in items}
    return next(f"{name}-{n}" for n in range(1, len(taken) + 2) if f"{name}-{n}" not in taken)
