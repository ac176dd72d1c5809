"""Runs that end in the middle, as one does that is killed: no handler of errors sees it."""

from __future__ import annotations


class Stop(BaseException):
    """Not an Exception, so that nothing of the program recovers from it."""


def stop(*_arguments: object, **_options: object) -> None:
    """In place of any call: the run ends there."""
    raise Stop
