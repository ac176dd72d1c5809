"""Losslessly compressed strips and tiles of a DNG → its mosaic; in the worker."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine.dng import Layout, Mosaic, Piece
from archive.engine.kernels import lossless_jpeg as kernels

Bytes = npt.NDArray[np.uint8]

_START, _LOSSLESS, _TABLES, _RESTART, _SCAN = 0xD8, 0xC3, 0xC4, 0xDD, 0xDA
_MOST_COMPONENTS = 4


@dataclass(frozen=True, kw_only=True)
class _Code:
    """One Huffman code, ready to be looked up; ``quick`` when two symbols fit into one reading."""

    table: npt.NDArray[np.int32]
    counts: npt.NDArray[np.int64]
    symbols: npt.NDArray[np.int64]
    quick: bool


@dataclass(frozen=True, kw_only=True)
class _Stream:
    """What a stream's header says; its entropy-coded bytes begin at ``start``."""

    piece: Piece
    precision: int
    rows: int
    samples: int
    components: int
    predictor: int
    codes: tuple[_Code, ...]
    start: int

    @property
    def quick(self) -> bool:
        same = all(code is self.codes[0] for code in self.codes)
        return self.components == 2 and self.predictor == 1 and same and self.codes[0].quick


def decode_into(data: bytes, layout: Layout, out: Mosaic) -> bool:
    """Fill a mosaic from its compressed pieces; whether all of them were sound and of a kind known here."""
    codes: dict[bytes, _Code | None] = {}
    streams = []
    for piece in layout.pieces:
        stream = _header(data, piece, codes)
        if stream is None or stream.rows * stream.samples != piece.width * piece.height:
            return False
        streams.append(stream)
    source = np.frombuffer(data, np.uint8)
    # A row of a broken stream is read to its end, 4 bytes a sample at most, before the fault is noticed.
    room = max(each.piece.length + 4 * each.samples for each in streams) + kernels.PADDING
    spare = [np.empty(room, np.uint8) for _ in range(2)]
    place = 0
    while place < len(streams):
        one = streams[place]
        two = streams[place + 1] if place + 1 < len(streams) else None
        if two is not None and one.quick and two.quick and _alike(one, two):
            if not _pair(source, one, two, spare, out) and not (
                _single(source, one, spare[0], out) and _single(source, two, spare[0], out)
            ):
                return False
            place += 2
            continue
        if not _single(source, one, spare[0], out):
            return False
        place += 1
    return True


def _alike(one: _Stream, two: _Stream) -> bool:
    first = (one.rows, one.samples, one.precision, one.piece.height)
    return first == (two.rows, two.samples, two.precision, two.piece.height)


def _header(data: bytes, piece: Piece, known: dict[bytes, _Code | None]) -> _Stream | None:
    place, end = piece.start, piece.start + piece.length
    if data[place : place + 2] != bytes((0xFF, _START)):
        return None
    place += 2
    frame = b""
    tables: dict[int, _Code] = {}
    while place + 4 <= end and data[place] == 0xFF:
        marker, length = data[place + 1], int.from_bytes(data[place + 2 : place + 4], "big")
        body = bytes(data[place + 4 : place + 2 + length])
        place += 2 + length
        if length < 2 or place > end:
            return None
        if marker == _LOSSLESS and not frame:
            frame = body
        elif marker == _TABLES:
            if not _read_tables(body, tables, known):
                return None
        elif marker == _SCAN:
            return _stream(piece, frame, body, tables, place)
        elif marker == _RESTART or not 0xE0 <= marker <= 0xEF:
            return None
    return None


def _read_tables(body: bytes, tables: dict[int, _Code], known: dict[bytes, _Code | None]) -> bool:
    place = 0
    while place < len(body):
        count = sum(body[place + 1 : place + 17])
        form = body[place + 1 : place + 17 + count]
        if len(form) < 16 + count or body[place] > 3:
            return False
        if form not in known:
            known[form] = _code(form)
        code = known[form]
        if code is None:
            return False
        tables[body[place]] = code
        place += 17 + count
    return True


def _code(form: bytes) -> _Code | None:
    counts = np.frombuffer(form, np.uint8, 16).astype(np.int64)
    symbols = np.frombuffer(form, np.uint8, offset=16).astype(np.int64)
    table = np.empty(1 << kernels.LOOK, np.int32)
    most = int(kernels.fill_table(counts, symbols, table))
    if most < 1:
        return None
    quick = most <= kernels.LONGEST_PAIR and int(symbols.max()) < 16
    return _Code(table=table, counts=counts, symbols=symbols, quick=quick)


