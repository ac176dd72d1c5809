"""What a journal as a whole tells that no single entry does, put into words: lost entries, copies, clocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from archive.errors import shown
from archive.journal.chains import Chains, Fork, SetBack
from archive.model.identity import short

MISSING = "journal-missing"
"""Where entries are put down that others follow and that are nowhere held."""
NOTICED = "journal-noticed"
"""Where things are put down that need nobody: what a person should know, and that changes no answer."""


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


def noticed_in_words(chains: Chains, strangers: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Each fork, each clock that was set back, and each file that is no entry, by its name."""
    for fork in chains.forks:
        yield fork.names[0], _fork(fork)
    for turn in chains.set_back:
        yield turn.name, _set_back(turn)
    for path in strangers:
        yield path, f"{shown(path)} lies in the journal and is no entry. It was left as it is and not read."


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
