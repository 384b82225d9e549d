"""How well each learned sample explains each cell: shaded, veiled by glare, under a shifted light.

A cell x is explained by a sample p as a * (m * p + s * v): m shades it, s is the veil of mirrored
light of colour v, a the shift of the light (the dichromatic model; Shafer 1985). CIELAB is taken as
linear round the cell's own colour, so that the best m and s are those of a weighted least squares
problem with two unknowns, solved in closed form for all cells, samples and shifts at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import FROM_INTENSITY_CHROMA, lab_from_linear

Array = NDArray[np.float64]

NOISE_PER_VEIL = 5.0
NOISE_PER_SHADING = 3.0
"""CIELAB units by which the noise of a cell grows with its veil, and with its log shading."""

CLEARER = 0.01
"""A cell may carry so much less veil than a sample of no veil did: share of white."""

FAINTEST = 0.05
SHADINGS = (0.25, 4.0)
"""A shading lies within these factors of the expected one."""


@dataclass(frozen=True, eq=False)
class Expected:
    """What is known before: log shading (N,) and its deviation; veil (N,) and its deviation.

    Without a veil known, ``veil_scale`` is the mean of an exponential distribution.
    """

    shading: Array
    shading_sd: Array
    veil_scale: float
    veil: Array | None = None
    veil_sd: Array | None = None


@dataclass(frozen=True, eq=False)
class Explained:
    """For S shifts, N cells, J samples: cost (minus twice a log likelihood), log shading, veil."""

    cost: Array
    shading: Array
    veil: Array


def explain(
    cells: Array,
    metric: Array,
    samples: Array,
    own_veils: Array,
    lamp: Array,
    light: Array,
    expected: Expected,
    noise: float,
) -> Explained:
    """``cells`` (N, 3) relative linear RGB; ``metric`` (N, 3, 3) from ``metric_of``; ``samples``
    (J, 3), or (N, J, 3) where each cell has its own, with ``own_veils`` (J,); ``lamp`` (S, N, 3)
    colour of the veil; ``light`` (S, 3) factors; ``noise`` in CIELAB units, for the spread.
    """
    seen = cells[None] / light[:, None]
    ours = np.broadcast_to(samples, (len(cells), *samples.shape[-2:]))
    by_cell = np.einsum("nij,snj->sni", metric, seen)
    by_lamp = np.einsum("nij,snj->sni", metric, lamp)
    sample_sample = np.einsum("nji,nik,njk->nj", ours, metric, ours, optimize=True)[None]
    lamp_sample = np.einsum("sni,nji->snj", by_lamp, ours, optimize=True)
    cell_sample = np.einsum("sni,nji->snj", by_cell, ours, optimize=True)
    lamp_lamp = (by_lamp * lamp).sum(axis=-1)[:, :, None]
    cell_lamp = (by_cell * lamp).sum(axis=-1)[:, :, None]
    cell_cell = (by_cell * seen).sum(axis=-1)[:, :, None]

    middle = np.exp(expected.shading)[None, :, None]
    shading_weight = 1 / (middle * expected.shading_sd[None, :, None]) ** 2
    veil_weight, veil_pull = _veil_prior(expected, own_veils)
    a, b = sample_sample + shading_weight, lamp_lamp + veil_weight
    right_a, right_b = cell_sample + shading_weight * middle, cell_lamp + veil_pull
    determinant = a * b - lamp_sample**2
    shading = (right_a * b - right_b * lamp_sample) / determinant
    more = (right_b * a - right_a * lamp_sample) / determinant
    least = -(own_veils + CLEARER)
    bound = (more < least) | (shading < 2 * FAINTEST)
    held = np.maximum(more, least)
    held_shading = np.clip((right_a - lamp_sample * held) / a, *(k * middle for k in SHADINGS))
    shading = np.where(bound, held_shading, shading)
    more = np.where(bound, np.maximum((right_b - lamp_sample * held_shading) / b, least), more)

    missed = (
        cell_cell
        - 2 * (shading * cell_sample + more * cell_lamp)
        + shading * (shading * sample_sample + 2 * more * lamp_sample)
        + more**2 * lamp_lamp
    )
    veil = np.maximum(own_veils + more, 0)
    log_shading = np.log(np.maximum(shading, FAINTEST))
    spread = (
        1 + (NOISE_PER_VEIL / noise * veil) ** 2 + (NOISE_PER_SHADING / noise * log_shading) ** 2
    )
    away = (log_shading - np.log(middle)) / expected.shading_sd[None, :, None]
    cost = np.maximum(missed, 0) / spread + 3 * np.log(spread) + away**2
    return Explained(cost + _veil_cost(expected, veil), log_shading, veil)


def _veil_prior(expected: Expected, own_veils: Array) -> tuple[Array | float, Array | float]:
    """Weight of the veil's prior, and its pull towards more veil."""
    if expected.veil is None or expected.veil_sd is None:
        return 1e-6, -1 / expected.veil_scale
    weight = 1 / expected.veil_sd[None, :, None] ** 2
    return weight, weight * (expected.veil[None, :, None] - own_veils)


def _veil_cost(expected: Expected, veil: Array) -> Array:
    if expected.veil is None or expected.veil_sd is None:
        return 2 * veil / expected.veil_scale
    return ((veil - expected.veil[None, :, None]) / expected.veil_sd[None, :, None]) ** 2


def metric_of(cells: Array, noise: float, chroma_sd: Array | float) -> Array:
    """Matrices (N, 3, 3) that turn a small difference of linear RGB at ``cells`` (N, 3) into a
    squared number of standard deviations: ``noise`` on each axis of CIELAB, and the light's own
    chromaticity uncertain by ``chroma_sd`` (log; one for all, or (1, 1, 2))."""
    cells = np.maximum(cells, 1e-4)
    slopes = _lab_slopes(cells)
    along = slopes @ (cells[:, :, None] * FROM_INTENSITY_CHROMA[None, :, 1:]) * chroma_sd
    covariance = np.eye(3) * noise**2 + along @ along.transpose(0, 2, 1)
    return slopes.transpose(0, 2, 1) @ np.linalg.inv(covariance) @ slopes


def _lab_slopes(cells: Array) -> Array:
    """Change of CIELAB (N, 3, 3) per change of each of the channels of ``cells`` (N, 3)."""
    here, step = lab_from_linear(cells), 1e-4 + 0.01 * cells
    moved = [
        (lab_from_linear(cells + step * one) - here) / step[:, k : k + 1]
        for k, one in enumerate(np.eye(3))
    ]
    return np.stack(moved, axis=2)
