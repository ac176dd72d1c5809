"""Work that follows other work."""

from __future__ import annotations

import threading

import pytest

from archive.ingest.stages import Inline, StageMaker, Threaded, inline, threaded


@pytest.mark.parametrize("maker", [inline, threaded])
def test_pieces_are_done_in_the_order_they_were_put(maker: StageMaker) -> None:
    done: list[int] = []
    stage = maker("count", 3, 1000)
    for number in range(50):
        stage.put(lambda number=number: done.append(number), 1)  # type: ignore[misc]
    stage.close()
    assert done == list(range(50))


def test_inline_work_is_done_when_put_comes_back() -> None:
    done: list[int] = []
    stage = Inline()
    stage.put(lambda: done.append(1))
    assert done == [1]


def blocked(stage: Threaded) -> tuple[threading.Event, threading.Event]:
    """A stage whose thread is at work until the second event is set."""
    begun, go = threading.Event(), threading.Event()

    def work() -> None:
        begun.set()
        assert go.wait(30)

    stage.put(work)
    assert begun.wait(30)
    return begun, go


@pytest.mark.parametrize(("most", "heaviest", "weight"), [(2, 1000, 0), (1000, 20, 10)])
def test_no_more_is_put_than_may_wait(most: int, heaviest: int, weight: int) -> None:
    stage = Threaded("slow", most=most, heaviest=heaviest)
    _, go = blocked(stage)
    done: list[int] = []
    for number in range(2):
        stage.put(lambda number=number: done.append(number), weight)  # type: ignore[misc]
    putting = threading.Thread(target=lambda: stage.put(lambda: done.append(2), weight))
    putting.start()
    putting.join(0.05)
    assert putting.is_alive()
    go.set()
    putting.join(30)
    stage.close()
    assert done == [0, 1, 2]


def test_a_piece_that_is_too_heavy_for_any_queue_goes_alone() -> None:
    stage = Threaded("heavy", most=5, heaviest=10)
    done: list[int] = []
    stage.put(lambda: done.append(1), 1000)
    stage.close()
    assert done == [1]


def test_an_error_that_escapes_is_given_to_who_closes_and_later_work_is_done() -> None:
    stage = Threaded("failing", most=5, heaviest=10)
    _, go = blocked(stage)
    done: list[int] = []
    stage.put(lambda: 1 // 0)  # type: ignore[arg-type,return-value]
    stage.put(lambda: done.append(1))
    go.set()
    with pytest.raises(ZeroDivisionError):
        stage.close()
    assert done == [1]
