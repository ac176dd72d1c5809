"""Area weights and the passes that use them, against plain loops."""

import numpy as np
import pytest
from support.plain import resampling as plain

from archive.engine.kernels import sampling


@pytest.mark.parametrize(
    ("count", "start", "length", "samples", "pitch", "phase"),
    [(30, 0, 120, 60, 2, 0), (30, 0, 120, 60, 2, 1), (37, 5.5, 101, 160, 1, 0), (7, 0, 16, 8, 2, 1),
     (1, 0, 9, 9, 1, 0),
     (50, 0, 40, 40, 1, 0)],
)  # fmt: skip
def test_weights_sum_to_one_are_positive_and_centred(
    count: int, start: float, length: float, samples: int, pitch: int, phase: int
) -> None:
    first, weights = sampling.area_weights(count, start, length, samples, pitch, phase)
    assert first.min() >= 0
    assert (first + weights.shape[1]).max() <= samples
    assert np.allclose(weights.sum(axis=1), 1, atol=1e-6)
    assert weights.min() >= 0
    places = (first[:, None] + np.arange(weights.shape[1])) * pitch + phase + 0.5
    centres = start + (np.arange(count) + 0.5) * length / count
    inner = (centres > 2 * pitch + length / count) & (centres < samples * pitch - 2 * pitch - length / count)
    assert np.abs((weights * places).sum(axis=1) - centres)[inner].max(initial=0) < 1e-3


def test_whole_factors_of_a_picture_are_plain_block_means() -> None:
    first, weights = sampling.area_weights(20, 0, 60, 60, 1, 0)
    dense = np.zeros((20, 60))
    for row in range(20):
        dense[row, first[row] : first[row] + weights.shape[1]] = weights[row]
    assert np.allclose(dense[5, 15:18], 1 / 3, atol=1e-6)
    assert np.allclose(dense[5].sum(), 1)


@pytest.mark.parametrize(("pitch", "phase"), [(1, 0), (2, 0), (2, 1)])
@pytest.mark.parametrize("step", [0.3, 1.0, 1.37, 2.0, 3.9, 17.0])
@pytest.mark.parametrize("start", [0.0, 0.5, 7.3, -2.0])
def test_weights_are_those_of_plain_arithmetic(start: float, step: float, pitch: int, phase: int) -> None:
    """To the last bits of float32 weights below 1; inside the frame, at its rim, and beyond by two pixels."""
    side = 47
    count = max(1, int((side - start + 1) / step))
    samples = (side - phase + pitch - 1) // pitch
    first, weights = sampling.area_weights(count, start, count * step, samples, pitch, phase)
    dense = np.zeros((count, samples))
    for row in range(count):
        dense[row, first[row] : first[row] + weights.shape[1]] = weights[row]
    expected = plain.area_shares(count, start, count * step, samples, pitch, phase)
    assert np.abs(dense - expected).max() < 1e-7


def test_planes_are_averaged_as_plain_arithmetic_does() -> None:
    """To 2e-6 of clipping: sums of twenty products of light and shares that add up to 1."""
    planes = np.random.default_rng(4).uniform(0, 1, (3, 41, 63)).astype(np.float32)
    spans = (13, 1.5, 38.0, 41), (17, 2.25, 60.0, 63)
    (first_row, rows), (first_column, columns) = (sampling.area_weights(*span, 1, 0) for span in spans)
    out = np.empty((3, 13, 17), np.float32)
    sampling.reduce_planes(planes, first_row, rows, first_column, np.ascontiguousarray(columns.T), out, 0, 13)
    down, across = (plain.area_shares(*span) for span in spans)
    assert np.abs(out - down @ planes.astype(np.float64) @ across.T).max() < 2e-6


@pytest.mark.parametrize("shape", [(40, 60), (41, 63)])
@pytest.mark.parametrize(("rows", "columns"), [(9, 13), (14, 21), (20, 30), (3, 5), (1, 1)])
def test_the_mosaic_pass_equals_a_plain_sum(shape: tuple[int, int], rows: int, columns: int) -> None:
    random = np.random.default_rng(3)
    mosaic = random.integers(500, 15000, shape).astype(np.uint16)
    channels = np.array([1, 0, 2, 1], np.int32)
    blacks, scales = np.array([500, 510, 490, 505], np.float32), np.full(4, 1 / 14000, np.float32)
    caps = np.array([9000, 12000, 8000, 16000], np.float32)
    weighed = []
    for count, side in ((rows, shape[0]), (columns, shape[1])):
        pair = [sampling.area_weights(count, 0, side, (side - phase + 1) // 2, 2, phase) for phase in (0, 1)]
        taps = max(weights.shape[1] for _, weights in pair)
        padded = [np.pad(weights, ((0, 0), (0, taps - weights.shape[1]))) for _, weights in pair]
        weighed.append((np.stack([first for first, _ in pair]), np.stack(padded)))
    (first_row, row_weights), (first_column, column_weights) = weighed
    out = np.empty((3, rows, columns), np.float32)
    tables = first_row, row_weights, first_column, np.ascontiguousarray(column_weights.transpose(0, 2, 1))
    sampling.reduce_mosaic(mosaic, (channels, blacks, scales, caps), tables, out, 0, rows)
    expected = np.zeros((3, rows, columns))
    for place in range(4):
        down, across = divmod(place, 2)
        held = np.minimum(mosaic[down::2, across::2].astype(np.float64), caps[place])
        light = (held - blacks[place]) * scales[place]
        light = np.pad(light, ((0, 2), (0, 2)))
        for row in range(rows):
            for column in range(columns):
                y, x = first_row[down, row], first_column[across, column]
                part = light[y : y + row_weights.shape[2], x : x + column_weights.shape[2]]
                value = row_weights[down, row] @ part @ column_weights[across, column]
                expected[channels[place], row, column] += value * (0.5 if channels[place] == 1 else 1)
    assert np.abs(out - expected).max() < 1e-5
