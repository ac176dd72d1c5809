"""The decoding process, called directly."""

import io

import numpy as np
import pytest
from support.samples import sample
from support.tinydng import night_mosaic, tiny_dng

from archive.engine import message, worker
from archive.engine.picturefile import UndecodableError


def answers(*requests: bytes) -> list[tuple[dict[str, object], list[object]]]:
    source, sink = io.BytesIO(), io.BytesIO()
    for data in requests:
        message.send(source, {}, [data])
    source.seek(0)
    worker.serve(source, sink)
    sink.seek(0)
    found = []
    while (answer := message.receive(sink)) is not None:
        found.append(answer)
    return found


def test_every_request_gets_one_answer_in_order() -> None:
    mosaic = night_mosaic(64, 96)
    first, second, third = answers(tiny_dng(mosaic), b"no picture", tiny_dng(mosaic)[:-10])
    assert np.array_equal(np.asarray(first[1][0]), mosaic)
    assert second[0] == {"refused": "it is no picture of a kind known here", "damaged": False}
    assert third[0] == {"refused": "the picture data ends 10 bytes short", "damaged": True}


def test_an_empty_file_is_damaged() -> None:
    with pytest.raises(UndecodableError, match="empty"):
        worker.decode(b"")


def test_a_fault_of_our_own_is_reported_as_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(data: bytes) -> worker.Answer:
        raise ZeroDivisionError("a bug")

    source, sink = io.BytesIO(), io.BytesIO()
    message.send(source, {}, [b"x"])
    source.seek(0)
    worker.serve(source, sink, broken)
    sink.seek(0)
    document, _ = message.receive(sink) or ({}, [])
    assert "ZeroDivisionError: a bug" in document["bug"]


@pytest.mark.parametrize("error", [ValueError("current limit exceeds maximum limit"), OSError(22, "invalid")])
def test_a_limit_of_memory_that_the_system_refuses_ends_no_worker(
    error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    resource = pytest.importorskip("resource")
    asked = []

    def refused(_kind: int, limits: tuple[int, int]) -> None:
        asked.append(limits)
        raise error

    monkeypatch.setattr(resource, "setrlimit", refused)
    worker.limit_memory(1 << 40)
    assert len(asked) == 1


BROKEN = [
    "2007-01-01-12-00-00-sep-2007-01-01-12-00-00a.jpg", "2099-08-12-19-59-29-sep-2099-08-12-19-59-29a.jpg",
    "ARW.exif", "CanonRaw.cr2", "CanonRaw.crw", "Issue 419.rw2", "Minolta.mrw",
    "NegativeArraySizeException.ItemInfoBox.init.heif", "Nikon.nef", "Panasonic.rw2", "Sigma.x3f",
    "canon-r6.cr3", "crash-2acf142a7186e47bf635df3a862bdbedf53b458a.fuzzed",
    "crash-47ae7948576b1dbadb888160907f012c554630af.fuzzed", "exif-no-tz.jpg", "fixture-sony-zv-e10.arw",
    "fixture.cr3", "fujifilm_x_t1_01.raf.meta", "issue_1833_poc.jpg", "issue_839_poc.rw2",
    "issue_857_poc.raf",
    "sample.arw", "sample.cr2", "sony_alpha_a7iii_raw_image.ARW",
]  # fmt: skip


@pytest.mark.samples
@pytest.mark.parametrize("name", BROKEN)
def test_no_broken_file_yields_a_picture(name: str) -> None:
    with pytest.raises(UndecodableError):
        worker.decode(sample(f"broken/{name}").read_bytes())
