"""sRGB and CIELAB against the standards' own values and two independent libraries."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from skimage.color import rgb2lab

from vision.colour import (
    FROM_INTENSITY_CHROMA,
    INTENSITY_CHROMA,
    LUMINANCE,
    lab_from_linear,
    lab_slopes,
    linear_from_srgb,
)

D65 = np.array([0.3127, 0.3290])

LIBRARIES_LAB = 0.03
"""scikit-image and colour-science round the white and the matrix otherwise; they differ by 0.02."""


def every_level() -> np.ndarray:
    return np.arange(256, dtype=np.uint8)


def colours(number: int = 400) -> np.ndarray:
    return np.random.default_rng(3).integers(0, 256, (number, 3)).astype(np.uint8)


@pytest.mark.parametrize(
    ("level", "linear"), [(0, 0.0), (128, 0.2158605), (188, 0.5028865), (255, 1.0)]
)
def test_levels_become_light_as_the_standard_says(level: int, linear: float) -> None:
    """IEC 61966-2-1:1999, clause 5.2, to seven decimals."""
    assert linear_from_srgb(np.uint8(level)) == pytest.approx(linear, abs=1e-7)


def test_all_levels_agree_with_colour_science(colour_science: ModuleType) -> None:
    expected = colour_science.models.eotf_sRGB(every_level() / 255)

    np.testing.assert_allclose(linear_from_srgb(every_level()), expected, atol=1e-12)


def test_the_two_branches_of_the_transfer_meet_where_the_standard_puts_the_bend() -> None:
    dark, bright = linear_from_srgb(np.uint8(10)), linear_from_srgb(np.uint8(11))

    assert 10 / 255 < 0.04045 < 11 / 255
    assert dark == pytest.approx(10 / 255 / 12.92, abs=1e-12)
    assert bright == pytest.approx(((11 / 255 + 0.055) / 1.055) ** 2.4, abs=1e-12)


def test_a_picture_keeps_its_shape() -> None:
    picture = colours(24).reshape(4, 6, 3)

    assert linear_from_srgb(picture).shape == (4, 6, 3)
    assert lab_from_linear(linear_from_srgb(picture)).shape == (4, 6, 3)


@pytest.mark.parametrize(
    ("pixel", "lab"),
    [
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.74, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((119, 119, 119), (50.034, 0.0, 0.0)),
        ((255, 255, 255), (100.0, 0.0, 0.0)),
        ((0, 0, 0), (0.0, 0.0, 0.0)),
    ],
)
def test_primaries_and_greys_have_their_known_lab(
    pixel: tuple[int, int, int], lab: tuple[float, float, float]
) -> None:
    """CIELAB of the sRGB primaries under D65 as commonly tabulated."""
    found = lab_from_linear(linear_from_srgb(np.array(pixel, np.uint8)))

    np.testing.assert_allclose(found, lab, atol=LIBRARIES_LAB)


def test_every_grey_is_exactly_neutral_and_grows_lighter() -> None:
    greys = lab_from_linear(linear_from_srgb(np.stack([every_level()] * 3, axis=1)))

    np.testing.assert_allclose(greys[:, 1:], 0, atol=1e-9)
    assert (np.diff(greys[:, 0]) > 0).all()


def test_lab_agrees_with_scikit_image() -> None:
    pixels = colours()
    expected = rgb2lab(pixels.reshape(1, -1, 3))[0]

    np.testing.assert_allclose(
        lab_from_linear(linear_from_srgb(pixels)), expected, atol=LIBRARIES_LAB
    )


def test_lab_agrees_with_colour_science(colour_science: ModuleType) -> None:
    pixels = colours()
    xyz = colour_science.sRGB_to_XYZ(pixels / 255)
    expected = colour_science.XYZ_to_Lab(xyz, illuminant=D65)

    np.testing.assert_allclose(
        lab_from_linear(linear_from_srgb(pixels)), expected, atol=LIBRARIES_LAB
    )


def test_light_below_zero_counts_as_none() -> None:
    np.testing.assert_array_equal(lab_from_linear(np.full((1, 3), -0.01)), np.zeros((1, 3)))


def test_the_luminance_of_white_is_one() -> None:
    assert LUMINANCE.sum() == pytest.approx(1.0, abs=1e-12)


def test_dimming_changes_intensity_and_neither_chroma() -> None:
    light = np.log(linear_from_srgb(np.array([[200, 150, 90]], np.uint8)))
    before, after = light @ INTENSITY_CHROMA.T, (light + np.log(0.5)) @ INTENSITY_CHROMA.T

    np.testing.assert_allclose(after - before, [[np.log(0.5), 0, 0]], atol=1e-12)
    np.testing.assert_allclose(before @ FROM_INTENSITY_CHROMA.T, light, atol=1e-12)


def test_slopes_are_those_of_colour_science_lab(colour_science: ModuleType) -> None:
    """Central differences of another library's CIELAB; from black, where the curve is straight, to
    full scale."""
    rgb = np.vstack([np.zeros((1, 3)), linear_from_srgb(colours())])
    step = 1e-6
    matrix = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )  # IEC 61966-2-1:1999, clause 5.2
    white = matrix.sum(axis=1)
    chromaticity = white[:2] / white.sum()

    def lab(linear: np.ndarray) -> np.ndarray:
        return np.asarray(colour_science.XYZ_to_Lab(linear @ matrix.T, chromaticity))

    steps = step * np.eye(3)
    expected = np.stack([(lab(rgb + one) - lab(rgb - one)) / (2 * step) for one in steps], axis=2)

    np.testing.assert_allclose(lab_slopes(rgb), expected, rtol=1e-4, atol=1e-2)
