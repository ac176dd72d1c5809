"""Every raw sample that LibRaw opens: a neutral recipe gives its linear colours.

Compared over squares of 8 × 8 pixels, where the two demosaics' choices average out. LibRaw is kept from
scaling each frame to its own brightest sample, which would make sequences flicker; and from balancing a file
that states no balance by its own picture, which would do the same: daylight stands there.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import rawpy
from skimage import color
from support.recipes import recipe
from support.samples import SAMPLES, needs_samples, sample_files

from archive.engine import colour
from archive.engine.decode import DecoderPool
from archive.engine.pipeline import render_linear
from archive.errors import ArchiveError
from archive.formats import container
from archive.model.product import PixelSpec

pytestmark = [pytest.mark.samples, needs_samples]

SQUARE = 8


def raws() -> list[Path]:
    """Whatever is a raw file by its bytes, damaged ones among them."""
    return [path for path in sample_files() if container.kind_of(path.read_bytes()) is container.Kind.RAW]


def told(path: Path) -> str:
    return path.relative_to(SAMPLES).as_posix() if SAMPLES else path.name


def theirs(data: bytes) -> npt.NDArray[np.float64] | None:
    """LibRaw's own linear sRGB, 0 to 1; None where it gives no picture."""
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            stated = bool(np.all(np.array(raw.camera_whitebalance[:3]) > 0))
            made = raw.postprocess(
                gamma=(1, 1), no_auto_bright=True, use_camera_wb=stated, output_bps=16,
                adjust_maximum_thr=0.0, output_color=rawpy.ColorSpace.sRGB,
            )  # fmt: skip
    except rawpy.LibRawError:
        return None
    return np.asarray(made / 65535.0)


def lab(light: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    height, width = light.shape[:2]
    size = (max(1, width // SQUARE), max(1, height // SQUARE))
    reduced = cv2.resize(np.clip(light, 0, 1), size, interpolation=cv2.INTER_AREA)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.asarray(color.rgb2lab(colour.srgb_encode(reduced)))


@pytest.mark.parametrize("path", raws(), ids=told)
def test_a_neutral_recipe_agrees_with_libraws_own_linear_rendering(path: Path) -> None:
    data = path.read_bytes()
    expected = theirs(data)
    with DecoderPool(1) as pool:
        try:
            decoded = pool.decode(data, path.name)
        except ArchiveError:
            # A file may be refused for what is missing in it though LibRaw fills that up, never the reverse.
            assert expected is None or path.parent.name == "broken"
            return
    assert expected is not None
    ours = render_linear(decoded, recipe(), PixelSpec(fit=None, bits=16)).astype(np.float64)
    assert ours.shape == expected.shape
    assert color.deltaE_ciede2000(lab(ours), lab(expected)).mean() < 1


def test_samples_of_several_layouts_are_among_them() -> None:
    assert {"colorchart.dng", "CRW_0313.CRW", "DC0010S.KDC"} <= {path.name for path in raws()}
