"""How well a learned sample explains a cell: shaded, and veiled by glare.

A cell x, as it would look in the light that the sample p was seen in, is explained as
m * p + s * v: m shades it, s is the veil of mirrored light of colour v (the dichromatic model;
Shafer 1985). CIELAB is taken as linear round the cell's own colour, so that the best m and s are
those of a weighted least squares problem with two unknowns, solved in closed form for many pairs
and lights at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import FROM_INTENSITY_CHROMA, lab_slopes

Array = NDArray[np.float64]
Small = NDArray[np.float32]
Floats = NDArray[np.floating]

NOISE_PER_VEIL = 5.0
NOISE_PER_SHADING = 3.0
"""CIELAB units by which the noise of a cell grows with its veil, and with its log shading."""

CLEARER = 0.01
"""A cell may carry so much less veil than a sample of no veil did: share of white."""

FAINTEST = 0.05
"""No shading is taken for less, as factor of the sample's light."""

SHADINGS = np.array([0.25, 4.0])
"""A shading lies within these factors of the expected one."""


@dataclass(frozen=True, eq=False)
class Expected:
    """What is known before of N cells: log shading (N,) and its deviation; of the veil (N,) a
    normal distribution times an exponential one of this ``veil_rate`` (N,), 1 / mean. A deviation
    of infinity, or a rate of zero, leaves one of the two out."""

    shading: Floats
    shading_sd: Floats
    veil: Floats
    veil_sd: Floats
    veil_rate: Floats

    def at(self, cells: NDArray[np.int64]) -> Expected:
        """The same for ``cells`` (P,) by index."""
        return Expected(*(field[cells] for field in self._fields()))

    def beside(self, other: Expected) -> Expected:
        """What is known of these cells and of the ``other``, one after the other."""
        pairs = zip(self._fields(), other._fields(), strict=True)
        return Expected(*(np.concatenate(pair) for pair in pairs))

    def small(self) -> Expected:
        """The same in single precision."""
        return Expected(
            _small(self.shading),
            _small(self.shading_sd),
            _small(self.veil),
            _small(self.veil_sd),
            _small(self.veil_rate),
        )

    def _fields(self) -> tuple[Floats, ...]:
        return self.shading, self.shading_sd, self.veil, self.veil_sd, self.veil_rate


def seldom_veiled(shading: Array, shading_sd: Array, mean: float) -> Expected:
    """Cells of which nothing but the veil's ``mean``, share of white, is known: an exponential
    distribution."""
    none = np.zeros(len(shading))
    return Expected(shading, shading_sd, none, none + np.inf, none + 1 / mean)


@dataclass(frozen=True, eq=False)
class Explained:
    """For S lights and P pairs (S, P): cost (minus twice a log likelihood), log shading, veil."""

    cost: Array
    shading: Array
    veil: Array


def explain(
    cells: Array,
    whitening: Array,
    samples: Array,
    own_veils: Array,
    of: NDArray[np.int64],
    lamp: Array,
    expected: Expected,
    noise: float,
) -> Explained:
    """``cells`` (S, N, 3) relative linear RGB; ``whitening`` (N, 3, 3) from ``whitening_at``;
    ``samples`` (P, 3) with ``own_veils`` (P,), each to explain the cell ``of`` (P,) by index;
    ``lamp`` (S, N, 3) colour of the veil; ``expected`` of the N cells; ``noise`` in CIELAB units,
    for the spread. Worked out in single precision, which costs some thousandths of a distance and
    halves the time.
    """
    cell = _small(whitening @ cells.transpose(1, 2, 0))
    veiling = _small(whitening @ lamp.transpose(1, 2, 0))
    sample = _small((whitening[of] @ samples[:, :, None])[:, :, 0].T)
    sample_sample = (sample**2).sum(axis=0)
    lamp_sample = _products(veiling, of, sample)
    cell_sample = _products(cell, of, sample)
    lamp_lamp = (veiling**2).sum(axis=1).T[:, of]
    cell_lamp = (cell * veiling).sum(axis=1).T[:, of]
    cell_cell = (cell**2).sum(axis=1).T[:, of]

    expected, own = expected.at(of).small(), _small(own_veils)
    middle = np.exp(expected.shading)
    shading_weight = 1 / (middle * expected.shading_sd) ** 2
    veil_weight = 1 / expected.veil_sd**2
    veil_pull = veil_weight * (expected.veil - own) - expected.veil_rate
    a, b = sample_sample + shading_weight, lamp_lamp + veil_weight
    right_a, right_b = cell_sample + shading_weight * middle, cell_lamp + veil_pull
    determinant = a * b - lamp_sample**2
    shading = (right_a * b - right_b * lamp_sample) / determinant
    more = (right_b * a - right_a * lamp_sample) / determinant
    least = -(own + CLEARER)
    bound = (more < least) | (shading < 2 * FAINTEST)
    held = np.maximum(more, least)
    held_shading = np.clip(
        (right_a - lamp_sample * held) / a, *(_small(k) * middle for k in SHADINGS)
    )
    shading = np.where(bound, held_shading, shading)
    more = np.where(bound, np.maximum((right_b - lamp_sample * held_shading) / b, least), more)

    missed = (
        cell_cell
        - 2 * (shading * cell_sample + more * cell_lamp)
        + shading * (shading * sample_sample + 2 * more * lamp_sample)
        + more**2 * lamp_lamp
    )
    veil = np.maximum(own + more, 0)
    log_shading = np.log(np.maximum(shading, FAINTEST))
    spread = (
        1 + (NOISE_PER_VEIL / noise * veil) ** 2 + (NOISE_PER_SHADING / noise * log_shading) ** 2
    )
    away = (log_shading - expected.shading) / expected.shading_sd
    more_veiled = (veil - expected.veil) / expected.veil_sd
    cost = np.maximum(missed, 0) / spread + 3 * np.log(spread) + away**2
    cost += more_veiled**2 + 2 * expected.veil_rate * veil
    return Explained(cost, log_shading, veil)


def _small(values: Floats) -> Small:
    return np.asarray(values, np.float32)


def _products(of_cell: Small, of: NDArray[np.int64], sample: Small) -> Small:
    """Inner products (S, P) of the vectors (N, 3, S) of the cells ``of`` (P,) with ``sample``
    (3, P)."""
    x, y, z = (np.ascontiguousarray(of_cell[:, k].T)[:, of] * sample[k] for k in range(3))
    return x + y + z


def whitening_at(cells: Array, noise: float, chroma_sd: Array | float) -> Array:
    """Matrices (N, 3, 3) that turn a small difference of linear RGB at ``cells`` (N, 3) into
    independent standard deviations: ``noise`` on each axis of CIELAB, and the light's own
    chromaticity uncertain by ``chroma_sd`` (log; one for all, or (1, 1, 2))."""
    cells = np.maximum(cells, 1e-4)
    slopes = lab_slopes(cells)
    along = slopes @ (cells[:, :, None] * FROM_INTENSITY_CHROMA[None, :, 1:]) * chroma_sd
    covariance = np.eye(3) * noise**2 + along @ along.transpose(0, 2, 1)
    return np.linalg.solve(np.linalg.cholesky(covariance), slopes)
