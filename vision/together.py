"""All cells of a photo under one light: what they share of its unknown shift is weighed once.

Today's light is known from the bare board only so far. What remains unknown shifts every cell's
colour alike: two chromaticities of the lamp, and light scattered in the lens, which adds to dark
colours. Judged one by one, cells must each allow for the whole shift; judged together, twenty cells
that all look a little bluer tell it. The shift is not estimated but integrated over (importance
sampling with an adapted Gaussian proposal: Oh and Berger, "Adaptive importance sampling in Monte
Carlo integration", 1992), and no cell speaks for itself: a best guess would feed on its own errors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import FROM_INTENSITY_CHROMA, lab_from_linear
from vision.shades import NOISE_LAB

Array = NDArray[np.float64]

SHIFT_SD = np.array([0.05, 0.05, 0.004, 0.004])
"""How far today's light may be off what the board tells: log chromaticity towards green and yellow,
scattered light, neutral and yellow (share of white)."""

OWN_NOISE_LAB = (1.2, 2.6)
OWN_CHROMA = (0.015, 0.05)
UNFAMILIAR = (0.6, 2.5)
"""A cell's own noise (CIELAB, and log chromaticity) where the photo's cells look as learned, and
where they do not: their median distance to the likeliest label is the measure."""

TRUST = 0.5
"""Power of each cell's word about the shift: cells side by side err alike."""

STRANGER = 20.0
"""Distance from which a cell says nothing more against a shift: it may be no learned piece."""

NEIGHBOURS = 3
_HALF = np.random.default_rng(0).standard_normal((64, 4))
_DRAWS = np.concatenate([_HALF, -_HALF])


@dataclass(frozen=True, eq=False)
class Looks:
    """The best few looks of every label for every cell: N cells, C labels, V looks.

    ``difference`` (N, C, V, 3) CIELAB, look minus cell; ``spread`` (N, C, V) noise in units of
    ``NOISE_LAB``; ``rest`` (N, C, V) minus twice the log of what does not hang on the colour;
    ``top``, ``board`` (N, 3) relative colour of the cell as a piece and as an empty cell.
    """

    difference: Array
    spread: Array
    rest: Array
    top: Array
    board: Array


def weigh_together(looks: Looks, added: Array, typical: float, known: Mapping[int, int]) -> Array:
    """Distances (N, C), minus twice a log likelihood, with the shift of light integrated over.

    ``added`` (N, C): what else speaks for or against a label; ``typical``: the photo's median
    distance to the likeliest label; ``known``: label index of the cells that a person named.
    """
    strange = np.clip(np.log(typical / UNFAMILIAR[0]) / np.log(UNFAMILIAR[1] / UNFAMILIAR[0]), 0, 1)
    noise = float(np.interp(strange, (0, 1), OWN_NOISE_LAB))
    chroma = float(np.interp(strange, (0, 1), OWN_CHROMA))
    scene = _scene(looks, noise, chroma)
    shifts = _DRAWS * SHIFT_SD
    distances, said = _under(scene, shifts, added, known)
    weight = TRUST * said.sum(axis=1)
    for _ in range(2):
        shifts, correction = _proposal(shifts, weight)
        distances, said = _under(scene, shifts, added, known)
        weight = TRUST * said.sum(axis=1) + correction
    by_others = _share(weight[:, None] - TRUST * said)
    least = distances.min(axis=0)
    likelihood = np.exp(-0.5 * (distances - least))
    return least - 2 * np.log(np.einsum("sn,snc->nc", by_others, likelihood))


@dataclass(frozen=True, eq=False)
class _Scene:
    """Whitened differences, how a shift moves each cell as a piece and as empty, and the rest."""

    difference: Array
    spread_squared: Array
    rest: Array
    top: Array
    board: Array


def _scene(looks: Looks, noise: float, chroma: float) -> _Scene:
    top, board = _slopes(looks.top), _slopes(looks.board)
    whiten_top = whitening(top[:, :, :2], noise, chroma)
    whiten_board = whitening(board[:, :, :2], noise, chroma)
    difference = np.concatenate(
        [
            np.einsum("nij,nkvj->nkvi", whiten_top, looks.difference[:, :-1]),
            np.einsum("nij,nkvj->nkvi", whiten_board, looks.difference[:, -1:]),
        ],
        axis=1,
    )
    spread_squared = 1 + (looks.spread**2 - 1) * (NOISE_LAB / noise) ** 2
    rest = looks.rest + 3 * np.log(spread_squared) - 6 * np.log(looks.spread)
    return _Scene(difference, spread_squared, rest, whiten_top @ top, whiten_board @ board)


