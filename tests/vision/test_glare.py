"""The glare's colour from how cells brighten, against a renderer's dichromatic surface."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from vision.glare import USUAL, brightening, smoothing_at, usual_veil, veil_colours

SIDE = 16
Y, X = (a.ravel() for a in np.mgrid[:SIDE, :SIDE])
PLACES = np.stack([Y, X], axis=1)
CELLS_MM = np.array([(20.0 * (i % 5), 20.0 * (i // 5)) for i in range(20)])


def veiled(own: np.ndarray, lamp: np.ndarray, most: float, grain: float = 0.0) -> np.ndarray:
    """A cell (P, 3) under a lobe of mirrored light that grows towards one side."""
    lobe = most * np.exp(-(((X - SIDE) ** 2 + (Y - 4) ** 2) / 200.0))
    noise = np.random.default_rng(3).normal(0, grain, (SIDE * SIDE, 3))
    return own + lobe[:, None] * lamp + noise


@given(
    st.tuples(*[st.floats(0.02, 0.6)] * 3),
    st.floats(-0.3, 0.3),
    st.floats(-0.3, 0.3),
    st.floats(0.05, 0.6),
)
def test_a_cell_brightens_towards_the_colour_of_the_lamp(
    own: tuple[float, ...], red: float, blue: float, most: float
) -> None:
    lamp = np.exp([red, 0.0, blue])

    change, noise = brightening(veiled(np.array(own), lamp, most), smoothing_at(PLACES))

    np.testing.assert_allclose(change / change[1], lamp, rtol=1e-6)
    assert (noise < 0.1 * change).all()


def told(lamp: np.ndarray, pieces: np.ndarray, grain: float = 0.002) -> np.ndarray:
    """Log red and blue (N, 2) of the veil over twenty dark cells under one lamp."""
    own = np.tile([0.04, 0.03, 0.025], (20, 1))
    pairs = [brightening(veiled(cell, lamp, 0.2, grain), smoothing_at(PLACES)) for cell in own]
    change, noise = (np.array(part) for part in zip(*pairs, strict=True))
    return veil_colours(change, noise, own, pieces, CELLS_MM)[0]


def test_many_veiled_cells_tell_a_lamp_that_is_not_the_usual_one() -> None:
    lamp = np.exp([0.25, 0.0, -0.2])

    np.testing.assert_allclose(
        told(lamp, np.ones(20, bool)), np.tile([0.25, -0.2], (20, 1)), atol=0.05
    )


def test_where_no_piece_tells_it_the_usual_colour_is_kept() -> None:
    nothing = told(np.exp([0.25, 0.0, -0.2]), np.zeros(20, bool))

    np.testing.assert_allclose(nothing, np.tile(USUAL, (20, 1)))
    np.testing.assert_allclose(usual_veil(20)[0], nothing)
