"""XXH3-128 of streams, against the published test vectors of the algorithm's specification."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import xxhash

from archive.store.digest import BLOCK, Digester, blocks, digest_at, digest_bytes, digest_stream

DATA = bytes(range(251)) * 40_000


class Plain:
    """A stream that can only read."""

    def __init__(self, data: bytes) -> None:
        self._stream = io.BytesIO(data)

    def read(self, size: int) -> bytes:
        return self._stream.read(size)


def test_the_digest_of_nothing_is_the_one_of_the_specification() -> None:
    # xxHash fast digest algorithm, XXH3-128 of the empty input with seed 0, canonical form.
    assert digest_bytes(b"") == "xxh128:99aa06d3014798d86001c324468d497f"


@pytest.mark.parametrize("size", [0, 1, 240, 241, BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK])
def test_a_stream_has_the_digest_and_length_of_its_bytes_however_it_is_cut(size: int) -> None:
    data = DATA[:size]
    wanted = ("xxh128:" + xxhash.xxh3_128_hexdigest(data), size)
    assert digest_stream(io.BytesIO(data)) == wanted
    assert digest_stream(Plain(data)) == wanted  # type: ignore[arg-type]
    assert digest_bytes(data) == wanted[0]


def test_a_digest_can_be_asked_for_between_blocks() -> None:
    digester = Digester()
    digester.update(b"ab")
    assert (digester.id, digester.size) == (digest_bytes(b"ab"), 2)
    digester.update(memoryview(b"cd"))
    assert (digester.id, digester.size) == (digest_bytes(b"abcd"), 4)


def test_blocks_join_to_the_whole_stream() -> None:
    assert b"".join(bytes(block) for block in blocks(io.BytesIO(DATA), 7777)) == DATA


def test_only_what_is_left_in_a_stream_counts() -> None:
    stream = io.BytesIO(b"skipped" + DATA)
    stream.seek(7)
    assert digest_stream(stream) == (digest_bytes(DATA), len(DATA))


def test_a_file_on_a_card_is_read_where_it_lies(tmp_path: Path) -> None:
    (tmp_path / "NOCT0001.DNG").write_bytes(DATA)
    assert digest_at(tmp_path / "NOCT0001.DNG") == digest_bytes(DATA)
