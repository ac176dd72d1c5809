from __future__ import annotations

import threading
import time

import pytest

from archive.exports.ordered import default_threads, in_order


def test_results_come_in_the_order_of_the_items() -> None:
    def work(item: int) -> int:
        time.sleep(0.002 * (item % 3))
        return item * item

    answers = [(item, result()) for item, result in in_order(range(20), work, 4)]
    assert answers == [(item, item * item) for item in range(20)]


def test_a_failure_is_raised_where_its_result_is_taken_and_the_others_come() -> None:
    def work(item: int) -> int:
        if item == 2:
            raise ValueError("two")
        return item

    taken = []
    for item, result in in_order(range(5), work, 2):
        if item == 2:
            with pytest.raises(ValueError, match="two"):
                result()
        else:
            taken.append(result())
    assert taken == [0, 1, 3, 4]


def test_never_more_than_two_results_a_thread_wait() -> None:
    lock = threading.Lock()
    ahead = greatest = 0

    def work(item: int) -> int:
        nonlocal ahead, greatest
        with lock:
            ahead += 1
            greatest = max(greatest, ahead)
        return item

    for _, result in in_order(range(100), work, 3):
        result()
        with lock:
            ahead -= 1
    assert greatest <= 2 * 3 + 1


def test_leaving_early_ends_the_work() -> None:
    done: list[int] = []
    for _ in in_order(range(1000), done.append, 2):
        break
    assert len(done) < 100


def test_there_is_at_least_one_thread() -> None:
    assert default_threads() >= 1
