"""A fixed number of blocks, each given back when the last holder has let go."""

from __future__ import annotations

import threading

from archive.ingest.buffers import BLOCK, BLOCKS, Block, Pool


def test_all_cards_of_a_run_share_48_mib() -> None:
    assert BLOCK * BLOCKS == 48 << 20


def test_a_block_comes_back_when_the_last_holder_lets_go() -> None:
    pool = Pool(blocks=2, size=8)
    first = pool.take()
    first.hold(2)
    first.release()
    assert pool.take() is not first
    first.release()
    assert pool.take() is first


def test_a_block_that_no_one_holds_is_free_at_once() -> None:
    pool = Pool(blocks=2, size=8)
    block = pool.take()
    block.hold(0)
    assert pool.take() is block


def test_who_needs_a_block_waits_until_one_is_free() -> None:
    pool = Pool(blocks=2, size=8)
    held = [pool.take(), pool.take()]
    got: list[Block] = []
    taking = threading.Thread(target=lambda: got.append(pool.take()))
    taking.start()
    taking.join(0.05)
    assert taking.is_alive()
    held[1].hold(1)
    held[1].release()
    taking.join(30)
    assert got == [held[1]]


def test_only_the_filled_part_of_a_block_is_its_bytes() -> None:
    block = Pool(blocks=2, size=8).take()
    block.memory[:3] = b"abc"
    block.size = 3
    assert bytes(block.bytes) == b"abc"
