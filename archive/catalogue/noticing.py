"""What a journal as a whole tells that no single entry does, put into words: lost entries, copies, clocks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from archive.errors import shown
from archive.journal.chains import Chains, Fork, SetBack
from archive.model.identity import short

MISSING = "journal-missing"
"""Where entries are put down that others follow and that are nowhere held."""
NOTICED = "journal-noticed"
"""Where things are put down that need nobody: what a person should know, and that changes no answer."""
STRANGE = "journal-strange"
"""Where files are put down that lie in the journal and are no entries."""
GONE = "journal-gone"
"""Where entries are put down that were read here before and are nowhere in the journal now."""
NOTICES = frozenset((NOTICED, STRANGE))
"""Places of what is only to be noticed; all others are of faults."""
_MOST_GONE = 20


def missing_in_words(chains: Chains, names: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Each entry that is lost, by its id; not those that are held, and were set aside."""
    aside = {name.rpartition("-")[2].removesuffix(".json") for name in names}
    for lost in chains.missing:
        if lost.id.removeprefix("sha256:")[:16] not in aside:
            yield (
                lost.id,
                f"The journal entry {short(lost.id, 16)}… that {lost.follower} follows is not here. "
                "What it said is not counted; take it from another volume.",
            )


def gone_in_words(names: Collection[str]) -> Iterator[tuple[str, str]]:
    """Entries that are no longer there, the newest first; of very many only those, and how many more."""
    for name in sorted(names, reverse=True)[:_MOST_GONE]:
        yield (
            name,
            f"The journal entry {name} was read here before and is nowhere in the journal now: it was "
            "removed, or this is an older copy. What it said is not counted; take it from another volume.",
        )
    if len(names) > _MOST_GONE:
        yield "", f"{len(names) - _MOST_GONE} more journal entries that were read before are gone as well."


def strange_in_words(paths: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Each file that is no entry, by its path."""
    for path in paths:
        # Its name need not be text, nor short.
        name = shown(path)
        yield name[:400], f"{name} lies in the journal and is no entry. It was left as it is and not read."


def noticed_in_words(chains: Chains) -> Iterator[tuple[str, str]]:
    """Each fork and each clock that was set back, by the name of an entry."""
    for fork in chains.forks:
        yield fork.names[0], _fork(fork)
    for turn in chains.set_back:
        yield turn.name, _set_back(turn)


def _fork(fork: Fork) -> str:
    after = f"after {short(fork.previous, 16)}…" if fork.previous else "as its first entry"
    return (
        f"Two working copies wrote as one writer, {short(fork.writer, 12)}: {after} there are "
        f"{', '.join(fork.names)}. All of them count, and their order is as ever; a working copy that "
        "notices this goes on under an id of its own."
    )


def _set_back(turn: SetBack) -> str:
    back = f"{turn.seconds} s" if turn.seconds < 7200 else f"{turn.seconds / 3600:.1f} h"
    return (
        f"The clock stood {back} earlier when {turn.name} was written than at {turn.previous}, which it "
        "follows: it was set back in between, or was wrong before. Order does not depend on clocks."
    )
