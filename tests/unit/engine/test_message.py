"""What passes through the pipe."""

import io
import json
import struct
from typing import Any

import numpy as np
import pytest

from archive.engine import message


def test_documents_bytes_and_arrays_come_back_as_they_were() -> None:
    pipe = io.BytesIO()
    mosaic = np.arange(12, dtype=np.uint16).reshape(3, 4)
    message.send(pipe, {"name": "ridge ½"}, [mosaic, mosaic[:, ::2].astype(np.float32)])
    message.send(pipe, {}, [b"raw bytes", b""])
    pipe.seek(0)
    document, parts = message.receive(pipe) or ({}, [])
    assert document == {"name": "ridge ½"}
    assert np.array_equal(parts[0], mosaic)
    assert np.array_equal(parts[1], mosaic[:, ::2])
    assert message.receive(pipe) == ({}, [b"raw bytes", b""])
    assert message.receive(pipe) is None


def test_a_pipe_that_ends_inside_a_message_is_an_error_at_every_place() -> None:
    pipe = io.BytesIO()
    message.send(pipe, {"a": 1}, [b"abc", np.ones(4, np.float32)])
    whole = pipe.getvalue()
    for length in range(1, len(whole)):
        with pytest.raises((EOFError, ValueError)):
            message.receive(io.BytesIO(whole[:length]))


@pytest.mark.parametrize(
    "part",
    [
        {"bytes": 1 << 40},
        {"bytes": -1},
        {"dtype": "object", "shape": [2]},
        {"dtype": "uint8", "shape": [-1]},
        {"dtype": "float64", "shape": [1 << 20, 1 << 20]},
        {"dtype": "uint8", "shape": [1, 1, 1, 1]},
    ],
)
def test_sizes_and_types_beyond_belief_take_no_memory(part: dict[str, Any]) -> None:
    text = json.dumps({"document": {}, "parts": [part]}).encode()
    with pytest.raises(ValueError, match="message"):
        message.receive(io.BytesIO(struct.pack(">Q", len(text)) + text))


def test_a_description_of_absurd_length_is_refused() -> None:
    with pytest.raises(ValueError, match="too long"):
        message.receive(io.BytesIO(struct.pack(">Q", 1 << 50)))
