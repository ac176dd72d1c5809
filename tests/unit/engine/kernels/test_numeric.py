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
def _looked_up(table, values, out):
    for index in range(values.shape[0]):
        out[index] = numeric.table_at(table, values[index])


def test_logarithms_are_right_to_a_millionth_of_a_stop() -> None:
    values = np.concatenate([2.0 ** np.linspace(-30, 10, 5001), [1.0, 0.5, 2.0]]).astype(np.float32)
    out = np.empty_like(values)
    _logs(values, out)
    assert np.abs(out - np.log2(values.astype(np.float64))).max() < 3e-6
    assert (out[-3:] == [0, -1, 1]).all()
    _logs(np.zeros(1, np.float32), out[:1])
    assert out[0] < -90


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
