"""The query language: what people type becomes a tree of conditions, or an error that points at its column.

>>> parse('rating>=4 iso<=3200 keyword:"river ice"').words()
'rating >= 4 and iso <= 3200 and keyword : river ice'
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass

from archive.catalogue.query_fields import FIELDS, Compare, Field, FieldError
from archive.errors import UsageError, shown

GRAMMAR = """\
conditions side by side must all hold; `or`, `not` and ( ) as in speech
field:value    is; night:2026-03 and name:NOCT04* mean all that begin so
field>=10      also > < <= = !=, where there is an order
field:10..20   from … up to and including …
"quoted"       a value with blanks; \\" and \\\\ inside it"""

LONGEST = 4_000
DEEPEST = 40

_TOKEN = re.compile(
    r"""\s* (?: (?P<open>\() | (?P<close>\)) | (?P<mark><=|>=|!=|[:<>=])
      | "(?P<quoted>(?:[^"\\]|\\.)*)"
      | (?P<word>[^\s()<>=!:"]+)
      | (?P<odd>\S) )""",
    re.VERBOSE | re.DOTALL,
)


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One comparison of a field."""

    field: Field
    compare: Compare

    def words(self) -> str:
        return f"{self.field.name} {self.compare.told}"


@dataclass(frozen=True, kw_only=True)
class Not:
    """What must not hold."""

    part: Tree

    def words(self) -> str:
        return f"not {self.part.words()}"


@dataclass(frozen=True, kw_only=True)
class Every:
    """What must hold together; of no parts, everything holds."""

    parts: tuple[Tree, ...] = ()

    def words(self) -> str:
        return " and ".join(part.words() for part in self.parts)


@dataclass(frozen=True, kw_only=True)
class Either:
    """Of which one must hold."""

    parts: tuple[Tree, ...]

    def words(self) -> str:
        return "(" + " or ".join(part.words() for part in self.parts) + ")"


Tree = Condition | Not | Every | Either


def parse(text: str) -> Tree:
    """The conditions that a query means; an empty one means every frame.

    Raises
    ------
    UsageError : for a query that cannot be read; the message points at the column.
    """
    if len(text) > LONGEST:
        raise UsageError(
            f"The query has {len(text)} characters, more than the {LONGEST} that are read.",
            hint="Nothing was changed. Ask in parts.",
        )
    reader = _Reader(text, list(_tokens(text)))
    for column, char in enumerate(text):
        if char == "\0" or "\ud800" <= char <= "\udfff":
            # Bytes that are no UTF-8 come in as lone surrogates; no database takes either.
            raise reader.wrong(f"{shown(char)} is no character of a text", "Take it away.", column)
    tree = reader.either()
    if reader.kind != "end":
        raise reader.wrong("this ) closes nothing", "Take it away, or open a ( before it.")
    return tree


@dataclass(frozen=True, kw_only=True)
class _Token:
    kind: str
    text: str
    at: int
    joined: bool
    """Whether it follows the one before without a blank."""


def _tokens(text: str) -> Iterator[_Token]:
    end = 0
    for match in _TOKEN.finditer(text):
        kind = match.lastgroup or "odd"
        begin = match.start(kind) - (kind == "quoted")
        value = match[kind]
        if kind == "quoted":
            value = re.sub(r"\\(.)", r"\1", value, flags=re.DOTALL)
        yield _Token(kind=kind, text=value, at=begin, joined=begin == end)
        end = match.end()
    yield _Token(kind="end", text="", at=len(text.rstrip()), joined=False)


class _Reader:
    """Reads tokens by recursive descent."""

    def __init__(self, text: str, tokens: list[_Token]) -> None:
        self._text = text
        self._tokens = tokens
        self._next = 0
        self._depth = 0

    @property
    def _token(self) -> _Token:
        return self._tokens[self._next]

    @property
    def kind(self) -> str:
        return self._token.kind

    def _take(self) -> _Token:
        token = self._token
        self._next += 1
        return token

    def _is_word(self, word: str) -> bool:
        # A field of that name would be followed by a mark.
        return (
            self.kind == "word"
            and self._token.text.lower() == word
            and self._tokens[self._next + 1].kind != "mark"
        )

    def either(self) -> Tree:
        parts = [self._every()]
        while self._is_word("or"):
            self._take()
            parts.append(self._every(needed="or"))
        return parts[0] if len(parts) == 1 else Either(parts=tuple(parts))

    def _every(self, needed: str = "") -> Tree:
        parts: list[Tree] = []
        while self.kind not in ("end", "close") and not self._is_word("or"):
            if self._is_word("and"):
                if not parts:
                    raise self.wrong("`and` joins two conditions; there is none before it")
                self._take()
                needed = "and"
                continue
            parts.append(self._one())
            needed = ""
        if needed or (self._is_word("or") and not parts):
            raise self.wrong(f"`{needed or 'or'}` joins two conditions; one is missing here")
        return parts[0] if len(parts) == 1 else Every(parts=tuple(parts))

    def _one(self) -> Tree:
        if self._is_word("not"):
            self._take()
            if self.kind in ("end", "close") or self._is_word("or") or self._is_word("and"):
                raise self.wrong("`not` needs a condition after it")
            return self._deeper(lambda: Not(part=self._one()))
        if self.kind == "open":
            opened = self._take()
            inside = self._deeper(self.either)
            if self.kind != "close":
                raise self.wrong(f"the ( of column {opened.at + 1} is not closed", "Write a ) at the end.")
            if inside == Every():
                raise self.wrong("there is nothing between ( and )")
            self._take()
            return inside
        return self._condition()

    def _deeper(self, read: object) -> Tree:
        self._depth += 1
        if self._depth > DEEPEST:
            raise self.wrong(f"the query is nested more than {DEEPEST} deep")
        assert callable(read)
        tree: Tree = read()
        self._depth -= 1
        return tree

    def _condition(self) -> Condition:
        token = self._take()
        if token.text == '"' and token.kind == "odd":
            raise self.wrong(
                "the quoted text that begins here is not closed", 'Write a " at its end.', token.at
            )
        if token.kind != "word":
            what = "a quoted text alone" if token.kind == "quoted" else shown(token.text)
            raise self.wrong(f"{what} is no condition", "Write FIELD:VALUE.", token.at)
        field = FIELDS.get(token.text.lower())
        if field is None:
            raise self.wrong(f"there is no field {shown(token.text)}", _near(token.text), token.at)
        if self.kind != "mark":
            raise self.wrong(f"{field.name} is compared with nothing", f"For instance {field.example}.")
        mark = self._take()
        if self.kind not in ("word", "quoted"):
            raise self.wrong(
                f"there is no value after {field.name}{mark.text}", f"For instance {field.example}."
            )
        value = self._take()
        try:
            return Condition(field=field, compare=field.compare(mark.text, value.text))
        except FieldError as wrong:
            at = mark.at if wrong.mark else value.at
            raise self.wrong(str(wrong), f"For instance {field.example}.", at) from None

    def wrong(self, why: str, hint: str = "", at: int | None = None) -> UsageError:
        """The error for the present place, with a mark below the column."""
        place = self._token.at if at is None else at
        line = "".join(char if char.isprintable() else " " for char in self._text)
        begin = max(0, place - 50)
        pointed = f"  {line[begin : begin + 70]}\n  {' ' * (place - begin)}^"
        return UsageError(
            f"The query cannot be read at column {place + 1}: {why}.\n{pointed}",
            hint=f"Nothing was changed. {hint} `noctuary find --help` lists the fields.".replace("  ", " "),
        )


def _near(name: str) -> str:
    close = difflib.get_close_matches(name.lower(), FIELDS, n=2, cutoff=0.7)
    return f"Did you mean {' or '.join(close)}?" if close else f"Fields are {', '.join(FIELDS)}."
