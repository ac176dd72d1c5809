"""Lossless JPEG (ITU-T T.81, process 14): the entropy-coded samples of one or two streams at a time.

A decoder of one stream waits for each symbol's length before it can find the next; two streams that are
decoded in turn hide each other's waiting.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel

LOOK = 11
"""Bits that the table of codes is looked up with."""
PADDING = 16
"""Bytes of zeros that follow a stream, which the decoders may read ahead into."""
LONGEST_PAIR = 28
"""Bits of code and difference up to which two symbols fit into one reading of 57 bits."""

_CODE_SHIFT, _SIZE_SHIFT = 16, 8


@kernel
def fill_table(counts, symbols, table):  # type: ignore[no-untyped-def]
    """Look-up of codes by their first ``LOOK`` bits; answers the most bits of a code and its difference.

    counts : int64, (16,), codes of each length 1 to 16; symbols : int64, their meanings in order.
    table : int32, (1 << LOOK,): length of code << 16 | bits of difference << 8 | both; 0 for longer codes.
        −1 is answered when the counts are no code.
    """
    table[:] = 0
    code = 0
    place = 0
    most = 0
    for length in range(1, 17):
        for _ in range(counts[length - 1]):
            if place >= symbols.shape[0] or code >= (1 << length) or symbols[place] > 16:
                return -1
            # Sixteen bits of difference stand for 32768 alone and none follow (T.81, H.1.2.2).
            size = symbols[place] if symbols[place] < 16 else 0
            place += 1
            most = max(most, length + size)
            if length <= LOOK:
                entry = (length << _CODE_SHIFT) | (symbols[place - 1] << _SIZE_SHIFT) | (length + size)
                low = code << (LOOK - length)
                for fill in range(1 << (LOOK - length)):
                    table[low + fill] = entry
            code += 1
        code <<= 1
    return most


@kernel
def unstuffed(data, start, end, out):  # type: ignore[no-untyped-def]
    """Copy entropy-coded bytes without the zeros stuffed behind 0xFF, up to the first marker; their number.

    out : uint8, at least ``end − start + PADDING`` long; zeros are written behind the copy.
    """
    place = np.uintp(start)
    stop = np.uintp(end)
    filled = np.uintp(0)
    eight = np.uintp(8)
    while place < stop:
        if place + eight <= stop:
            marks = np.uint8(0)
            for k in range(8):
                byte = data[place + np.uintp(k)]
                marks |= np.uint8(byte == np.uint8(255))
                out[filled + np.uintp(k)] = byte
            if marks == np.uint8(0):
                place += eight
                filled += eight
                continue
        for _ in range(8):
            if place >= stop:
                break
            byte = data[place]
            place += np.uintp(1)
            if byte == np.uint8(255):
                if place < stop and data[place] != np.uint8(0):
                    place = stop
                    break
                place += np.uintp(1)
            out[filled] = byte
            filled += np.uintp(1)
    for k in range(PADDING):
        out[filled + np.uintp(k)] = 0
    return np.int64(filled)


@inlined
def _bits(stream, position):  # type: ignore[no-untyped-def]
    """At least 57 bits of a stream from a bit position on, left-aligned in a uint64."""
    byte = np.uintp(position >> np.uint64(3))
    value = np.uint64(0)
    for k in range(8):
        value = (value << np.uint64(8)) | np.uint64(stream[byte + np.uintp(k)])
    return value << (position & np.uint64(7))


@kernel
def _long_entry(bits, counts, symbols):  # type: ignore[no-untyped-def]
    """The table entry of a code longer than ``LOOK`` bits; 0 when no code begins so."""
    place = 0
    first = 0
    for length in range(1, 17):
        code = np.int64(bits >> np.uint64(64 - length))
        if code - first < counts[length - 1]:
            symbol = symbols[place + code - first]
            size = symbol if symbol < 16 else 0
            return np.int32((length << _CODE_SHIFT) | (symbol << _SIZE_SHIFT) | (length + size))
        place += counts[length - 1]
        first = (first + counts[length - 1]) << 1
    return np.int32(0)


@inlined
def _difference(bits, entry):  # type: ignore[no-untyped-def]
    """The difference that follows a code (T.81, H.1.2.2), modulo 2⁶⁴; for sizes below 16."""
    rest = bits << np.uint64(entry >> _CODE_SHIFT)
    size = np.uint64((entry >> _SIZE_SHIFT) & 255)
    value = (rest >> np.uint64(1)) >> (np.uint64(63) - size)
    negative = (rest >> np.uint64(63)) - np.uint64(1)
    return value - (negative & ((np.uint64(1) << size) - np.uint64(1)))


@kernel
def decode_pair(  # type: ignore[no-untyped-def]
    one, one_table, one_counts, one_symbols, one_out,
    two, two_table, two_counts, two_symbols, two_out, middle, used,
):  # fmt: skip
    """Two streams of two components each, predictor 1, at once.

    one, two : uint8, unstuffed streams followed by ``PADDING`` zeros. one_out, two_out : uint16, (rows,
    samples), of equal, even width. middle : uint64, half the range. used : int64, (4,): the bits read of
    both, then all values of each stream combined by or; −1 bits when a code was unknown or data ran out.
    """
    shift = np.uint64(64 - LOOK)
    at_one = np.uint64(0)
    at_two = np.uint64(0)
    end_one = np.uint64(8 * (one.shape[0] - PADDING))
    end_two = np.uint64(8 * (two.shape[0] - PADDING))
    up_a, up_b, up_c, up_d = middle, middle, middle, middle
    seen_one = np.uint64(0)
    seen_two = np.uint64(0)
    unknown = False
    for row in range(one_out.shape[0]):
        line_one, line_two = one_out[row], two_out[row]
        a, b, c, d = up_a, up_b, up_c, up_d
        for column in range(one_out.shape[1] // 2):
            x = np.uintp(2 * column)
            bits_one, bits_two = _bits(one, at_one), _bits(two, at_two)
            entry_one, entry_two = one_table[bits_one >> shift], two_table[bits_two >> shift]
            if entry_one == 0:
                entry_one = _long_entry(bits_one, one_counts, one_symbols)
                unknown |= entry_one == 0
            if entry_two == 0:
                entry_two = _long_entry(bits_two, two_counts, two_symbols)
                unknown |= entry_two == 0
            a += _difference(bits_one, entry_one)
            c += _difference(bits_two, entry_two)
            length_one, length_two = np.uint64(entry_one & 255), np.uint64(entry_two & 255)
            bits_one <<= length_one
            bits_two <<= length_two
            at_one += length_one
            at_two += length_two
            line_one[x] = np.uint16(a)
            line_two[x] = np.uint16(c)
            second_one, second_two = one_table[bits_one >> shift], two_table[bits_two >> shift]
            if second_one == 0:
                second_one = _long_entry(bits_one, one_counts, one_symbols)
                unknown |= second_one == 0
            if second_two == 0:
                second_two = _long_entry(bits_two, two_counts, two_symbols)
                unknown |= second_two == 0
            b += _difference(bits_one, second_one)
            d += _difference(bits_two, second_two)
            at_one += np.uint64(second_one & 255)
            at_two += np.uint64(second_two & 255)
            line_one[x + np.uintp(1)] = np.uint16(b)
            line_two[x + np.uintp(1)] = np.uint16(d)
            seen_one |= a | b
            seen_two |= c | d
            if column == 0:
                up_a, up_b, up_c, up_d = a, b, c, d
        if unknown or at_one > end_one or at_two > end_two:
            used[0] = -1
            return
    used[0], used[1] = np.int64(at_one), np.int64(at_two)
    used[2], used[3] = np.int64(seen_one), np.int64(seen_two)


@kernel
def decode_any(stream, tables, counts, symbols, components, predictor, middle, out, used):  # type: ignore[no-untyped-def]
    """One stream of any number of interleaved components and any predictor 1 to 7.

    stream : uint8, unstuffed, followed by ``PADDING`` zeros. tables : int32, (components, 1 << LOOK).
    counts, symbols : int64, (components, 16) and (components, most). middle : half the range.
    out : uint16, (rows, samples). used : int64, (2,): the bits read, or −1 as above; all values by or.
    """
    shift = np.uint64(64 - LOOK)
    at = np.uint64(0)
    end = np.uint64(8 * (stream.shape[0] - PADDING))
    seen = 0
    for row in range(out.shape[0]):
        line = out[row]
        above = out[max(row - 1, 0)]
        for column in range(out.shape[1]):
            component = column % components
            bits = _bits(stream, at)
            entry = tables[component, bits >> shift]
            if entry == 0:
                entry = _long_entry(bits, counts[component], symbols[component])
            if entry == 0:
                used[0] = -1
                return
            if (entry >> _SIZE_SHIFT) & 255 == 16:
                difference: np.int64 = np.int64(32768)
            else:
                difference = np.int64(_difference(bits, entry))
            at += np.uint64(entry & 255)
            if column < components:
                predicted = np.int64(above[column]) if row > 0 else np.int64(middle)
            else:
                predicted = np.int64(line[column - components])
                if row > 0 and predictor > 1:
                    up, corner = np.int64(above[column]), np.int64(above[column - components])
                    predicted = _predicted(predictor, predicted, up, corner)
            value = (predicted + difference) & 0xFFFF
            seen |= int(value)
            line[column] = np.uint16(value)
        if at > end:
            used[0] = -1
            return
    used[0], used[1] = np.int64(at), seen


@inlined
def _predicted(predictor, left, up, corner):  # type: ignore[no-untyped-def]
    """T.81, table H.1."""
    if predictor == 2:
        return up
    if predictor == 3:
        return corner
    if predictor == 4:
        return left + up - corner
    if predictor == 5:
        return left + ((up - corner) >> 1)
    if predictor == 6:
        return up + ((left - corner) >> 1)
    return (left + up) >> 1


@kernel
def unpack_bits(data, start, pitch, bits, out):  # type: ignore[no-untyped-def]
    """Rows of samples packed most significant bit first; each row begins on a byte.

    data : uint8. start, pitch : first byte of the first row, bytes from row to row. out : uint16.
    """
    for row in range(out.shape[0]):
        place = start + row * pitch
        held = np.int64(0)
        count = 0
        for column in range(out.shape[1]):
            while count < bits:
                held = ((held << 8) | np.int64(data[place])) & 0xFFFFFF
                place += 1
                count += 8
            count -= bits
            out[row, column] = np.uint16((held >> count) & ((1 << bits) - 1))