def _stream(piece: Piece, frame: bytes, scan: bytes, tables: dict[int, _Code], start: int) -> _Stream | None:
    if len(frame) < 6 or not scan:
        return None
    components = frame[5]
    if not 1 <= components <= _MOST_COMPONENTS or len(frame) != 6 + 3 * components:
        return None
    # Every component sampled alike, all in one scan in the frame's order.
    sampled = {frame[7 + 3 * index] for index in range(components)}
    if sampled != {0x11} or scan[0] != components or len(scan) != 4 + 2 * components:
        return None
    identities = [frame[6 + 3 * index] for index in range(components)]
    if [scan[1 + 2 * index] for index in range(components)] != identities:
        return None
    chosen = [tables.get(scan[2 + 2 * index] >> 4) for index in range(components)]
    predictor, shift = scan[1 + 2 * components], scan[3 + 2 * components]
    codes = tuple(code for code in chosen if code is not None)
    if len(codes) != components or not 1 <= predictor <= 7 or shift != 0 or not 2 <= frame[0] <= 16:
        return None
    return _Stream(
        piece=piece, precision=frame[0], rows=int.from_bytes(frame[1:3], "big"),
        samples=int.from_bytes(frame[3:5], "big") * components, components=components, predictor=predictor,
        codes=codes, start=start,
    )  # fmt: skip


def _unstuffed(source: Bytes, stream: _Stream, spare: Bytes) -> Bytes:
    end = stream.piece.start + stream.piece.length
    filled = int(kernels.unstuffed(source, stream.start, end, spare))
    return spare[: filled + kernels.PADDING]


def _target(stream: _Stream, out: Mosaic) -> Mosaic:
    """Where a stream's samples go: the mosaic itself, or room of its own for what is cut or folded."""
    piece = stream.piece
    part = out[piece.top : piece.top + piece.height, piece.left : piece.left + piece.width]
    if part.shape == (stream.rows, stream.samples):
        return part
    # One kind of memory layout for the kernels, so that they are compiled once.
    return np.empty((stream.rows, stream.samples + 1), np.uint16)[:, :-1]


def _settle(stream: _Stream, target: Mosaic, out: Mosaic) -> None:
    piece = stream.piece
    part = out[piece.top : piece.top + piece.height, piece.left : piece.left + piece.width]
    if not np.shares_memory(target, out):
        # A stream's rows may be folded otherwise than its tile's; the order of samples is the same.
        part[:] = target.reshape(piece.height, piece.width)[: part.shape[0], : part.shape[1]]


def _pair(source: Bytes, one: _Stream, two: _Stream, spare: list[Bytes], out: Mosaic) -> bool:
    first, second = _unstuffed(source, one, spare[0]), _unstuffed(source, two, spare[1])
    into = _target(one, out), _target(two, out)
    used = np.zeros(4, np.int64)
    left, right = one.codes[0], two.codes[0]
    kernels.decode_pair(
        first, left.table, left.counts, left.symbols, into[0],
        second, right.table, right.counts, right.symbols, into[1],
        np.uint64(1 << (one.precision - 1)), used,
    )  # fmt: skip
    if used[0] < 0 or int(used[2] | used[3]) >> one.precision:
        return False
    _settle(one, into[0], out)
    _settle(two, into[1], out)
    return True


def _single(source: Bytes, stream: _Stream, spare: Bytes, out: Mosaic) -> bool:
    bits = _unstuffed(source, stream, spare)
    into = _target(stream, out)
    used = np.zeros(2, np.int64)
    longest = max(code.symbols.size for code in stream.codes)
    symbols = np.stack([np.pad(code.symbols, (0, longest - code.symbols.size)) for code in stream.codes])
    kernels.decode_any(
        bits, np.stack([code.table for code in stream.codes]),
        np.stack([code.counts for code in stream.codes]), symbols, stream.components, stream.predictor,
        1 << (stream.precision - 1), into, used,
    )  # fmt: skip
    if used[0] < 0 or int(used[1]) >> stream.precision:
        return False
    _settle(stream, into, out)
    return True
