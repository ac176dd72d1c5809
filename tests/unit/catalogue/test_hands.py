"""Further processes: the same answers in the same order, whatever becomes of them."""

from __future__ import annotations

import builtins
import marshal
import math
import os
import signal
from collections.abc import Iterator
from io import BytesIO

import pytest

from archive.catalogue.hands import Hand, Hands, hands_of_this_machine, serve


@pytest.fixture(scope="module")
def two() -> Iterator[Hands]:
    with Hands(2, alone_s=0) as hands:
        yield hands


def test_answers_come_in_the_order_of_the_jobs_from_other_processes(two: Hands) -> None:
    assert list(two.each(math.factorial, [(n,) for n in range(40)])) == [math.factorial(n) for n in range(40)]
    assert list(two.each(math.factorial, [])) == []
    pids = list(two.each(os.getpid, [()] * 6))
    assert os.getpid() not in pids
    assert len(set(pids)) == 2


def test_an_answer_larger_than_a_pipe_holds_comes_whole(two: Hands) -> None:
    jobs = [([[n] * 50_000 for n in range(size)],) for size in (3, 1, 2, 0)]
    assert list(two.each(builtins.list, jobs)) == [job[0] for job in jobs]


def test_what_fails_there_fails_here(two: Hands) -> None:
    with pytest.raises(ValueError, match="negative"):
        list(two.each(math.factorial, [(1,), (-1,), (2,)]))
    assert list(two.each(math.factorial, [(3,)])) == [6], "answers that nobody took are not mixed up"


def test_what_cannot_be_sent_or_answered_is_done_here(two: Hands) -> None:
    assert list(two.each(builtins.type, [(1,), (self := object(),)])) == [int, type(self)]


def test_a_process_that_was_killed_is_done_without() -> None:
    with Hands(2, alone_s=0) as hands:
        answers = hands.each(os.getpid, [()] * 8)
        first = next(answers)
        os.kill(first, signal.SIGKILL)
        rest = list(answers)
        assert len(rest) == 7
        assert os.getpid() in rest
        assert list(hands.each(math.factorial, [(4,), (5,)])) == [24, 120]


def test_where_no_process_can_be_begun_all_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.executable", "/nowhere/python")
    with Hands(2, alone_s=0) as hands:
        assert list(hands.each(os.getpid, [()] * 3)) == [os.getpid()] * 3


def test_little_work_begins_no_process() -> None:
    with Hands(2, alone_s=60) as hands:
        assert list(hands.each(os.getpid, [()] * 3)) == [os.getpid()] * 3


def test_processes_end_with_the_work_that_was_broken_off() -> None:
    pids = []
    with pytest.raises(KeyboardInterrupt), Hands(2, alone_s=0) as hands:
        for pid in hands.each(os.getpid, [()] * 8):
            pids.append(pid)
            raise KeyboardInterrupt
    with pytest.raises(ProcessLookupError):
        os.kill(pids[0], 0)


@pytest.mark.parametrize("cores, count", [(1, 0), (2, 2), (64, 4)])
def test_where_one_core_is_there_one_process_does_it(
    cores: int, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("os.sched_getaffinity", lambda _pid: set(range(cores)), raising=False)
    begun = []
    monkeypatch.setattr("archive.catalogue.hands.Hand", lambda: begun.append(1) or Hand())
    monkeypatch.setattr("sys.executable", "/nowhere/python")
    hands = hands_of_this_machine()
    hands._alone_until = 0
    assert list(hands.each(math.factorial, [(n,) for n in range(6)])) == [1, 1, 2, 6, 24, 120]
    assert len(begun) == count


def test_a_process_answers_until_its_input_ends_and_leaves_to_others_what_fails() -> None:
    def sized(message: object) -> bytes:
        data = marshal.dumps(message)
        return len(data).to_bytes(8, "little") + data

    asked = [("math", "factorial", (3,)), ("math", "factorial", (-3,)), ("math", "nothing", ())]
    sink = BytesIO()
    serve(BytesIO(b"".join(map(sized, asked)) + b"\x09"), sink)
    sink.seek(0)
    answers = []
    while size := sink.read(8):
        answers.append(marshal.loads(sink.read(int.from_bytes(size, "little"))))
    assert answers == [(6,), None, None]
