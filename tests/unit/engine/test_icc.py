"""Profiles → transfer curves and matrix."""

import struct

import numpy as np
import pytest
from PIL import ImageCms

from archive.engine import colour, icc
from archive.engine.output import srgb_icc


def profile(curve: bytes) -> bytes:
    """A matrix profile on the DCI-P3 primaries with D65, with one curve for all channels."""
    to_xyz = colour.rgb_to_xyz(((0.68, 0.32), (0.265, 0.69), (0.15, 0.06)), colour.D65)
    columns = (colour.bradford(colour.xyz_of(colour.D65), colour.ICC_D50_XYZ) @ to_xyz).T
    blocks = [
        b"XYZ " + bytes(4) + struct.pack(">3i", *(round(v * 65536) for v in column)) for column in columns
    ]
    names = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
    body, table = b"", struct.pack(">I", len(names))
    for name, block in zip(names, [*blocks, curve, curve, curve], strict=True):
        table += name + struct.pack(">II", 128 + 4 + 12 * len(names) + len(body), len(block))
        body += block + bytes(-len(block) % 4)
    head = bytearray(128)
    head[16:24] = b"RGB XYZ "
    return bytes(head) + table + body


def test_the_srgb_profile_reads_as_srgb() -> None:
    read = icc.profile_transfer(srgb_icc(), 256)
    assert read is not None
    assert np.allclose(read.curves, icc.srgb_transfer(256).curves, atol=2e-5)
    assert np.allclose(read.matrix, np.eye(3), atol=5e-4)


def test_wide_colours_keep_values_outside_srgb() -> None:
    curve = b"curv" + bytes(4) + struct.pack(">IH", 1, round(2.2 * 256)) + bytes(2)
    read = icc.profile_transfer(profile(curve), 256)
    assert read is not None
    green = read.matrix @ np.array([0.0, 1.0, 0.0])
    assert green[0] < -0.1
    assert np.allclose(read.matrix.sum(axis=1), 1)
    assert np.allclose(read.curves[0], np.linspace(0, 1, 256) ** 2.19921875, atol=1e-4)


def test_every_kind_of_curve_is_read() -> None:
    numbers = [round(v * 65536) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)]
    parametric = b"para" + bytes(4) + struct.pack(">HH5i", 3, 0, *numbers)
    table = b"curv" + bytes(4) + struct.pack(">I3H", 3, 0, 16384, 65535) + bytes(2)
    identity = b"curv" + bytes(4) + struct.pack(">I", 0)
    x = np.linspace(0, 1, 256)
    for curve, expected in (
        (parametric, colour.srgb_decode(x)),
        (table, np.interp(x, [0, 0.5, 1], [0, 16384 / 65535, 1])),
        (identity, x),
    ):
        read = icc.profile_transfer(profile(curve), 256)
        assert read is not None
        assert np.allclose(read.curves[1], expected, atol=1e-4)


def test_what_cannot_be_read_is_none() -> None:
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    assert icc.profile_transfer(lab, 256) is None
    assert icc.profile_transfer(b"short", 256) is None
    assert icc.profile_transfer(srgb_icc()[:200], 256) is None


def test_numbers_without_a_meaning_make_a_profile_unreadable() -> None:
    def parametric(function: int, *numbers: float) -> bytes:
        whole = [round(each * 65536) for each in numbers]
        return b"para" + bytes(4) + struct.pack(f">HH{len(whole)}i", function, 0, *whole)

    straight = b"curv" + bytes(4) + struct.pack(">I", 0)
    assert icc.profile_transfer(profile(straight), 256) is not None
    # The last one's light, up to 3e38, became no number under a matrix, which a table was read with.
    endless = parametric(1, 8.53, 32767, 0)
    for curve in (parametric(1, 2.2, 0, 0.1), parametric(2, 2.2, 0, 0.1, 0), parametric(0, -2.2), endless):
        assert icc.profile_transfer(profile(curve), 256) is None
    body = bytearray(profile(straight))
    places = [place for place in range(128, len(body)) if body[place : place + 8] == b"XYZ " + bytes(4)]
    assert len(places) == 3
    for place in places:
        body[place + 8 : place + 20] = bytes(12)
        assert icc.profile_transfer(bytes(body), 256) is None


def test_the_dcf_optional_space_is_wider_in_green_only() -> None:
    matrix = icc.dcf_optional_transfer(256).matrix
    assert np.allclose(matrix[:, 2], [0, 0, 1], atol=0.06)
    assert matrix[0, 1] < -0.3
    assert np.allclose(matrix @ np.ones(3), 1)


def test_light_of_bt_2100_is_that_of_an_independent_implementation() -> None:
    """SMPTE ST 2084 and HLG by colour-science; 1 is the reference white of ITU-R BT.2408."""
    reference = pytest.importorskip("colour.models")
    stored = np.linspace(0, 1, 1024)
    perceptual, hybrid = icc.coded_transfer(9, 16, 1024), icc.coded_transfer(9, 18, 1024)
    assert perceptual is not None and hybrid is not None
    assert np.allclose(perceptual.curves[0] * 203, reference.eotf_ST2084(stored), rtol=1e-4, atol=1e-4)
    scene = reference.oetf_inverse_BT2100_HLG(stored) / reference.oetf_inverse_BT2100_HLG(0.75)
    assert np.allclose(hybrid.curves[2], scene, rtol=1e-4, atol=1e-6)
    # 203 cd/m² is the signal 58 % of PQ (BT.2408, table 1).
    assert np.interp(0.58, stored, perceptual.curves[1]) == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(("primaries", "name"), [(9, "ITU-R BT.2020"), (12, "P3-D65"), (1, "sRGB")])
def test_primaries_are_those_of_an_independent_implementation(primaries: int, name: str) -> None:
    reference = pytest.importorskip("colour")
    read = icc.coded_transfer(primaries, 13, 256)
    assert read is not None
    spaces = reference.RGB_COLOURSPACES
    expected = reference.matrix_RGB_to_RGB(spaces[name], spaces["sRGB"], None)
    assert np.allclose(read.matrix, expected, atol=2e-3)
    assert np.allclose(read.matrix.sum(axis=1), 1, atol=1e-6)
    assert np.array_equal(read.curves, icc.srgb_transfer(256).curves)


def test_other_primaries_are_taken_for_srgb_but_for_bright_light() -> None:
    assert icc.coded_transfer(6, 16, 256) is None
    plain = icc.coded_transfer(2, 2, 256)
    assert plain is not None and np.array_equal(plain.matrix, np.eye(3))
