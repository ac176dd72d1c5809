"""Decoding in processes that may be lost."""

import errno
import io
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image
from support.recipes import recipe
from support.samples import sample
from support.tinydng import night_mosaic, tiny_dng

from archive.engine import decode, message
from archive.engine.decode import DecoderPool
from archive.engine.framing import upright
from archive.engine.pipeline import render
from archive.engine.sharedroom import SharedRoom
from archive.errors import ArchiveError, DamagedFileError, Exit
from archive.model.product import PixelSpec

FAULTS = """
import json, os, sys, time
from archive.engine import worker

def beyond(sink, facts, arrays):
    about = [{"dtype": str(each.dtype), "shape": list(each.shape), "at": 1 << 30} for each in arrays]
    text = json.dumps({"document": facts, "parts": about}).encode()
    sink.write(len(text).to_bytes(8, "big") + text)
    sink.flush()

def work(data):
    if data.startswith(b"crash"):
        os.abort()
    if data.startswith(b"hang"):
        time.sleep(60)
    if data.startswith(b"eat"):
        hoard = []
        while True:
            hoard.append(bytearray(1 << 26))
    if data.startswith(b"chatter"):
        os.write(1, b"a library prints on the output" * 10)
        data = data[7:]
    if data.startswith(b"beyond"):
        worker.message.send = lambda sink, facts, arrays, room=None: beyond(sink, facts, arrays)
        data = data[6:]
    if data.startswith(b"lie"):
        facts, arrays = worker.decode(data[3:])
        return {**facts, "black": [512, 512, 512, 15000]}, arrays
    if data.startswith(b"refuse"):
        worker.message.send = lambda sink, *_: beyond(sink, {"refused": "\\x1b[2J", "damaged": True}, [])
    if data.startswith(b"grown"):
        return {**worker.decode(data[5:])[0]}, [worker.message.np.zeros((4000, 3000), "uint16")]
    if data.startswith(b"bug"):
        raise ZeroDivisionError("ours")
    if data.startswith(b"settings"):
        raise ZeroDivisionError(os.environ["GLIBC_TUNABLES"])
    return worker.decode(data)

worker.main(work)
"""


@pytest.fixture
def faulty(tmp_path: Path) -> list[str]:
    script = tmp_path / "faulty.py"
    script.write_text(FAULTS)
    return [sys.executable, str(script)]


def whole() -> bytes:
    return tiny_dng(night_mosaic(64, 96))


@pytest.mark.parametrize(
    ("fault", "told"), [(b"crash", "crashed on it"), (b"hang", "longer than 3 s"), (b"eat", "more memory")]
)
def test_a_lost_worker_costs_one_frame_and_says_what_is_safe(
    faulty: list[str], fault: bytes, told: str
) -> None:
    limit = 3.0 if fault == b"hang" else 60.0
    with DecoderPool(1, time_limit=limit, memory_limit=1500 << 20, command=faulty) as pool:
        assert pool.decode(whole(), "before.dng").pixels.shape == (64, 96)
        with pytest.raises(DamagedFileError, match=told) as caught:
            pool.decode(fault, "IMG\n0412.DNG")
        assert r"IMG\x0a0412.DNG" in caught.value.message
        assert "master itself is untouched" in caught.value.hint
        assert caught.value.exit_code is Exit.ATTENTION
        assert pool.decode(whole(), "after.dng").pixels.shape == (64, 96)


def idle_process(pool: DecoderPool) -> subprocess.Popen[bytes]:
    (worker,) = pool._idle.queue
    assert worker is not None
    return worker.process


