"""Entries of the journal in words: what was decided or done, and about what, short enough for one line."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from archive.errors import counted, shown
from archive.model.capture import Frame
from archive.model.entry import MAIN, SELECTION, SHARED, Change, Entry
from archive.model.identity import is_frame_id, short

Frames = Mapping[str, Frame]
_MOST_NAMES = 3
_LONGEST = 60


def in_words(entry: Entry, frames: Frames) -> str:
    """What an entry states; ``frames`` are those that are known, by id."""
    if not entry.understood:
        return "something that only a newer release can tell"
    parts = [_change(change, entry, frames) for change in entry.changes if change.layer != SELECTION]
    more = len(parts) - _MOST_NAMES
    return "; ".join(parts[:_MOST_NAMES]) + (f"; and {more} more" if more > 0 else "")


def _change(change: Change, entry: Entry, frames: Frames) -> str:
    whom = _subjects(change.subjects, frames)
    if change.layer == SHARED:
        listed = (each for each in entry.about(SELECTION) if set(each.subjects) & set(change.subjects))
        count = sum(len(_list(each.value, "frames")) for each in listed)
        return f"{_recipe(change)} shared by {counted(count, 'frame')}"
    told = _WORDS.get(change.layer)
    if told is None:
        return f"{change.layer.replace('-', ' ')} {_text(change.line)}".strip() + f": {whom}"
    return told(change, whom, frames)


def _recipe(change: Change) -> str:
    line = "" if change.line == MAIN else f" on the line {_text(change.line)}"
    note = _get(change.value, "note")
    return f"recipe{line}" + (f" ({_text(note)})" if note else "")


def _own(change: Change, whom: str, _: Frames) -> str:
    still = ", in sequences too" if _get(change.value, "in_sequence") else ""
    return f"{_recipe(change)}{still}: {whom}"


def _rating(change: Change, whom: str, _: Frames) -> str:
    return f"rated {_text(change.value).replace('-', '−')}: {whom}"


def _keyword(change: Change, whom: str, _: Frames) -> str:
    return f"{'given' if change.value else 'taken off'} the keyword {_text(change.line)}: {whom}"


def _ingest(change: Change, whom: str, _: Frames) -> str:
    return f"taken in: {whom}, {counted(len(_list(change.value, 'files')), 'file')}"


def _card(change: Change, _whom: str, _: Frames) -> str:
    held = _get(change.value, "held")
    ignored, failed = (len(_list(change.value, key)) for key in ("ignored", "failed"))
    rest = [f"{ignored} ignored"] * bool(ignored) + [f"{failed} failed"] * bool(failed)
    name = _get(change.value, "card") or _get(change.value, "source")
    before = f"{counted(held, 'file')} held before" if isinstance(held, int) else ""
    return f"the card {_text(name)} was read" + "".join(f", {part}" for part in (before, *rest) if part)


def _clock(change: Change, whom: str, _: Frames) -> str:
    if change.value is None:
        return f"a clock correction taken back: {whom}"
    reads, true = _text(_get(change.value, "reads")), _text(_get(change.value, "true"))
    return f"the clock read {reads} at {true}: {whom}"


def _facts(change: Change, whom: str, _: Frames) -> str:
    given = change.value if isinstance(change.value, dict) else {}
    names = ", ".join(_text(name).replace("_", " ") for name in given)
    return f"capture facts corrected ({names}): {whom}" if names else f"capture facts as read: {whom}"


def _number(change: Change, whom: str, _: Frames) -> str:
    return f"sequence {_get(change.value, 'number')} of {_text(_get(change.value, 'night'))} begins: {whom}"


def _break(change: Change, whom: str, _: Frames) -> str:
    return f"a sequence {'begins' if change.value else 'no longer has to begin'} here: {whom}"


def _join(change: Change, whom: str, _: Frames) -> str:
    return f"{'joined' if change.value else 'no longer joined'} to the frames before: {whom}"


def _titled(change: Change, whom: str, _: Frames) -> str:
    return f"sequence titled “{_text(change.value)}”: {whom}" if change.value else f"title taken off: {whom}"


def _query(change: Change, whom: str, _: Frames) -> str:
    return f"{whom} asks “{_text(change.value)}”" if change.value else f"{whom} given up"


def _lens(change: Change, whom: str, _: Frames) -> str:
    model = _get(_get(change.value, "candidate") or change.value, "model")
    chosen = f"the lens {_text(model)} chosen" if model else "choice of a lens taken back"
    return f"{chosen} for {_text(change.line)}: {whom}" if change.line else f"{chosen}: {whom}"


def _activity(change: Change, _whom: str, _: Frames) -> str:
    days = (str(_get(change.value, key))[:10] for key in ("from", "until"))
    return f"planetary index kept, {' to '.join(map(_text, days))}"


def _pairing(change: Change, whom: str, frames: Frames) -> str:
    frame = _get(change.value, "frame")
    return f"{whom} belongs to {_subject(str(frame), frames)}" if frame else f"{whom} stands by itself"


def _levelling(change: Change, _whom: str, _: Frames) -> str:
    if change.value is None:
        return "levelling taken back"
    return f"{counted(len(_list(change.value, 'stops')), 'frame')} levelled"


def _noted(change: Change, whom: str, _: Frames) -> str:
    of = f"version {whom}"
    return f"note “{_text(change.value)}” on {of}" if change.value else f"note taken off {of}"


def _line(change: Change, whom: str, _: Frames) -> str:
    return f"the line {_text(change.value or MAIN)} speaks: {whom}"


def _line_name(change: Change, whom: str, _: Frames) -> str:
    return f"the line {_text(change.line)} called {_text(change.value)}: {whom}"


def _house(change: Change, _whom: str, _: Frames) -> str:
    if change.value is None:
        return "a house recipe taken off the list"
    return f"house recipe {_text(_get(change.value, 'name'))} kept"


def _texts(change: Change, whom: str, _: Frames) -> str:
    name = _text(change.line)
    return f"{name} “{_text(change.value)}”: {whom}" if change.value else f"{name} taken off: {whom}"


def _begun(change: Change, whom: str, _: Frames) -> str:
    outputs = _get(change.value, "outputs")
    what = counted(outputs, "file") if isinstance(outputs, int) else "files"
    return (
        f"export of {what} begun, as {_text(_get(_get(change.value, 'spec'), 'name') or 'planned')}: {whom}"
    )


def _delivered(change: Change, whom: str, _: Frames) -> str:
    outputs = _list(change.value, "outputs")
    first = _get(outputs[0], "path") if outputs else None
    return (
        f"{counted(len(outputs), 'file')} exported"
        + (f", {_text(first)} first" if first else "")
        + f": {whom}"
    )


def _ended(change: Change, whom: str, _: Frames) -> str:
    failed = len(_list(change.value, "failed"))
    return "export ended, " + (f"{counted(failed, 'file')} failed" if failed else "all made") + f": {whom}"


def _audit(change: Change, whom: str, _: Frames) -> str:
    coverage = _get(change.value, "coverage")
    read = (
        sum(each for each in coverage.values() if isinstance(each, int)) if isinstance(coverage, dict) else 0
    )
    odd = len(_list(change.value, "exceptions"))
    found = f", {counted(odd, 'file is', 'files are')} not as they should be" if odd else ", all sound"
    return f"{counted(read, 'file')} audited{found}: {whom}"


def _called(what: str) -> Callable[[Change, str, Frames], str]:
    def told(change: Change, whom: str, _: Frames) -> str:
        return f"{what} {_text(_get(change.value, 'name') or whom)} described"

    return told


_WORDS: dict[str, Callable[[Change, str, Frames], str]] = {
    "activity": _activity, "audit": _audit, "camera": _called("camera"), "card": _card, "clock": _clock,
    "delivered": _delivered, "facts": _facts, "house-recipe": _house, "ingest": _ingest, "job": _begun,
    "job-ended": _ended, "keyword": _keyword, "lens": _lens, "levelling": _levelling, "line": _line,
    "line-name": _line_name, "pairing": _pairing, "query": _query, "rating": _rating, "recipe": _own,
    "recipe-note": _noted, "sequence-break": _break, "sequence-join": _join, "sequence-number": _number,
    "sequence-title": _titled, "site": _called("place"), "text": _texts, "volume": _called("volume"),
}  # fmt: skip


def _get(value: Any, key: str) -> Any:
    # An entry may be whole and say something else than its layer should: then little is told of it.
    return value.get(key) if isinstance(value, dict) else None


def _list(value: Any, key: str) -> list[Any]:
    found = _get(value, key)
    return found if isinstance(found, list) else []


def _text(value: Any) -> str:
    text = "?" if value is None else shown(str(value))
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"


def _subjects(subjects: Iterable[str], frames: Frames) -> str:
    names = [_subject(subject, frames) for subject in subjects]
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return ", ".join(names[:_MOST_NAMES]) + more


def _subject(subject: str, frames: Frames) -> str:
    """A frame by its name; an id as people read it: digests cut, names as they are."""
    if subject in frames:
        return shown(frames[subject].name)
    kind, _, rest = subject.partition(":")
    name = _text(short(rest) if len(rest) > 30 or "sha256:" in rest else rest)
    if is_frame_id(subject):
        return f"frame {name}"
    # A version is told by its entry, a job's id needs no word beside what is said of it.
    return name if kind == "sha256" else f"{shown(kind)} {name}"
