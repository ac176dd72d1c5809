"""Movies, read back by an independent reader."""

import json
import shutil
import struct
import subprocess
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import pytest

from archive.errors import ArchiveError
from archive.exports.movie import MovieWriter

RATE = Fraction(24000, 1001)
# Full-range RGB and its limited-range BT.709 values (ITU-R BT.709-6, 8 bits).
COLOURS = {
    (255, 0, 0): (63, 102, 240), (0, 255, 0): (173, 42, 26), (0, 0, 255): (32, 240, 118),
    (128, 128, 128): (126, 128, 128), (255, 255, 255): (235, 128, 128), (0, 0, 0): (16, 128, 128),
}  # fmt: skip


def patches(index: int = 0) -> npt.NDArray[np.uint8]:
    picture = np.empty((64, 64 * len(COLOURS), 3), np.uint8)
    for place, value in enumerate(COLOURS):
        picture[:, 64 * place : 64 * place + 64] = value
    picture[:4, :8] = index
    return picture


def written(path: Path, frames: int = 24, **encoder: Any) -> Path:
    with MovieWriter(path, width=64 * len(COLOURS), height=64, rate=RATE, encoder=encoder) as movie:
        for index in range(frames):
            movie.add(patches(index))
    return path


def boxes(data: bytes) -> list[str]:
    found, place = [], 0
    while place < len(data):
        size, name = struct.unpack(">I4s", data[place : place + 8])
        found.append(name.decode())
        place += size
    return found


def test_an_independent_reader_finds_count_rate_duration_and_tags(tmp_path: Path) -> None:
    if shutil.which("ffprobe") is None:
        pytest.skip("no ffprobe on this machine to read the movie independently")
    path = written(tmp_path / "a.mp4")
    told = subprocess.run(
        ["ffprobe", "-v", "error", "-count_frames", "-show_streams", "-of", "json", str(path)],
        capture_output=True, check=True,
    )  # fmt: skip
    (stream,) = json.loads(told.stdout)["streams"]
    assert stream["codec_name"] == "h264"
    assert stream["profile"] == "High"
    assert stream["codec_tag_string"] == "avc1"
    assert stream["pix_fmt"] == "yuv420p"
    assert int(stream["nb_read_frames"]) == 24
    assert stream["r_frame_rate"] == stream["avg_frame_rate"] == "24000/1001"
    assert Fraction(stream["duration_ts"]) * Fraction(stream["time_base"]) == Fraction(1001, 1000)
    assert stream["color_range"] == "tv"
    assert stream["color_space"] == stream["color_transfer"] == stream["color_primaries"] == "bt709"


def test_boxes_come_in_the_order_for_playing_while_loading(tmp_path: Path) -> None:
    data = written(tmp_path / "a.mp4").read_bytes()
    order = boxes(data)
    assert order[0] == "ftyp"
    assert order.index("moov") < order.index("mdat")
    place = data.index(b"colrnclx")
    assert struct.unpack(">3HB", data[place + 8 : place + 15]) == (1, 1, 1, 0)


def test_colours_are_converted_by_bt_709(tmp_path: Path) -> None:
    with av.open(str(written(tmp_path / "a.mp4", crf=4))) as container:
        picture = next(container.decode(video=0))
        luma, blue, red = [
            np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)[:, : plane.width]
            for plane in picture.planes
        ]
    for place, expected in enumerate(COLOURS.values()):
        x = 64 * place + 32
        measured = (int(luma[40, x]), int(blue[20, x // 2]), int(red[20, x // 2]))
        assert np.abs(np.subtract(measured, expected)).max() <= 2


def test_two_runs_make_identical_bytes(tmp_path: Path) -> None:
    assert written(tmp_path / "a.mp4").read_bytes() == written(tmp_path / "b.mp4").read_bytes()


@pytest.mark.parametrize("rate", [Fraction(25), Fraction(30000, 1001), Fraction(60)])
def test_rates_stay_exact(tmp_path: Path, rate: Fraction) -> None:
    path = tmp_path / "a.mp4"
    with MovieWriter(path, width=64, height=64, rate=rate, encoder={}) as movie:
        for _ in range(5):
            movie.add(np.zeros((64, 64, 3), np.uint8))
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert stream.average_rate == rate
        assert stream.duration is not None
        assert stream.time_base is not None
        assert stream.duration * stream.time_base == 5 / rate


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"width": 65}, "even"),
        ({"height": 0}, "even"),
        ({"rate": Fraction(0)}, "0 frames a second"),
        ({"encoder": {"tune": "film"}}, "no setting tune"),
    ],
)
def test_impossible_movies_are_refused(tmp_path: Path, options: dict[str, Any], told: str) -> None:
    settings: dict[str, Any] = {"width": 64, "height": 64, "rate": Fraction(25), "encoder": {}}
    with pytest.raises(ArchiveError) as caught:
        MovieWriter(tmp_path / "a.mp4", **{**settings, **options})
    assert told in str(caught.value)


def test_a_picture_of_another_size_is_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(ArchiveError, match="does not fit"),
        MovieWriter(tmp_path / "a.mp4", width=64, height=64, rate=Fraction(25), encoder={}) as movie,
    ):
        movie.add(np.zeros((64, 66, 3), np.uint8))


def test_a_movie_without_pictures_and_one_without_a_place_are_errors(tmp_path: Path) -> None:
    with (
        pytest.raises(ArchiveError, match="at least one picture"),
        MovieWriter(tmp_path / "a.mp4", width=64, height=64, rate=Fraction(25), encoder={}),
    ):
        pass
    with pytest.raises(ArchiveError, match="could not be written"), written_into_nothing(tmp_path) as movie:
        movie.add(np.zeros((64, 64, 3), np.uint8))


def written_into_nothing(tmp_path: Path) -> MovieWriter:
    path = tmp_path / "missing" / "a.mp4"
    return MovieWriter(path, width=64, height=64, rate=Fraction(25), encoder={})


def test_bad_encoder_values_are_an_error_that_names_the_file(tmp_path: Path) -> None:
    with (
        pytest.raises(ArchiveError, match=r"night\.mp4"),
        MovieWriter(
            tmp_path / "night.mp4", width=64, height=64, rate=Fraction(25), encoder={"preset": "no such"}
        ) as movie,
    ):
        movie.add(np.zeros((64, 64, 3), np.uint8))


def test_a_movie_longer_than_the_encoder_looks_ahead_keeps_every_frame_and_its_time(tmp_path: Path) -> None:
    path = written(tmp_path / "long.mp4", frames=130)
    with av.open(str(path)) as movie:
        times = [frame.time for frame in movie.decode(video=0)]
    assert len(times) == 130
    assert times == pytest.approx([index / float(RATE) for index in range(130)], abs=1e-4)
