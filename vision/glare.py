"""The colour of the glare over each cell, from how the cell brightens towards it.

A glossy top under a lamp shows m * c + s * v: its own colour c, shaded by m, under a veil s of
mirrored light of colour v. Across one cell the veil grows much faster than the shading, so that
the change of colour from its dull to its bright side points to v, whatever c is. Sources: Shafer,
"Using color to separate reflection components", 1985 (the model); Lee, "Method for computing the
scene-illuminant chromaticity from specular highlights", JOSA A 3(10), 1986 (the lamp's colour from
the lines that highlights draw).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import LUMINANCE

Array = NDArray[np.float64]

USUAL = np.log([1.10, 0.94])
"""Log red and blue of mirrored light against green where no cell tells it: near neutral."""

USUAL_COVARIANCE = 0.1**2 * np.array([[1.0, -0.5], [-0.5, 1.0]])

SHADING_CHANGE = 0.12
"""How much the shading of a piece's own colour may change across it, share."""

CHANGE_NOISE = 0.03
"""Log chromaticity by which a change of colour may miss the glare's for other reasons."""

CAUTION = 2.0
"""Factor on the variance of what one cell tells: its neighbours err alike."""

REACH_MM = 30.0
FAR = 0.1
"""A cell's word counts less with distance, but never less than this: one lamp serves the board."""

LEAST_CHANGE = 0.002
"""Linear light below which a change of colour tells nothing."""

ROUNDS = 4
OUTLIER = 6.0

NARROW = 0.1
"""Share of the field's standard deviation that is left open when all cells are weighed together:
what all cells tell of the glare has been used already."""


@dataclass(frozen=True, eq=False)
class Smoothing:
    """How smooth surfaces of second order are fitted to the pixels of one cell: their ``terms``
    (P, 6) at each pixel, and the ``solver`` (6, P), the terms' pseudo-inverse."""

    terms: Array
    solver: Array


def smoothing_at(places: Array) -> Smoothing:
    """The fit for pixels at ``places`` (P, 2)."""
    x, y = ((places - places.mean(axis=0)) / places.std(axis=0)).T
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    return Smoothing(terms, np.linalg.pinv(terms))


def brightening(pixels: Array, smoothing: Smoothing) -> tuple[Array, Array]:
    """Change (3,) of linear RGB from a cell's dull to its bright quarter, and its noise (3,).

    A smooth surface is fitted to ``pixels`` (P, 3), so that grain is not taken for glare.
    """
    terms, solver = smoothing.terms, smoothing.solver
    surface = solver @ pixels
    smooth = terms @ surface
    order, quarter = np.argsort(smooth @ LUMINANCE), max(len(pixels) // 4, 1)
    way = terms[order[-quarter:]].mean(axis=0) - terms[order[:quarter]].mean(axis=0)
    grain = np.sqrt(((pixels - smooth) ** 2).sum(axis=0) / max(len(pixels) - 6, 1))
    # Twice: neighbouring pixels of a resampled picture do not err independently.
    return way @ surface, 2 * np.linalg.norm(way @ solver) * grain


def usual_veil(count: int) -> tuple[Array, Array]:
    """Log red and blue (N, 2) of the veil against green where nothing is told, and a root of its
    covariance (N, 2, 2)."""
    root = np.linalg.cholesky(USUAL_COVARIANCE)
    return np.tile(USUAL, (count, 1)), np.tile(root, (count, 1, 1))


def veil_colours(
    change: Array, noise: Array, own: Array, pieces: NDArray[np.bool_], places_mm: Array
) -> tuple[Array, Array]:
    """As ``usual_veil``, where cells tell: their ``change`` and its ``noise`` (N, 3), relative.

    ``own`` (N, 3): the likely colour of each cell's piece, shaded; ``pieces`` (N,): cells with one.
    Bayesian regression, each cell's word weighed by its distance (N, 2) mm, outliers by Cauchy's
    weights.
    """
    shown = np.maximum(change, 1e-5)
    slope = np.zeros((len(change), 2, 3))
    slope[:, 0, 0], slope[:, 1, 2] = 1 / shown[:, 0], 1 / shown[:, 2]
    slope[:, :, 1] = -1 / shown[:, 1:2]
    errors = SHADING_CHANGE**2 * own[:, :, None] * own[:, None, :]
    errors = errors + np.eye(3) * (noise**2)[:, None, :]
    covariance = slope @ errors @ slope.transpose(0, 2, 1) + CHANGE_NOISE**2 * np.eye(2)
    precision = np.linalg.inv(covariance) / CAUTION
    told = np.log(shown[:, [0, 2]] / shown[:, 1:2]) - USUAL
    apart = ((places_mm[:, None] - places_mm) ** 2).sum(axis=-1)
    weight = np.maximum(np.exp(-apart / (2 * REACH_MM**2)), FAR)
    weight = weight * (pieces & (change > LEAST_CHANGE).all(axis=1))
    trust = np.ones_like(weight)
    for _ in range(ROUNDS):
        total = np.linalg.inv(USUAL_COVARIANCE) + np.einsum(
            "ij,jab->iab", weight * trust, precision
        )
        pull = np.einsum("ij,ja->ia", weight * trust, np.einsum("jab,jb->ja", precision, told))
        veil = np.linalg.solve(total, pull[:, :, None])[:, :, 0]
        miss = told - veil[:, None]
        trust = 1 / (1 + np.einsum("ija,jab,ijb->ij", miss, precision, miss) / OUTLIER)
    return USUAL + veil, NARROW * np.linalg.cholesky(np.linalg.inv(total))
