"""Which counters count."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.journal.counters import LAST, STRIDE, greatest


@pytest.mark.parametrize(
    ("held", "counts"),
    [
        ([], 0),
        ([1], 1),
        ([3, 1, 2], 3),
        ([7], 7),
        ([STRIDE], STRIDE),
        ([STRIDE + 1], 0),
        ([1, STRIDE + 1], STRIDE + 1),
        ([1, STRIDE + 2], 1),
        ([1, LAST], 1),
        ([1, STRIDE, 2 * STRIDE, 2 * STRIDE + 1, 4 * STRIDE], 2 * STRIDE + 1),
    ],
)
def test_the_greatest_counter_that_can_be_come_to_counts(held: list[int], counts: int) -> None:
    assert greatest(held) == counts


counters = st.lists(st.integers(1, LAST) | st.integers(1, 5 * STRIDE))


@given(counters, counters)
def test_with_more_entries_the_bound_never_falls(some: list[int], more: list[int]) -> None:
    assert greatest(some) <= greatest(some + more)


@given(counters)
def test_order_and_repetition_mean_nothing_and_what_counts_is_within_a_stride(held: list[int]) -> None:
    bound = greatest(held)
    assert greatest([*reversed(held), *held]) == bound
    below = [0, *sorted({each for each in held if each <= bound})]
    assert all(after - before <= STRIDE for before, after in pairwise(below))
    assert all(each - bound > STRIDE for each in held if each > bound)
