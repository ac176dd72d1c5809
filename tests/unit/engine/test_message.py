"""What passes through the pipe."""

import io
import json
import struct
from typing import Any

import numpy as np
import pytest

from archive.engine import message
from archive.engine.sharedroom import SharedRoom


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


@pytest.mark.parametrize(
    "text",
    [
        [], {"parts": []}, {"document": [], "parts": []}, {"document": {}, "parts": {}},
        {"document": {}, "parts": ["x"]},
        *(
            {"document": {}, "parts": [part]}
            for part in (
                {}, {"bytes": None}, {"bytes": "4"}, {"bytes": [4]}, {"bytes": 4, "at": "0"},
                {"bytes": 4, "at": [0]}, {"bytes": 4, "at": 0.5}, {"dtype": "uint8"},
                {"dtype": "uint8", "shape": 4}, {"dtype": "uint8", "shape": [[4]]},
                {"dtype": ["uint8"], "shape": [4]}, {"dtype": "uint8", "shape": [float("inf")]},
            )
        ),
    ],
)  # fmt: skip
def test_a_description_of_other_types_is_no_fault_of_ours(text: Any) -> None:
    data = json.dumps(text).encode()
    with pytest.raises(ValueError, match="message"):
        message.receive(io.BytesIO(struct.pack(">Q", len(data)) + data + bytes(64)))


def test_a_description_of_endless_depth_is_no_fault_of_ours() -> None:
    data = b"[" * 200_000
    with pytest.raises(ValueError, match="too deep"):
        message.receive(io.BytesIO(struct.pack(">Q", len(data)) + data))


def test_a_description_of_absurd_length_is_refused() -> None:
    with pytest.raises(ValueError, match="too long"):
        message.receive(io.BytesIO(struct.pack(">Q", 1 << 50)))


def test_large_parts_lie_in_the_shared_room_and_small_ones_go_through_the_pipe() -> None:
    room = SharedRoom.made()
    if room is None:
        pytest.skip("this system has no anonymous files in memory")
    pipe = io.BytesIO()
    frame = np.arange(100_000, dtype=np.uint16).reshape(200, 500)
    parts = [bytes(range(256)) * 300, frame, frame[:2], b"few"]
    message.send(pipe, {"a": 1}, parts, room)
    assert len(pipe.getvalue()) < 3000
    pipe.seek(0)
    document, found = message.receive(pipe, room) or ({}, [])
    assert document == {"a": 1}
    assert found[0] == parts[0]
    assert np.array_equal(found[1], frame)
    assert np.array_equal(found[2], frame[:2])
    assert found[3] == b"few"
    room.close()


def test_a_room_without_memory_leaves_everything_to_the_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    room = SharedRoom.made()
    if room is None:
        pytest.skip("this system has no anonymous files in memory")
    monkeypatch.setattr(SharedRoom, "write", lambda *_: False)
    pipe = io.BytesIO()
    message.send(pipe, {}, [bytes(1 << 17)], room)
    pipe.seek(0)
    assert message.receive(pipe, room) == ({}, [bytes(1 << 17)])
    room.close()


def test_a_part_that_is_said_to_lie_in_no_room_is_refused() -> None:
    text = json.dumps({"document": {}, "parts": [{"bytes": 4, "at": 0}]}).encode()
    with pytest.raises(ValueError, match="nowhere"):
        message.receive(io.BytesIO(struct.pack(">Q", len(text)) + text))
