"""Who reads a raw: LibRaw until our own reader has proven itself, and whenever it has not."""

from typing import Any

import numpy as np
from support.dngs import dng
from support.tinydng import night_mosaic

from archive.engine import rawfile
from archive.engine.dng import Layout
from archive.engine.provenreader import Answer, ProvenReader

LARGE = dng(night_mosaic(640, 640, seed=1))
SMALL = dng(night_mosaic(96, 160, seed=1))


class Watched:
    """A reader whose two ways write down that they were taken; ``changed`` alters what our own answers."""

    def __init__(self, changed: Any = None) -> None:
        self.taken: list[str] = []
        self._changed = changed or (lambda answer: answer)
        self.reader = ProvenReader(self._usual, self._own)

    def _usual(self, data: bytes, measured: bool) -> Answer:
        self.taken.append("LibRaw")
        return rawfile.read(data, measured=measured)

    def _own(self, data: bytes, layout: Layout) -> Answer | None:
        self.taken.append("own")
        return self._changed(rawfile.read_own(data, layout))

    def read(self, data: bytes, times: int = 1, measured: bool = True) -> list[Answer]:
        return [self.reader.read(data, measured=measured) for _ in range(times)]


def test_the_own_reader_serves_from_the_third_file_on_after_one_comparison() -> None:
    watched = Watched()
    answers = watched.read(LARGE, 4)
    assert watched.taken == ["LibRaw", "LibRaw", "own", "own", "own"]
    for answer in answers[1:]:
        assert answer[0] == answers[0][0]
        assert np.array_equal(answer[1][0], answers[0][1][0])


def test_one_sample_of_difference_keeps_the_own_reader_out_for_good() -> None:
    def altered(answer: Answer) -> Answer:
        answer[1][0][5, 5] += 1
        return answer

    watched = Watched(altered)
    watched.read(LARGE, 4)
    assert watched.taken == ["LibRaw", "LibRaw", "own", "LibRaw", "LibRaw"]


def test_one_other_fact_keeps_the_own_reader_out_for_good() -> None:
    watched = Watched(lambda answer: ({**answer[0], "white": 1.0}, answer[1]))
    watched.read(LARGE, 3)
    assert watched.taken == ["LibRaw", "LibRaw", "own", "LibRaw"]


def test_a_file_that_gives_doubt_goes_to_libraw() -> None:
    answers = iter([lambda answer: answer, lambda answer: None, lambda answer: answer])
    watched = Watched(lambda answer: next(answers)(answer))
    watched.read(LARGE, 4)
    assert watched.taken == ["LibRaw", "LibRaw", "own", "own", "LibRaw", "own"]


def test_small_and_unmeasured_files_are_libraws() -> None:
    watched = Watched()
    watched.read(SMALL, 4)
    watched.read(LARGE, 2, measured=False)
    assert set(watched.taken) == {"LibRaw"}


def test_what_libraw_misreads_is_ours_from_the_first_file_on() -> None:
    watched = Watched()
    mosaic = night_mosaic(96, 160, seed=1)
    (answer,) = watched.read(dng(mosaic, bits=14, compressed=True, strip_rows=40))
    assert watched.taken == ["own"]
    assert np.array_equal(answer[1][0], mosaic)
