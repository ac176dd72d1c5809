"""What would stand for a frame had one of its versions never been saved; what others said is not lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from archive.journal.current import heads
from archive.model.entry import Version
from archive.model.identity import EntryId


@dataclass(frozen=True, kw_only=True)
class Withdrawn:
    """How one frame is to go on without a version and without what was built on it.

    ``version`` is the one that goes and ``spoke`` the one that speaks now; ``stands`` is what speaks then,
    None where nothing was said before it. A new version that restates it must build on ``builds_on``: the
    current ones among those that go, and ``stands`` itself where it is current now. All other current
    versions stay so. ``later`` are the current ones that were built on the one that goes, ``parted`` those
    that it had settled between and that are not current again.
    """

    version: Version
    spoke: Version
    stands: Version | None
    builds_on: tuple[Version, ...]
    later: tuple[Version, ...]
    parted: tuple[Version, ...]

    @property
    def done(self) -> bool:
        """Whether what is to speak is all that speaks already, so that nothing need be written."""
        same = self.stands is not None and _said(self.spoke) == _said(self.stands)
        nothing = self.stands is None and self.spoke.recipe.says_nothing
        return (same or nothing) and self.builds_on == (self.spoke,)


def without(listed: Sequence[Version], entry: EntryId) -> Withdrawn | None:
    """One frame's versions of one layer and line, without an entry's; None if it has none there."""
    version = next((each for each in listed if each.entry == entry), None)
    if version is None:
        return None
    gone = {entry}
    # A version comes after all that it builds on, whatever order the list has.
    for each in sorted(listed, key=lambda each: (each.counter, each.entry)):
        if gone & set(each.builds_on):
            gone.add(each.entry)
    now = heads(listed)
    ends = [each for each in now if each.entry in gone]
    rest = heads(each for each in listed if each.entry not in gone)
    stands = rest[0] if rest else None
    current = {each.entry for each in now}
    return Withdrawn(
        version=version,
        spoke=now[0],
        stands=stands,
        builds_on=tuple(each for each in now if each in ends or each is stands),
        later=tuple(each for each in ends if each.entry != entry),
        parted=tuple(each for each in rest[1:] if each.entry not in current),
    )


def _said(version: Version) -> object:
    return version.recipe, version.in_sequence
