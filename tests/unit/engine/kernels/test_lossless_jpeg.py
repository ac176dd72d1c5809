"""Entropy-coded lossless JPEG, against an encoder written plainly from ITU-T T.81."""

import numpy as np
import numpy.typing as npt
import pytest
from support.dngs import FLAT, STEEP, entropy_coded, lossless_differences

from archive.engine.kernels import lossless_jpeg as kernels

Code = tuple[tuple[int, ...], tuple[int, ...]]


def table(code: Code) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int64], npt.NDArray[np.int64], int]:
    counts, symbols = np.array(code[0], np.int64), np.array(code[1], np.int64)
    made = np.empty(1 << kernels.LOOK, np.int32)
    return made, counts, symbols, int(kernels.fill_table(counts, symbols, made))


def unstuffed(data: bytes) -> npt.NDArray[np.uint8]:
    out = np.empty(len(data) + kernels.PADDING + 4096, np.uint8)
    filled = int(kernels.unstuffed(np.frombuffer(data, np.uint8), 0, len(data), out))
    return out[: filled + kernels.PADDING]


def rows(seed: int, bits: int = 14, width: int = 24) -> npt.NDArray[np.int_]:
    return np.random.default_rng(seed).integers(0, 1 << bits, (9, width))


def test_a_table_knows_short_codes_and_leaves_long_ones() -> None:
    made, _, _, most = table(STEEP)
    assert most == 32 - 1
    # The shortest code is one zero bit and means seven bits of difference.
    assert made[0] == (1 << 16) | (7 << 8) | 8
    assert made[-1] == 0
    assert table(FLAT)[3] == 5 + 15


@pytest.mark.parametrize(
    "code", [((3,) + (0,) * 15, (0, 1, 2)), ((1,) + (0,) * 15, (17,)), ((0, 2) + (0,) * 14, (1,))]
)
def test_counts_that_are_no_code_are_refused(code: Code) -> None:
    assert table(code)[3] == -1


def test_stuffed_zeros_go_and_a_marker_ends_the_stream() -> None:
    data = b"\x01\xff\x00\x02" * 9 + b"\x03\x04\xff\xd9\x05\x06"
    assert unstuffed(data)[: -kernels.PADDING].tobytes() == b"\x01\xff\x02" * 9 + b"\x03\x04"
    assert not unstuffed(data)[-kernels.PADDING :].any()


@pytest.mark.parametrize("code", [FLAT, STEEP])
@pytest.mark.parametrize("predictor", range(1, 8))
@pytest.mark.parametrize("components", [1, 2, 3])
def test_every_predictor_and_number_of_components_comes_back_exactly(
    code: Code, predictor: int, components: int
) -> None:
    samples = rows(predictor)
    stream = unstuffed(entropy_coded(lossless_differences(samples, components, predictor, 14), code))
    made, counts, symbols, _ = table(code)
    out = np.empty((9, 25), np.uint16)[:, :24]
    used = np.zeros(2, np.int64)
    kernels.decode_any(
        stream, np.stack([made] * components), np.stack([counts] * components),
        np.stack([symbols] * components), components, predictor, 1 << 13, out, used,
    )  # fmt: skip
    assert np.array_equal(out, samples)
    assert (used[0] + 7) // 8 == stream.size - kernels.PADDING
    assert used[1] == np.bitwise_or.reduce(samples.ravel())


def test_differences_of_sixteen_bits_come_back_exactly() -> None:
    samples = np.array([[0, 32768, 0, 65535], [32767, 65535, 1, 32769]])
    differences = lossless_differences(samples, 1, 1, 16)
    assert 32768 in differences or -32768 % 65536 in differences % 65536
    stream = unstuffed(entropy_coded(differences, FLAT))
    made, counts, symbols, _ = table(FLAT)
    out = np.empty((2, 5), np.uint16)[:, :4]
    kernels.decode_any(
        stream, made[None], counts[None], symbols[None], 1, 1, 1 << 15, out, np.zeros(2, np.int64)
    )
    assert np.array_equal(out, samples)


def pair(one: npt.NDArray[np.uint8], two: npt.NDArray[np.uint8]) -> tuple[npt.NDArray[np.uint16], ...]:
    made, counts, symbols, _ = table(FLAT)
    outs = [np.empty((9, 25), np.uint16)[:, :24] for _ in range(2)]
    used = np.zeros(4, np.int64)
    kernels.decode_pair(
        one, made, counts, symbols, outs[0], two, made, counts, symbols, outs[1], np.uint64(1 << 13), used
    )
    return outs[0], outs[1], used.view()


def test_two_streams_at_once_are_the_same_as_each_alone() -> None:
    first, second = rows(1), rows(2)
    streams = [
        unstuffed(entropy_coded(lossless_differences(each, 2, 1, 14), FLAT)) for each in (first, second)
    ]
    one, two, used = pair(streams[0], streams[1])
    assert np.array_equal(one, first)
    assert np.array_equal(two, second)
    assert used[2] | used[3] == np.bitwise_or.reduce(np.r_[first.ravel(), second.ravel()])


def test_a_stream_that_ends_early_is_noticed() -> None:
    whole = entropy_coded(lossless_differences(rows(1), 2, 1, 14), FLAT)
    assert pair(unstuffed(whole), unstuffed(whole[:-8]))[2][0] == -1
    assert pair(unstuffed(whole[:-8]), unstuffed(whole))[2][0] == -1


@pytest.mark.parametrize("bits", [10, 12, 14])
def test_packed_bits_come_back_exactly(bits: int) -> None:
    samples = rows(bits, bits, 23)
    packed = b"".join(
        int("".join(f"{value:0{bits}b}" for value in row).ljust(-(-23 * bits // 8) * 8, "0"), 2).to_bytes(
            -(-23 * bits // 8), "big"
        )
        for row in samples
    )
    out = np.empty((9, 23), np.uint16)
    data = np.frombuffer(b"xyz" + packed, np.uint8)
    kernels.unpack_bits(data, 3, -(-23 * bits // 8), bits, out)
    assert np.array_equal(out, samples)
