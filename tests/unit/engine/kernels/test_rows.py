"""Bands of rows."""

import threading

import pytest

from archive.engine.kernels.rows import BAND, Rows


@pytest.mark.parametrize("height", [0, 1, BAND - 1, BAND, BAND + 1, 5 * BAND + 7])
@pytest.mark.parametrize("threads", [1, 3])
def test_every_row_is_written_once_in_bands_that_threads_share_evenly(height: int, threads: int) -> None:
    seen: list[tuple[int, int]] = []
    lock = threading.Lock()

    def kernel(argument: str, first: int, last: int) -> None:
        assert argument == "x"
        with lock:
            seen.append((first, last))

    with Rows(threads) as rows:
        rows.run(kernel, height, "x")
    assert [row for first, last in sorted(seen) for row in range(first, last)] == list(range(height))
    sizes = [last - first for first, last in sorted(seen)]
    assert max(sizes, default=0) <= BAND
    assert height < threads or len(sizes) % threads == 0


def test_a_chain_does_all_its_steps_on_a_band_before_the_next() -> None:
    seen: list[tuple[str, int, int]] = []

    def kernel(name: str, first: int, last: int) -> None:
        seen.append((name, first, last))

    with Rows(1) as rows:
        rows.chain([(kernel, ("one",)), (kernel, ("two",))], 20, 100_000)
        assert seen[:3] == [("one", 0, 8), ("two", 0, 8), ("one", 8, 16)]
        assert seen[-1] == ("two", 16, 20)
        seen.clear()
        rows.chain([], 20, 10)
        assert not seen


def test_a_test_may_choose_other_bands() -> None:
    seen: list[tuple[int, int]] = []
    with Rows(1, band=3) as rows:
        rows.run(lambda first, last: seen.append((first, last)), 7)
    assert seen == [(0, 3), (3, 6), (6, 7)]


def test_a_fault_in_one_band_is_raised() -> None:
    def kernel(first: int, last: int) -> None:
        if first:
            raise ZeroDivisionError

    for threads in (1, 2):
        with Rows(threads) as rows, pytest.raises(ZeroDivisionError):
            rows.run(kernel, 3 * BAND)
