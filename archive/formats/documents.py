"""What every JSON document of the archive has in common: a type, a format number, canonical bytes."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from archive.errors import ArchiveError, DamagedFileError, shown
from archive.model.identity import EXACT, PLAIN, canonical

MAX_DOCUMENT = 64 * 1024 * 1024

_ODD = re.compile(rb"[0-9]e[-+]|[\xf0-\xf4]")
"""Very large or small fractions, and characters beyond 16 bits: where encoders differ."""

Model = TypeVar("Model", bound="Document")
Fitted = TypeVar("Fitted")


class NewerFormatError(ArchiveError):
    """A document that only a newer release can read; it is whole, and not for this one to judge."""


class Part(BaseModel):
    """A part of a document that may hold anything; unknown fields are kept, none is guessed."""

    model_config = ConfigDict(extra="allow", strict=True, frozen=True)


class Document(Part):
    """A whole document: it says what it is, and in which format."""

    type: str
    format: int


def _integer(text: str) -> int | float:
    # Numbers of JSON are doubles (RFC 8785 §3.2.2.3); an integer beyond their exact range is one too.
    value = int(text)
    return value if -EXACT <= value <= EXACT else float(value)


_DECODER = json.JSONDecoder(parse_int=_integer)


def parse(data: bytes, name: str) -> dict[str, Any]:
    """The JSON object in ``data``.

    Raises
    ------
    DamagedFileError : when it is too large, not UTF-8, not JSON, or not an object.
    """
    if len(data) > MAX_DOCUMENT:
        raise DamagedFileError(
            f"{shown(name)} is larger than any document of an archive ({len(data)} bytes).",
            hint="It was left as it is and not read.",
        )
    try:
        document = _DECODER.decode(data.decode())
    except (ValueError, OverflowError, RecursionError) as error:
        raise DamagedFileError(
            f"{shown(name)} is not a readable document: {error}.",
            hint="It was left as it is; the other documents are read without it.",
        ) from error
    if not isinstance(document, dict):
        raise DamagedFileError(f"{shown(name)} holds no object.", hint="It was left as it is.")
    return document


def is_canonical(document: dict[str, Any], data: bytes) -> bool:
    """Whether ``data`` is the one byte form of the document that was read from it."""
    try:
        if not _is_odd(data) and PLAIN.encode(document).encode() == data:
            return True
        return canonical(document) == data
    except ValueError:
        return False


def _is_odd(data: bytes) -> bool:
    # Most documents hold none of these; looking for them first spares the slow search.
    if b".0," in data or b".0}" in data or b".0]" in data:
        return True
    suspect = b"e-" in data or b"e+" in data or not data.isascii()
    return suspect and _ODD.search(data) is not None


def checked(
    model: type[Model], data: bytes, name: str, *, kind: str, reads: int, exact: bool = False
) -> Model:
    """A document of the given type and no newer format than ``reads``, with every field checked.

    ``exact`` asks for canonical bytes: two readers of anything else may read two different things.

    Raises
    ------
    DamagedFileError : with all faults of the document together.
    NewerFormatError : when a newer release wrote it.
    """
    document = typed(data, name, kind=kind)
    if document["format"] > reads:
        raise NewerFormatError(
            f"{shown(name)} was written by a newer release: it needs format {document['format']}, "
            f"this one reads 1 to {reads}.",
            hint="Nothing was changed. Update Noctuary to read it.",
        )
    return fitted(model.model_validate, document, data, name, kind=kind, exact=exact)


def typed(data: bytes, name: str, *, kind: str) -> dict[str, Any]:
    """A document of the given type, of whatever format; ``format`` is a whole number from 1 on.

    Raises
    ------
    DamagedFileError : when it is no document, or one of another type.
    """
    document = parse(data, name)
    if document.get("type") != kind:
        raise DamagedFileError(
            f"{shown(name)} is no {kind} document.", hint="It was left as it is and not used."
        )
    version = document.get("format")
    if type(version) is not int or version < 1:
        raise DamagedFileError(f"{shown(name)} does not say its format.", hint="It was left as it is.")
    return document


def fitted(
    check: Callable[[dict[str, Any]], Fitted],
    document: dict[str, Any],
    data: bytes,
    name: str,
    *,
    kind: str,
    exact: bool,
) -> Fitted:
    """A document with every field checked, as ``check`` gives it or raises ValidationError.

    Raises
    ------
    DamagedFileError : with all its faults together.
    """
    if exact and not is_canonical(document, data):
        raise DamagedFileError(
            f"{shown(name)} is not in canonical form (RFC 8785).",
            hint="It was left as it is; the other documents are read without it.",
        )
    try:
        return check(document)
    except ValidationError as error:
        raise DamagedFileError(
            f"{shown(name)} does not hold what a {kind} document must hold: {faults_of(error)}.",
            hint="It was left as it is; the other documents are read without it.",
        ) from error


def faults_of(error: ValidationError) -> str:
    """What is wrong with a document, field by field; the first eight faults."""
    return "; ".join(
        f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}" for fault in error.errors()[:8]
    )


def written(document: dict[str, Any]) -> bytes:
    """The canonical bytes of a document."""
    return canonical(document)
