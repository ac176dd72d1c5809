"""How a file name may be written that a person typed without minding capitals."""

from __future__ import annotations


def spellings(name: str) -> tuple[str, ...]:
    """A name as typed, then its stem and its ending in capitals, in small letters and like a word.

    Each can be looked up in an index; a comparison that passes over all capitals would go through every name.
    """
    stem, dot, ending = name.rpartition(".")
    if not dot:
        stem, ending = name, ""
    endings = dict.fromkeys((ending.upper(), ending.lower()))
    stems = (stem.upper(), stem.lower(), stem.capitalize())
    return tuple(dict.fromkeys((name, *(f"{each}{dot}{last}" for each in stems for last in endings))))
