"""What passes between the engine and a decoding process: lengths, JSON and plain arrays.

Nothing that is read here can run code: no pickles, and every size is bounded before memory is taken. Words go
through the pipe; large parts lie in memory that both see, where there is some.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Sequence
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from archive.engine.sharedroom import SharedRoom

_LENGTH = struct.Struct(">Q")
_LARGEST_JSON = 1 << 20
_LARGEST_PART = 1 << 34
_DTYPES = ("uint8", "uint16", "float32", "float64")
# Smaller parts are as quick through the pipe.
_WORTH_SHARING = 1 << 16

Array = npt.NDArray[Any]


def send(
    stream: IO[bytes],
    document: dict[str, Any],
    parts: Sequence[bytes | Array],
    room: SharedRoom | None = None,
) -> None:
    """Write a document and its parts, bytes or C-ordered arrays, and flush.

    What lay in the shared room before is overwritten: one side sends only after it has received.
    """
    described: list[dict[str, Any]] = []
    piped: list[memoryview] = []
    filled = 0
    for part in parts:
        view = memoryview(part) if isinstance(part, bytes) else _view(np.ascontiguousarray(part))
        about: dict[str, Any] = (
            {"bytes": len(part)}
            if isinstance(part, bytes)
            else {"dtype": str(part.dtype), "shape": list(part.shape)}
        )
        if room is not None and len(view) >= _WORTH_SHARING and room.write(filled, view):
            about["at"] = filled
            filled += len(view)
        else:
            piped.append(view)
        described.append(about)
    text = json.dumps({"document": document, "parts": described}).encode()
    stream.write(_LENGTH.pack(len(text)) + text)
    for view in piped:
        stream.write(view)
    stream.flush()


def receive(
    stream: IO[bytes], room: SharedRoom | None = None
) -> tuple[dict[str, Any], list[bytes | Array]] | None:
    """A document and its parts; None when the other side has closed the pipe between messages.

    Raises
    ------
    EOFError : the pipe ended inside a message. ValueError : a size or type that no message has.
    """
    head = stream.read(_LENGTH.size)
    if not head:
        return None
    if len(head) < _LENGTH.size:
        raise EOFError("the pipe ended inside a message")
    (length,) = _LENGTH.unpack(head)
    if length > _LARGEST_JSON:
        raise ValueError("a message's description is too long")
    text = stream.read(length)
    if len(text) < length:
        raise EOFError("the pipe ended inside a message")
    document, descriptions = _described(text)
    return document, [_part(stream, description, room) for description in descriptions]


def _described(text: bytes) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The document and the descriptions of its parts, of the types that messages have."""
    try:
        message = json.loads(text)
    except RecursionError as error:
        raise ValueError("a message's description is too deep") from error
    if not isinstance(message, dict):
        raise ValueError("a message's description is none")
    document, parts = message.get("document"), message.get("parts")
    if not isinstance(document, dict) or not isinstance(parts, list) or not all(map(_is_typed, parts)):
        raise ValueError("a message's description is none")
    return document, parts


def _is_typed(part: object) -> bool:
    if not isinstance(part, dict):
        return False
    wholes = [part[name] for name in ("at", "bytes") if name in part]
    if "bytes" not in part:
        shape = part.get("shape")
        if not isinstance(shape, list) or not isinstance(part.get("dtype"), str):
            return False
        wholes += shape
    return all(type(each) is int for each in wholes)


def _part(stream: IO[bytes], description: dict[str, Any], room: SharedRoom | None) -> bytes | Array:
    place = description.get("at")
    if place is not None and (room is None or not 0 <= place <= _LARGEST_PART):
        raise ValueError("a message's part lies nowhere")
    if "bytes" in description:
        size = description["bytes"]
        if not 0 <= size <= _LARGEST_PART:
            raise ValueError("a message's part is too long")
        if room is not None and place is not None:
            return room.read(place, size)
        data = stream.read(size)
        if len(data) < size:
            raise EOFError("the pipe ended inside a message")
        return data
    shape = tuple(description["shape"])
    if description["dtype"] not in _DTYPES or len(shape) > 3 or min(shape, default=0) < 1:
        raise ValueError("a message's part is of no known kind")
    dtype = np.dtype(description["dtype"])
    if dtype.itemsize * math.prod(shape) > _LARGEST_PART:
        raise ValueError("a message's part is too long")
    array = np.empty(shape, dtype)
    view = _view(array)
    if room is not None and place is not None:
        room.read_into(place, view)
        return array
    filled = 0
    while filled < len(view):
        got = stream.readinto(view[filled:])  # type: ignore[attr-defined]
        if not got:
            raise EOFError("the pipe ended inside a message")
        filled += got
    return array


def _view(array: Array) -> memoryview:
    """The array's own memory as bytes."""
    return memoryview(array.reshape(-1).view(np.uint8).data)
