"""Memory that is kept after it was freed, looked at in processes of their own."""

import subprocess
import sys

import pytest

# Large arrays are made and freed; how many pages the system had to give for the later ones is told.
SCRIPT = """
import resource, sys
import numpy as np
from archive.engine import freed

if sys.argv[1] == "kept":
    freed.keep()
    freed.keep()
for number in range(6):
    several = [np.ones(6 << 20, np.float64) for _ in range(4)]
    if number == 1:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def told(how: str) -> list[int]:
    done = subprocess.run([sys.executable, "-c", SCRIPT, how], capture_output=True, text=True, check=True)
    return [int(line) for line in done.stdout.split()]


@pytest.mark.skipif(sys.platform != "linux", reason="only glibc can be told so")
def test_later_arrays_take_the_memory_that_earlier_ones_had() -> None:
    kept, given_back = told("kept"), told("given back")
    assert kept[0] < given_back[0] / 5
    assert kept[1] < 1.3 * given_back[1]


def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    from archive.engine import freed

    freed.keep.cache_clear()
    monkeypatch.setattr(freed.ctypes, "CDLL", lambda _: object())
    freed.keep()
    monkeypatch.setattr(sys, "platform", "darwin")
    freed.keep.cache_clear()
    monkeypatch.setattr(freed.ctypes, "CDLL", lambda _: pytest.fail("it was asked"))
    freed.keep()
    freed.keep.cache_clear()
