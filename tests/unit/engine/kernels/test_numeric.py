"""Float32 functions against float64 ones."""

import numpy as np

from archive.engine.kernels import numeric
from archive.engine.kernels.compiled import kernel


@kernel
def _logs(values, out):
    for index in range(values.shape[0]):
        out[index] = numeric.log2(values[index])


@kernel
def _steps(values, out):
    for index in range(values.shape[0]):
        out[index] = numeric.smoothstep(values[index], np.float32(-1), np.float32(1))


@kernel
def _powers(values, out):
    for index in range(values.shape[0]):
        out[index] = numeric.exp2(values[index])


@kernel
def _looked_up(table, values, out):
    numeric.look_up(table, values, np.empty(values.shape[0], np.int32), out)


def test_logarithms_are_right_to_a_millionth_of_a_stop() -> None:
    values = np.concatenate([2.0 ** np.linspace(-30, 10, 5001), [1.0, 0.5, 2.0]]).astype(np.float32)
    out = np.empty_like(values)
    _logs(values, out)
    assert np.abs(out - np.log2(values.astype(np.float64))).max() < 3e-6
    assert (out[-3:] == [0, -1, 1]).all()
    _logs(np.zeros(1, np.float32), out[:1])
    assert out[0] < -90


def test_powers_of_two_are_right_to_a_few_bits() -> None:
    values = np.concatenate([np.linspace(-30, 30, 6001), [0.0, 1.0, -3.0]]).astype(np.float32)
    out = np.empty_like(values)
    _powers(values, out)
    assert np.abs(out / 2.0 ** values.astype(np.float64) - 1).max() < 5e-7
    assert (out[-3:] == [1, 2, 0.125]).all()
    _powers(np.array([-1e9, 1e9], np.float32), out[:2])
    assert out[:2].tolist() == [2.0**-60, 2.0**60]


def test_smooth_steps_run_from_0_to_1() -> None:
    values = np.array([-9, -1, 0, 1, 9], np.float32)
    out = np.empty_like(values)
    _steps(values, out)
    assert out.tolist() == [0, 0, 0.5, 1, 1]


def test_tables_are_read_between_entries_and_held_at_the_ends() -> None:
    table = np.array([1, 3, 4], np.float32)
    values = np.array([-5, 0, 0.5, 1.25, 2, 7], np.float32)
    out = np.empty_like(values)
    _looked_up(table, values, out)
    assert out.tolist() == [1, 1, 2, 3.25, 4, 4]
