"""Questions asked of the catalogue, and those that are kept under a name."""

from __future__ import annotations

from archive.catalogue.books import Books
from archive.catalogue.finding import Matches, matching
from archive.catalogue.query import parse
from archive.errors import UsageError, shown
from archive.model.entry import Change, Draft

QUERY = "query"
MOST_LISTED = 1_000_000
_LONGEST_NAME = 60


class Queries:
    """Asks, and keeps what is asked often."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def ask(self, query: str, limit: int = 50) -> Matches:
        """The first frames that a query asks for, and how many there are.

        Raises
        ------
        UsageError : for a query that cannot be read; it points at the column.
        """
        if not 1 <= limit <= MOST_LISTED:
            raise UsageError(f"{limit} frames cannot be listed.", hint=f"Ask for 1 to {MOST_LISTED} of them.")
        return matching(self._books.catalogue, parse(query), limit)

    def kept(self) -> dict[str, str]:
        """Every query that is kept, by name."""
        stated = self._books.catalogue.layer(QUERY)
        return {subject.partition(":")[2]: text for (subject, _), text in sorted(stated.items()) if text}

    def named(self, name: str) -> str:
        """The query kept under a name.

        Raises
        ------
        UsageError : when there is none; it lists those there are.
        """
        kept = self.kept()
        if name not in kept:
            names = ", ".join(map(shown, kept)) or "none yet"
            raise UsageError(
                f"No query is kept as {shown(name)}.", hint=f"Nothing was changed. Kept queries: {names}."
            )
        return kept[name]

    def keep(self, name: str, query: str) -> None:
        """Keep a query that can be read under a name; an empty one gives the name up.

        Raises
        ------
        UsageError : for a query that cannot be read, or a name that is empty, too long or unprintable.
        """
        if not name.strip() or len(name) > _LONGEST_NAME or not name.isprintable():
            raise UsageError(
                f"A query cannot be kept as {shown(name)[:80]!r}.",
                hint=f"Nothing was changed. A name has 1 to {_LONGEST_NAME} printable characters.",
            )
        if query:
            parse(query)
        else:
            self.named(name)
        if self.kept().get(name, "") != query:
            change = Change(subjects=(f"query:{name}",), layer=QUERY, value=query)
            self._books.state(Draft(kind="query", changes=(change,)))
