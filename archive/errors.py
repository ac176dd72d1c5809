"""Every error a user can meet: what happened, to what, what is still safe, what to do next."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """How a command ended, for scripts; the help and FORMATS.md are generated from this."""

    DONE = 0
    ATTENTION = 1
    USAGE = 2
    REFUSED = 3

    @property
    def meaning(self) -> str:
        return {
            Exit.DONE: "done",
            Exit.ATTENTION: "done, but something needs you",
            Exit.USAGE: "wrong usage",
            Exit.REFUSED: "refused, nothing changed",
        }[self]


class ArchiveError(Exception):
    """A fault the user can do something about.

    Parameters
    ----------
    message : what happened, and to what.
    hint : what is still safe, and what to do next.
    exit_code : how a command that meets it ends.
    """

    def __init__(self, message: str, *, hint: str = "", exit_code: Exit = Exit.REFUSED) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.exit_code = exit_code

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


class UsageError(ArchiveError):
    """The command or call was worded wrongly; nothing was changed."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message, hint=hint, exit_code=Exit.USAGE)


class DamagedFileError(ArchiveError):
    """A file's bytes are not what their record or their own format says."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message, hint=hint, exit_code=Exit.ATTENTION)


def counted(count: int, one: str, many: str = "") -> str:
    """A number with its noun: ``1 frame``, ``2 frames``; ``many`` where the plural is no added s."""
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def shown(name: str | bytes) -> str:
    """A file name as it may be shown: controls, markup-free escapes and lone surrogates written out."""
    text = name.decode("utf-8", "surrogateescape") if isinstance(name, bytes) else name
    out = []
    for char in text:
        code = ord(char)
        if 0xDC80 <= code <= 0xDCFF:
            out.append(f"\\x{code - 0xDC00:02x}")
        elif char.isprintable():
            out.append(char)
        elif code < 0x100:
            out.append(f"\\x{code:02x}")
        else:
            out.append(f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}")
    return "".join(out)
