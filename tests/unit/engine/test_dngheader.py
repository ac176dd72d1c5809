"""A DNG's directories around a tiny mosaic: LibRaw tells the same of it."""

import io
from typing import Any

import numpy as np
import pytest
import rawpy
from support.dngs import dng
from support.tinydng import night_mosaic

from archive.engine.dng import Layout, layout_of
from archive.engine.dngheader import header_copy, signature


def layout(**changes: Any) -> Layout:
    found = layout_of(dng(night_mosaic(96, 160), **changes))
    assert found is not None
    return found


def told(data: bytes) -> dict[str, Any]:
    with rawpy.RawPy() as raw:
        raw.open_buffer(io.BytesIO(data))
        raw.unpack()
        return {
            "black": raw.black_level_per_channel,
            "white": raw.white_level,
            "matrix": raw.color_matrix.tolist(),
            "shot": raw.camera_whitebalance,
            "daylight": raw.daylight_whitebalance,
            "colours": (raw.num_colors, raw.color_desc),
        }


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"order": ">"},
        {"margins": (3, 5, 2, 4), "black": (500, 510, 520, 530)},
        {"bits": 14, "compressed": True, "tile": (48, 32), "white": 16000},
        {"extra": ((50715, 10, [(3, 1)] * 160), (50720, 5, [(100, 1), (60, 1)]))},
    ],
)
def test_libraw_tells_the_same_of_the_copy(changes: dict[str, Any]) -> None:
    whole = dng(night_mosaic(96, 160), **changes)
    small = header_copy(layout(**changes))
    assert told(small) == told(whole)
    assert len(small) < 20_000


def test_files_of_one_setting_have_one_signature_whatever_their_pictures() -> None:
    one = dng(night_mosaic(96, 160, seed=1), bits=14, compressed=True, tile=(48, 32))
    other = dng(night_mosaic(96, 160, seed=2), bits=14, compressed=True, tile=(48, 32))
    first, second = layout_of(one), layout_of(other)
    assert first is not None and second is not None and one != other
    assert signature(first) == signature(second)


@pytest.mark.parametrize(
    "changes",
    [{"black": (600,)}, {"tile": (32, 32)}, {"pattern": (2, 1, 1, 0)}, {"order": ">"}, {"bits": 12}],
)
def test_another_setting_has_another_signature(changes: dict[str, Any]) -> None:
    mosaic = np.minimum(night_mosaic(96, 160), 4095)
    settings: dict[str, Any] = {"bits": 14, "compressed": True, "tile": (48, 32)}
    first, second = layout_of(dng(mosaic, **settings)), layout_of(dng(mosaic, **{**settings, **changes}))
    assert first is not None and second is not None
    assert signature(first) != signature(second)
