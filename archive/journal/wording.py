"""What differs between two recipes, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from archive.model.recipe import FinishItem, OperatorValues, Ramp, Recipe

Describe = Callable[[OperatorValues | None, OperatorValues | None], list[str]]
"""Says what differs between two states of one operator; either may be missing."""


def changes_in_words(old: Recipe | None, new: Recipe, describe: Describe) -> list[str]:
    """What differs between two versions, operator by operator, then ramps, finish and foundation."""
    before = {step.name: step for step in old.base} if old else {}
    after = {step.name: step for step in new.base}
    words: list[str] = []
    for name in sorted(before.keys() | after.keys()):
        ramped = {own for ramp in new.ramps for on, _, own in [ramp.parameter.partition(".")] if on == name}
        words += _operator(before.get(name), after.get(name), ramped, describe)
    words += _ramps(old.ramps if old else (), new.ramps)
    words += _finish(old.finish if old else None, new.finish, describe)
    if old is not None and old.foundation != new.foundation:
        words.append(f"engine generation {old.foundation.generation} → {new.foundation.generation}")
    return words


def _operator(
    was: OperatorValues | None, now: OperatorValues | None, ramped: set[str], describe: Describe
) -> list[str]:
    """What differs in one operator; what ramps is told by its ramp, its stored value not."""
    if now is None or not ramped:
        return [] if was == now else describe(was, now)
    if was is None:
        if now.values.keys() <= ramped:
            return []
        told = tuple(f"{now.name}.{parameter} " for parameter in ramped)
        return [line for line in describe(None, now) if not line.startswith(told)]
    same = {name: now.values[name] for name in ramped & now.values.keys() & was.values.keys()}
    was = replace(was, values={**was.values, **same})
    return [] if was == now else describe(was, now)


def _ramps(old: Sequence[Ramp], new: Sequence[Ramp]) -> list[str]:
    before, after = {ramp.parameter: ramp for ramp in old}, {ramp.parameter: ramp for ramp in new}
    words = []
    for name in sorted(before.keys() | after.keys()):
        was, now = before.get(name), after.get(name)
        if now is None:
            words.append(f"{name} no longer ramps")
        elif was is None:
            words.append(f"{name} ramps over {_anchors(now)}, {now.rule}")
        else:
            if was.anchors != now.anchors:
                words.append(f"{name}: {_moved(was, now) or f'{_anchors(was)} → {_anchors(now)}'}")
            if was.rule != now.rule:
                words.append(f"{name}: {was.rule} → {now.rule}")
    return words


def _moved(was: Ramp, now: Ramp) -> str:
    """What is said of anchors that keep their values, at other frames; empty where more changed."""
    if [anchor.value for anchor in was.anchors] != [anchor.value for anchor in now.anchors]:
        return ""
    pairs = zip(was.anchors, now.anchors, strict=True)
    values = [f"{new.value:.6g}".replace("-", "−") for old, new in pairs if old.frame != new.frame]
    where = "s {} moved to other frames" if len(values) > 1 else " {} moved to another frame"
    return f"the anchor{where.format(' · '.join(values))}"


def _anchors(ramp: Ramp) -> str:
    values = " · ".join(f"{anchor.value:.6g}".replace("-", "−") for anchor in ramp.anchors[:6])
    more = " · …" if len(ramp.anchors) > 6 else ""
    return f"{len(ramp.anchors)} anchor{'s' if len(ramp.anchors) > 1 else ''} ({values}{more})"


def _finish(
    old: Sequence[FinishItem] | None, new: Sequence[FinishItem] | None, describe: Describe
) -> list[str]:
    if old == new:
        return []
    if new is None:
        return ["finish: no longer said"]
    if not new:
        return ["finish: nothing"]
    before, after = {item.id: item for item in old or ()}, {item.id: item for item in new}
    words = [f"finish {item.id}: removed" for name, item in before.items() if name not in after]
    for item in new:
        was = before.get(item.id)
        if was is None:
            off = "" if item.on else " (off)"
            words += [f"finish {item.id}: {text}{off}" for text in describe(None, item.step)]
            continue
        if was.step != item.step:
            words += [f"finish {item.id}: {text}" for text in describe(was.step, item.step)]
        if was.on != item.on:
            words.append(f"finish {item.id}: switched {'on' if item.on else 'off'}")
    if [name for name in before if name in after] != [name for name in after if name in before]:
        words.append("finish: now in the order " + ", ".join(after))
    return words
