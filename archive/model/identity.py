"""Typed ids, their prefixes, the canonical encoding, and keys derived from it.

A frame is the XXH3-128 of its master's bytes (``xxh128:…``), an entry the SHA-256 of its own
(``sha256:…``). A derived key is the SHA-256 of a canonical list that begins with what it is.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Mapping, Sequence
from typing import Any, NewType

import rfc8785

FrameId = NewType("FrameId", str)
EntryId = NewType("EntryId", str)
SelectionId = NewType("SelectionId", str)
PixelKey = NewType("PixelKey", str)
FileKey = NewType("FileKey", str)

JSON = Any

PLAIN = json.JSONEncoder(ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
"""Writes as RFC 8785 says, but for some numbers and characters."""
EXACT = 2**53 - 1
"""The greatest whole number that a double and all its neighbours tell apart (RFC 8785 §3.2.2.3)."""
_ODD = re.compile(rb"\.0(?:[,}\]]|$)|[0-9]e[-+]|(?:\":|[,\[]|^)-?[0-9]{16}|[\xf0-\xf4]")
"""Whole or very large or small fractions, long integers, characters beyond 16 bits: where encoders differ."""
_FRAME = re.compile(r"xxh128:[0-9a-f]{32}")
_SHA256 = re.compile(r"sha256:[0-9a-f]{64}")
_TOKEN = re.compile(r"[0-9a-f]{8}|[0-9a-f]{32}")


def canonical(document: JSON) -> bytes:
    """The one byte form of a JSON document (RFC 8785, JSON Canonicalization Scheme).

    Raises
    ------
    ValueError : for NaN, infinities, integers beyond ±(2^53 − 1), lone surrogates, other types.
    """
    quick = _quickly(document)
    if quick is not None:
        return quick
    try:
        return rfc8785.dumps(document)
    except rfc8785.CanonicalizationError as error:
        raise ValueError(str(error)) from error


def _quickly(document: JSON) -> bytes | None:
    """The bytes of a document in which Python's own encoder does as the standard says; None of any other.

    Most documents are such, and it is ten times faster.
    """
    try:
        data = PLAIN.encode(_settled(document)).encode()
    except (TypeError, ValueError, RecursionError):
        return None
    return data if _ODD.search(data) is None else None


def _settled(document: JSON) -> JSON:
    """A document with whole fractions as integers, as the standard writes them; TypeError for odd names."""
    if isinstance(document, dict):
        if not all(type(name) is str for name in document):
            raise TypeError("a name is no text")
        return {name: _settled(value) for name, value in document.items()}
    if isinstance(document, list | tuple):
        return [_settled(value) for value in document]
    if type(document) is float and document.is_integer() and abs(document) <= EXACT:
        return int(document)
    return document


def sha256_id(data: bytes) -> str:
    return "sha256:" + hashlib.sha256(data).hexdigest()


def derived_key(kind: str, *parts: JSON) -> str:
    """SHA-256 of the canonical list that begins with ``kind``."""
    return sha256_id(canonical([kind, *parts]))


def is_frame_id(text: str) -> bool:
    return _FRAME.fullmatch(text) is not None


def is_sha256_id(text: str) -> bool:
    return _SHA256.fullmatch(text) is not None


def new_token(characters: int = 32) -> str:
    """A random lower-case hexadecimal token: 32 for archives, volumes, writers and jobs, 8 for rolls."""
    token = secrets.token_hex(characters // 2)
    assert _TOKEN.fullmatch(token)
    return token


def short(identifier: str, characters: int = 10) -> str:
    """An id as it is shown on screen."""
    return identifier.rpartition(":")[2][:characters]


def frozen(value: JSON) -> JSON:
    """A JSON value turned hashable, so that equality of parts is equality of meaning."""
    if isinstance(value, Mapping):
        return tuple((key, frozen(value[key])) for key in sorted(value))
    if isinstance(value, Sequence) and not isinstance(value, str):
        return tuple(frozen(item) for item in value)
    return value