@pytest.mark.parametrize("is_seen", [True, False])
def test_a_frame_is_not_blamed_for_a_decoder_that_was_lost_while_idle(
    is_seen: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    with DecoderPool(1) as pool:
        pool.decode(whole(), "before.dng")
        process = idle_process(pool)
        process.kill()
        process.wait()
        if not is_seen:
            monkeypatch.setattr(process, "poll", lambda: None)
        assert pool.decode(whole(), "innocent.dng").is_mosaic
        assert idle_process(pool) is not process


def test_a_frame_that_crashes_every_decoder_is_tried_twice_and_no_more(
    faulty: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = []
    begin = decode._Worker

    def counted(command: Sequence[str], limit: int) -> decode._Worker:
        begun.append(command)
        return begin(command, limit)

    monkeypatch.setattr(decode, "_Worker", counted)
    with DecoderPool(1, command=faulty) as pool:
        pool.decode(whole(), "before.dng")
        with pytest.raises(DamagedFileError, match="crashed on it"):
            pool.decode(b"crash", "a.dng")
        assert len(begun) == 2
        with pytest.raises(DamagedFileError, match="crashed on it"):
            pool.decode(b"crash", "a.dng")
        assert len(begun) == 3


def test_a_decoder_ended_by_the_clock_as_its_answer_came_is_not_asked_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    receive = message.receive

    def slowly(*asked: Any) -> Any:
        answer = receive(*asked)
        time.sleep(6)
        return answer

    with DecoderPool(1, time_limit=5) as pool:
        pool.decode(whole(), "before.dng")
        process = idle_process(pool)
        with monkeypatch.context() as slow:
            slow.setattr(message, "receive", slowly)
            assert pool.decode(whole(), "late.dng").is_mosaic
        assert list(pool._idle.queue) == [None]
        assert process.poll() is not None
        assert pool.decode(whole(), "innocent.dng").is_mosaic


def test_what_a_library_prints_does_not_reach_the_pipe(faulty: list[str]) -> None:
    with DecoderPool(1, command=faulty) as pool:
        assert pool.decode(b"chatter" + whole(), "a.dng").pixels.shape == (64, 96)


def test_a_worker_whose_picture_lies_beyond_the_shared_memory_costs_one_frame(faulty: list[str]) -> None:
    if SharedRoom.made() is None:
        pytest.skip("this system has no anonymous files in memory")
    with DecoderPool(1, command=faulty) as pool:
        with pytest.raises(DamagedFileError, match="crashed on it"):
            pool.decode(b"beyond" + whole(), "a.dng")
        assert pool.decode(whole(), "b.dng").is_mosaic


def test_a_worker_that_answers_with_nonsense_costs_one_frame(faulty: list[str]) -> None:
    with DecoderPool(1, command=faulty) as pool:
        with pytest.raises(DamagedFileError, match="answer is none, its white is out of range") as caught:
            pool.decode(b"lie" + whole(), "a.dng")
        assert "master itself is untouched" in caught.value.hint
        assert pool.decode(whole(), "b.dng").is_mosaic
        with pytest.raises(DamagedFileError, match="is damaged") as caught:
            pool.decode(b"refuse", "c.dng")
        assert r"is damaged: \x1b[2J." in caught.value.message


def test_without_shared_memory_large_frames_go_through_the_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SharedRoom, "made", staticmethod(lambda: None))
    mosaic = night_mosaic(400, 600)
    with DecoderPool(1) as pool:
        assert np.array_equal(pool.decode(tiny_dng(mosaic), "a.dng").pixels, mosaic)


def test_a_pool_decodes_a_sequence_by_its_own_reader_and_answers_the_same() -> None:
    mosaics = [night_mosaic(640, 640, seed=seed) for seed in range(4)]
    with DecoderPool(1) as pool:
        for mosaic in mosaics:
            decoded = pool.decode(tiny_dng(mosaic), "a.dng")
            assert np.array_equal(decoded.pixels, mosaic)


def test_a_bug_of_ours_is_no_user_error(faulty: list[str]) -> None:
    with DecoderPool(1, command=faulty) as pool:
        with pytest.raises(RuntimeError, match="ZeroDivisionError: ours"):
            pool.decode(b"bug", "a.dng")
        assert pool.decode(whole(), "b.dng").is_mosaic


def test_large_pages_are_asked_for_beside_what_else_is_set(
    faulty: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GLIBC_TUNABLES", "glibc.malloc.arena_max=1")
    with DecoderPool(1, command=faulty) as pool, pytest.raises(RuntimeError) as caught:
        pool.decode(b"settings", "a.dng")
    assert "glibc.malloc.arena_max=1:glibc.malloc.hugetlb=1" in str(caught.value)


def test_a_module_in_the_current_directory_is_never_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "rawpy.py").write_text("raise SystemExit('run from the card')")
    monkeypatch.chdir(tmp_path)
    with DecoderPool(1) as pool:
        assert pool.decode(whole(), "a.dng").is_mosaic


def test_threads_share_a_pool() -> None:
    mosaics = [night_mosaic(64, 96, seed=seed) for seed in range(6)]
    found: dict[int, bool] = {}
    with DecoderPool(2) as pool:

        def work(index: int) -> None:
            decoded = pool.decode(tiny_dng(mosaics[index]), f"{index}.dng")
            found[index] = np.array_equal(decoded.pixels, mosaics[index])

        threads = [threading.Thread(target=work, args=(index,)) for index in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert found == dict.fromkeys(range(6), True)


def test_a_stated_orientation_replaces_the_files_own() -> None:
    data = tiny_dng(night_mosaic(64, 96), orientation=6)
    with DecoderPool(1) as pool:
        assert pool.decode(data, "a").orientation == 6
        assert pool.decode(data, "a", orientation=3).orientation == 3
        assert pool.decode(data, "a", orientation=0).orientation == 6


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_portrait_heif_is_turned_once_and_again_only_by_a_persons_correction(orientation: int) -> None:
    """Callers pass on what EXIF says; the container says it too, and its decoder has turned the pixels."""
    light = np.random.default_rng(2).integers(0, 255, (32, 48, 3)).astype(np.uint8)
    exif = Image.Exif()
    exif[0x0112] = orientation
    out = io.BytesIO()
    pillow_heif.from_bytes("RGB", (48, 32), light.tobytes()).save(
        out, quality=-1, chroma=444, matrix_coefficients=0, exif=exif.tobytes()
    )
    with DecoderPool(1) as pool:
        for stated, turned in ((None, orientation), (orientation, orientation), (8, 8), (1, 1)):
            decoded = pool.decode(out.getvalue(), "a.heic", orientation=stated)
            made = render(decoded, recipe(), PixelSpec(fit=None, bits=8))
            expected = np.moveaxis(upright(np.moveaxis(light, -1, 0), turned), 0, -1)
            assert np.array_equal(made, expected)


def test_a_picture_becomes_linear_light() -> None:
    out = io.BytesIO()
    Image.fromarray(np.full((10, 12, 3), (0, 128, 255), np.uint8)).save(out, "PNG")
    with DecoderPool(1) as pool:
        decoded = pool.decode(out.getvalue(), "a.png")
    assert decoded.pixels.dtype == np.float32
    assert decoded.camera is None
    assert np.allclose(decoded.pixels[0, 0], [0, 0.21586050, 1], atol=1e-6)


def png(height: int, width: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), (10, 200, 30)).save(out, "PNG")
    return out.getvalue()


def test_a_small_file_of_a_huge_picture_costs_its_frame_and_neither_time_nor_memory() -> None:
    """10^8 pixels in 300 kB would take 4.8 GB."""
    with DecoderPool(1, memory_there=2_000_000_000) as pool:
        with pytest.raises(ArchiveError, match=r"100 million pixels take up to 4\.8 GB") as caught:
            pool.decode(png(10_000, 10_000), "bomb.png")
        assert not isinstance(caught.value, DamagedFileError)
        assert "master itself is untouched" in caught.value.hint and "more memory" in caught.value.hint
        assert pool.decode(png(400, 500), "small.png").pixels.shape == (400, 500, 3)


def test_a_picture_that_is_large_for_a_share_of_the_memory_is_decoded_alone() -> None:
    """Four shares of 5 MB have room for 100 000 pixels each; all of it is room for 270 000."""
    with DecoderPool(4, memory_there=20_000_000) as pool:
        taken = pool._large
        assert pool.decode(png(200, 200), "small.png").pixels.shape == (200, 200, 3)
        with taken:
            waiting = threading.Thread(target=pool.decode, args=(png(400, 500), "large.png"))
            waiting.start()
            waiting.join(2)
            assert waiting.is_alive()
            assert pool.decode(png(200, 200), "small.png").pixels.shape == (200, 200, 3)
        waiting.join(60)
        assert not waiting.is_alive()
        assert pool.decode(png(400, 500), "large.png").pixels.shape == (400, 500, 3)
        with pytest.raises(ArchiveError, match="too large"):
            pool.decode(png(600, 500), "larger.png")


def test_a_raw_or_an_answer_larger_than_the_memory_has_room_for_is_refused(faulty: list[str]) -> None:
    with DecoderPool(1, memory_there=300_000_000, command=faulty) as pool:
        with pytest.raises(ArchiveError, match="12 million pixels take up to"):
            pool.decode(b"grown" + whole(), "a.dng")
        assert pool.decode(whole(), "b.dng").is_mosaic


@pytest.mark.parametrize("place", ["picture_light", "receive", "room"])
def test_no_memory_left_here_costs_one_frame_with_words_and_no_traceback(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> Any:
        raise OSError(errno.ENOMEM, "Cannot allocate memory") if place == "room" else MemoryError

    where = decode.answers if place == "picture_light" else message
    with DecoderPool(1, memory_there=1 << 40) as pool:
        with monkeypatch.context() as short:
            short.setattr(where, "picture_light" if place == "picture_light" else "receive", full)
            with pytest.raises(ArchiveError, match=r"with the memory there is\.") as caught:
                pool.decode(png(40, 50), "a.png")
        assert not isinstance(caught.value, DamagedFileError)
        assert pool.decode(png(40, 50), "b.png").pixels.shape == (40, 50, 3)


def test_damage_and_strangeness_are_told_apart() -> None:
    with DecoderPool(1) as pool:
        with pytest.raises(DamagedFileError, match="ends 7 bytes short"):
            pool.decode(whole()[:-7], "cut.dng")
        with pytest.raises(ArchiveError, match="no picture") as caught:
            pool.decode(b"Dear diary", "notes.txt")
        assert not isinstance(caught.value, DamagedFileError)


def test_camera_multipliers_for_its_own_daylight_are_the_daylight_multipliers() -> None:
    with DecoderPool(1) as pool:
        camera = pool.decode(whole(), "a").camera
    assert camera is not None
    assert np.allclose(camera.multipliers_for((0.3127, 0.3290)), camera.daylight, rtol=1e-3)


@pytest.mark.samples
def test_a_wavelet_packed_raw_is_refused_clearly() -> None:
    with DecoderPool(1) as pool, pytest.raises(ArchiveError, match="does not support this kind of raw"):
        pool.decode(sample("raw/gopro-hero7/GOPR8513.GPR").read_bytes(), "GOPR8513.GPR")


@pytest.mark.samples
@pytest.mark.parametrize(
    "name",
    ["movie/IMG_3616.mov", "movie/max-heromode.mp4", "sequence/panasonic-card/DCIM/100_PANA/P1000244.MOV"],
)
def test_a_movie_is_no_damaged_picture(name: str) -> None:
    with DecoderPool(1) as pool, pytest.raises(ArchiveError, match="no picture of a kind known") as caught:
        pool.decode(sample(name).read_bytes(), name)
    assert not isinstance(caught.value, DamagedFileError)


@pytest.mark.samples
@pytest.mark.parametrize(
    ("name", "shape", "orientation"),
    [
        ("jpeg/Leica T (Typ 701).jpg", (3264, 4928, 3), 8),
        ("movie/IMG_3616.HEIC", (3024, 4032, 3), 1),
        ("sequence/star-field-tiff/2019-07-29T204726_Alt40_Azi45_Try1.tiff", (768, 1024, 3), 1),
    ],
)
def test_real_pictures_decode(name: str, shape: tuple[int, ...], orientation: int) -> None:
    with DecoderPool(1) as pool:
        decoded = pool.decode(sample(name).read_bytes(), name)
    assert decoded.pixels.shape == shape
    assert decoded.orientation == orientation
    assert float(decoded.pixels.max()) <= 1.5
