"""Colour against the published numbers."""

import warnings

import numpy as np
import pytest

from archive.engine import colour as ours

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour as reference


@pytest.mark.parametrize(
    ("light", "value"),
    [(0.001, 0.01292000), (0.0031308, 0.04044994), (0.18, 0.46135613), (0.5, 0.73535698), (0, 0), (1, 1)],
)
def test_srgb_encoding_follows_iec_61966_2_1(light: float, value: float) -> None:
    assert float(ours.srgb_encode(light)) == pytest.approx(value, abs=5e-9)


@pytest.mark.parametrize(
    ("value", "light"),
    [(0.2, 0.03310477), (0.5, 0.21404114), (127 / 255, 0.21223076), (128 / 255, 0.21586050)],
)
def test_srgb_decoding_follows_iec_61966_2_1(value: float, light: float) -> None:
    assert float(ours.srgb_decode(value)) == pytest.approx(light, abs=5e-9)


def test_every_8_bit_value_survives_decoding_and_encoding() -> None:
    codes = np.arange(256)
    assert np.array_equal(np.round(ours.srgb_encode(ours.srgb_decode(codes / 255)) * 255), codes)


def test_matrices_without_a_meaning_are_told() -> None:
    assert ours.is_sound(ours.XYZ_TO_SRGB)
    for bad in (np.ones((3, 3)), np.zeros((3, 3)), np.diag([1, np.nan, 1]), np.diag([1, 1, 1e-6])):
        assert not ours.is_sound(bad)


def test_srgb_matrices_are_those_of_the_primaries() -> None:
    expected = [
        [0.41239080, 0.35758434, 0.18048079],
        [0.21263901, 0.71516868, 0.07219232],
        [0.01933082, 0.11919478, 0.95053215],
    ]
    assert np.allclose(ours.SRGB_TO_XYZ, expected, atol=5e-9)
    assert np.allclose(ours.XYZ_TO_SRGB[0], [3.24096994, -1.53738318, -0.49861076], atol=5e-9)
    wide = ours.rgb_to_xyz(((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), ours.D65)
    assert np.allclose(wide[0], [0.63695805, 0.14461690, 0.16888098], atol=5e-9)


def test_bradford_adaptation_from_d65_to_the_profile_white() -> None:
    expected = [
        [1.04788600, 0.02291877, -0.05021610],
        [0.02958178, 0.99048352, -0.01707871],
        [-0.00925188, 0.01507261, 0.75167813],
    ]
    adapt = ours.bradford(ours.xyz_of(ours.D65), ours.ICC_D50_XYZ)
    assert np.allclose(adapt, expected, atol=5e-8)
    assert np.allclose(adapt @ ours.xyz_of(ours.D65), ours.ICC_D50_XYZ)


@pytest.mark.parametrize(
    ("kelvin", "x", "y"),
    [
        (4000, 0.382344, 0.383766), (5000, 0.345741, 0.358666), (5503, 0.332433, 0.347553),
        (6504, 0.312714, 0.329119), (7000, 0.305357, 0.321646), (7500, 0.299091, 0.315025),
        (10000, 0.278800, 0.291967), (25000, 0.249854, 0.254799),
    ],
)  # fmt: skip
def test_daylight_follows_cie_015(kelvin: float, x: float, y: float) -> None:
    assert ours.daylight_xy(kelvin) == pytest.approx((x, y), abs=1e-6 if kelvin != 5503 else 1e-4)


@pytest.mark.parametrize("kelvin", [2000, 2856, 4000, 5500, 6504, 10000, 15000])
@pytest.mark.parametrize("duv", [-0.02, 0.0, 0.0032, 0.02])
def test_temperature_and_distance_agree_with_ohno_2013(kelvin: float, duv: float) -> None:
    uv = reference.temperature.CCT_to_uv([kelvin, duv], method="Ohno 2013")
    assert ours.illuminant_xy(kelvin, duv) == pytest.approx(
        reference.UCS_uv_to_xy(uv), abs=6e-4 if kelvin <= 10000 else 2e-3
    )


def test_a_positive_distance_is_towards_green() -> None:
    assert ours.illuminant_xy(5000, 0.01)[1] > ours.illuminant_xy(5000, 0)[1]


@pytest.mark.parametrize("kelvin", [2000, 2856, 4000, 6504, 9000, 15000])
@pytest.mark.parametrize("duv", [-0.02, 0.0, 0.003, 0.02])
def test_temperature_and_distance_are_found_again(kelvin: float, duv: float) -> None:
    found = ours.temperature_of(ours.illuminant_xy(kelvin, duv))
    assert found[0] == pytest.approx(kelvin, rel=2e-4)
    assert found[1] == pytest.approx(duv, abs=1e-6)


def test_temperature_of_standard_lights() -> None:
    """Chromaticities of CIE illuminants A and D65 (CIE 015); their temperatures are 2856 K and 6504 K.

    Krystek's locus, on which they are told, is right to about 3 K at the first and 10 K at the second.
    """
    kelvin, duv = ours.temperature_of((0.44758, 0.40745))
    assert kelvin == pytest.approx(2856, abs=6)
    assert abs(duv) < 2e-4
    kelvin, duv = ours.temperature_of((0.3127, 0.3290))
    assert kelvin == pytest.approx(6504, abs=15)
    assert duv == pytest.approx(0.0032, abs=2e-4)