def _slopes(colours: Array) -> Array:
    """Change of CIELAB (N, 3, 4) of colours (N, 3) per unit of each shift."""
    here, veil = lab_from_linear(colours), 0.003
    ways = (np.ones(3), np.array([0.5, 0.0, -1.0]))
    veiled = [
        (lab_from_linear(np.maximum(colours + veil * way, 1e-4)) - here) / veil for way in ways
    ]
    return np.concatenate([lamp_slopes(colours), np.stack(veiled, axis=2)], axis=2)


def lamp_slopes(colours: Array) -> Array:
    """Change of CIELAB (N, 3, 2) of colours (N, 3) per log unit of a greener, a yellower lamp."""
    here, step = lab_from_linear(colours), 0.02
    moved = [
        (lab_from_linear(colours * np.exp(step * FROM_INTENSITY_CHROMA[:, k])) - here) / step
        for k in (1, 2)
    ]
    return np.stack(moved, axis=2)


def whitening(slopes: Array, noise: float, chroma_sd: Array | float) -> Array:
    """Matrices (N, 3, 3) that turn a CIELAB difference into standard deviations.

    ``noise`` on each axis, and along the lamp's slopes (N, 3, 2) its own uncertainty more:
    ``chroma_sd``, one for all or (N, 1, 2).
    """
    along = slopes * chroma_sd
    covariance = np.eye(3) * noise**2 + along @ along.transpose(0, 2, 1)
    return np.linalg.cholesky(np.linalg.inv(covariance)).transpose(0, 2, 1)


def _under(
    scene: _Scene, shifts: Array, added: Array, known: Mapping[int, int]
) -> tuple[Array, Array]:
    """Distances (S, N, C) under each shift (S, 4), and each cell's log likelihood (S, N) of it."""
    distances = np.concatenate(
        [
            _nearest(scene, slice(0, -1), np.einsum("nij,sj->sni", scene.top, shifts)),
            _nearest(scene, slice(-1, None), np.einsum("nij,sj->sni", scene.board, shifts)),
        ],
        axis=2,
    )
    distances += added
    least = distances.min(axis=2, keepdims=True)
    said = np.log(np.exp(-0.5 * (distances - least)).sum(axis=2)) - 0.5 * least[:, :, 0]
    for cell, label in known.items():
        said[:, cell] = -0.5 * distances[:, cell, label]
    return distances, np.logaddexp(said, -0.5 * STRANGER)


def _nearest(scene: _Scene, labels: slice, moved: Array) -> Array:
    """Mean distance (S, N, labels) of the nearest looks when every look is ``moved`` (S, N, 3)."""
    still = scene.difference[:, labels]
    squared = (
        (still**2).sum(axis=-1)
        + 2 * np.einsum("nkvi,sni->snkv", still, moved, optimize=True)
        + (moved**2).sum(axis=-1)[:, :, None, None]
    )
    cost = squared / scene.spread_squared[:, labels] + scene.rest[:, labels]
    return np.partition(cost, NEIGHBOURS - 1, axis=-1)[..., :NEIGHBOURS].mean(axis=-1)


def _proposal(shifts: Array, weight: Array) -> tuple[Array, Array]:
    """New shifts (S, 4) drawn around the likely ones, and log prior minus log proposal (S,)."""
    share = _share(weight)
    centre = share @ shifts
    away = shifts - centre
    covariance = 1.5 * (away.T @ (away * share[:, None]) + np.diag((0.15 * SHIFT_SD) ** 2))
    drawn = centre + _DRAWS @ np.linalg.cholesky(covariance).T
    prior = -0.5 * ((drawn / SHIFT_SD) ** 2).sum(axis=1)
    return drawn, prior + 0.5 * (_DRAWS**2).sum(axis=1)


def _share(log_weight: Array) -> Array:
    """Weights that add up to one along the first axis."""
    weight = np.exp(log_weight - log_weight.max(axis=0))
    return weight / weight.sum(axis=0)
