"""How lamps mix channels, against published spectra."""

from __future__ import annotations

from itertools import permutations

import colour
import numpy as np
import pytest

from vision.mixing import MIXINGS, unmixed

SHAPE = colour.SpectralShape(400, 700, 10)

LIGHTS = (
    *("A", "D50", "D65", "D75"),
    *("FL1", "FL2", "FL3", "FL7", "FL11", "FL12"),
    *("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-V1", "LED-RGB1"),
)
"""CIE 15:2018, standard illuminants and illuminants representing lamps, as colour-science ships
them."""

LEAST = 0.015
"""Linear RGB below which a channel is too dark to tell how it was mixed."""


def spectrum(published: colour.SpectralDistribution) -> np.ndarray:
    return np.asarray(published.copy().align(SHAPE).values)


CHART = np.array(
    [spectrum(patch) for patch in colour.SDS_COLOURCHECKERS["BabelColor Average"].values()]
)
CAMERA = spectrum(colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"])
"""Reflectances of a 24-patch chart (BabelColor) and sensitivities of a Nikon 5100 (National
Physical Laboratory, Darrodi et al., JOSA A 32(3), 2015), as colour-science ships them."""


def balanced(light: str) -> np.ndarray:
    """The chart (24, 3) as the camera sees it, white balanced."""
    lamp = spectrum(colour.SDS_ILLUMINANTS[light])
    return CHART * lamp @ CAMERA / (lamp @ CAMERA)


def keeping_white(x: np.ndarray, y: np.ndarray, relative: bool) -> np.ndarray:
    """The matrix with rows that add up to one that takes colours x to y (K, 3), least squares."""
    matrix = np.zeros((3, 3))
    for i in range(3):
        others = [j for j in range(3) if j != i]
        unit = x[:, [i]] if relative else np.ones((len(x), 1))
        slopes = (x[:, others] - x[:, [i]]) / unit
        matrix[i, others] = np.linalg.lstsq(slopes, (y - x)[:, i] / unit[:, 0], rcond=None)[0]
        matrix[i, i] = 1 - matrix[i].sum()
    return matrix


def developed(raw: np.ndarray, balance: np.ndarray) -> np.ndarray:
    """Linear sRGB of a raw chart, by the matrix that suits the raw chart ``balance`` best."""
    observer = spectrum(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    day = spectrum(colour.SDS_ILLUMINANTS["D65"])
    wanted = colour.XYZ_to_RGB(CHART * day @ observer / (day @ observer[:, 1]), "sRGB")
    return raw @ keeping_white(balance, wanted, relative=False).T


@pytest.fixture(scope="module")
def mixings() -> np.ndarray:
    """What each change of light mixes (612, 3, 3): by a phone that follows with its colour matrix,
    and by one that does not."""
    raws = {light: balanced(light) for light in LIGHTS}
    found = []
    for one, other in permutations(LIGHTS, 2):
        for follows in (True, False):
            x = developed(raws[one], raws[one])
            y = developed(raws[other], raws[other if follows else one])
            told = ((x > LEAST) & (y > LEAST)).all(axis=1)
            found.append(keeping_white(x[told], y[told], relative=True) - np.eye(3))
    return np.array(found)


def test_the_three_mixings_are_the_principal_components_of_published_lights(
    mixings: np.ndarray,
) -> None:
    flat = mixings.reshape(len(mixings), 9)
    squares, components = np.linalg.eigh(flat.T @ flat / len(flat))
    principal = (components[:, ::-1] * np.sqrt(np.maximum(squares[::-1], 0)))[:, :3].T

    assert squares[-3:].sum() / squares.sum() == pytest.approx(0.96, abs=0.01)
    for own, published in zip(MIXINGS.reshape(3, 9), principal, strict=True):
        np.testing.assert_allclose(own * np.sign(own @ published), published, atol=0.0011)


def test_white_stays_white() -> None:
    amounts = np.random.default_rng(3).normal(size=(20, 3))

    np.testing.assert_allclose(unmixed(amounts) @ np.ones(3), np.ones((20, 3)), atol=1e-12)


def test_what_was_mixed_is_undone() -> None:
    colours = np.random.default_rng(4).uniform(0.05, 1, (10, 3))
    mixed = colours @ (np.eye(3) + 0.5 * MIXINGS[0] - 1.5 * MIXINGS[2]).T

    again = mixed @ unmixed(np.array([[0.5, 0.0, -1.5]]))[0].T

    np.testing.assert_allclose(again, colours, atol=1e-12)
    assert abs(mixed - colours).max() > 0.05


def test_three_mixings_explain_most_of_what_a_change_of_light_does_to_colours() -> None:
    """From daylight to every lamp, by a phone that keeps its colour matrix."""
    before, after = [], []
    day = balanced("D65")
    for light in LIGHTS:
        x, y = developed(day, day), developed(balanced(light), day)
        told = ((x > LEAST) & (y > LEAST)).all(axis=1)
        x, y = x[told], y[told]
        grid = np.stack(np.meshgrid(*[np.linspace(-2, 2, 9)] * 3), axis=-1).reshape(-1, 3)
        before.append(_off(x, y))
        after.append(min(_off(x, y @ matrix.T) for matrix in unmixed(grid)))

    assert np.mean(after) < 0.6 * np.mean(before)


def _off(x: np.ndarray, y: np.ndarray) -> float:
    """Log chromaticities (root mean square) by which colours y (K, 3) are off x."""
    ratio = np.log(np.maximum(y, 1e-3) / x)
    return float(np.sqrt(((ratio - ratio.mean(axis=1, keepdims=True)) ** 2).mean()))
