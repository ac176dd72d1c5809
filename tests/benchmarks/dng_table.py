"""What reading a DNG costs: our own reader beside LibRaw, and the way of a frame out of its process.

Run it with ``python tests/benchmarks/dng_table.py FILE…``; it prints medians and ratios of one run, because
machines differ and drift; nothing here is asserted.
"""

from __future__ import annotations

import argparse
import io
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import rawpy

from archive.engine import dng, rawfile
from archive.engine.decode import DecoderPool
from archive.engine.sharedroom import SharedRoom


def median(work: Callable[[], object], times: int = 7) -> float:
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1000 * statistics.median(taken)


def unpacked(data: bytes) -> None:
    with rawpy.RawPy() as raw:
        raw.open_buffer(io.BytesIO(data))
        raw.unpack()


def through_a_pool(data: bytes) -> float:
    with DecoderPool(1) as pool:
        # The third file of a kind is the first that the own reader serves.
        for _ in range(3):
            pool.decode(data, "benchmark")
        return median(lambda: pool.decode(data, "benchmark"))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="+", type=Path)
    for path in parser.parse_args().files:
        data = path.read_bytes()
        layout = dng.layout_of(data)
        usual = median(lambda data=data: unpacked(data))
        print(f"{path.name}: LibRaw open + unpack {usual:.1f} ms")
        if layout is None:
            print("  of a kind that is left to LibRaw")
            continue
        own = median(lambda data=data, layout=layout: rawfile.read_own(data, layout))
        print(f"  own reader, facts included {own:.1f} ms ({usual / own:.1f} × faster)")
        shared = through_a_pool(data)
        made = SharedRoom.made
        SharedRoom.made = staticmethod(lambda: None)  # type: ignore[method-assign]
        piped = through_a_pool(data)
        SharedRoom.made = made  # type: ignore[method-assign]
        print(f"  through a process: shared memory {shared:.1f} ms, pipe {piped:.1f} ms")


if __name__ == "__main__":
    main()
