"""All cells of a photo under one light: what they share of its unknown shift is weighed once.

Today's light is known from the bare board only so far. What remains unknown moves every cell's
colour alike: two chromaticities of the lamp, two of its glare, and three ways in which it mixes the
channels of saturated colours. Judged one by one, cells must
each allow for the whole shift; judged together, twenty cells that all look a little bluer tell it.
The shift is not estimated but integrated over (importance sampling with an adapted Gaussian
proposal: Oh and Berger, "Adaptive importance sampling in Monte Carlo integration", 1992; tempered
while few draws carry the weight), and no cell speaks for itself: a best guess would feed on its own
errors. What a lamp does to a colour hangs on the paint too (metamerism), so that cells of like
colour count most (a kernel-weighted likelihood: Tibshirani and Hastie, "Local likelihood
estimation", JASA 82(398), 1987).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from vision.colour import lab_from_linear
from vision.fit import SHIFTS

Array = NDArray[np.float64]

KIN_LAB = 20.0
"""Distance in CIELAB, lightness counting ``KIN_LIGHTNESS``, over which cells cease to be alike."""

KIN_LIGHTNESS = 0.3
LEAST_KIN = 0.1
"""Power of a cell's word for one of quite another colour: the lamp is the same."""

STRANGER = 20.0
"""Distance from which a cell says nothing more against a shift: it may be no learned piece."""

COARSE = 0.5
"""Power of what all cells say of a shift: no lamp moves colours quite as the model has it, so that
many cells must not make it as sure as they would if one did (a coarsened posterior; Miller and
Dunson, "Robust Bayesian inference via coarsening", JASA 114(527), 2019). The cells of several
boards together count no more than those of one."""

ROUNDS = 2
DRAWS = 48
ENOUGH = 12.0
"""Effective number of draws below which the weights are tempered."""

TEMPERS = (1.0, 0.5, 0.25, 0.12, 0.06, 0.03)
WIDER = 1.5
NARROWEST = 0.15
"""The proposal is wider than what it follows, and never narrower than this share of the prior."""

_STRATA = np.random.default_rng(1).random((ROUNDS, DRAWS, SHIFTS)).argsort(axis=1)
_NORMAL = ndtri((_STRATA + 0.5) / DRAWS)
"""Standard normal draws of every round, spread evenly along each axis (Latin hypercube; McKay,
Beckman, Conover, Technometrics 21, 1979)."""


def weigh_together(
    distances_under: Callable[[Array], Array],
    known: Mapping[int, int],
    kin: Array,
    boards: int = 1,
) -> tuple[Array, Array]:
    """Distances (N, C), minus twice a log likelihood, with the shift integrated over; mean shift.

    ``distances_under`` gives the distances (S, N, C) under shifts (S, 7) in standard deviations of
    what is known before; ``known``: label index of the cells that a person named; ``kin`` (N, N):
    power of each cell's word for each other, from ``kinship``; ``boards``: how many the cells
    lie on.
    """
    draws, correction = _NORMAL[0], np.zeros(DRAWS)
    for round_ in range(ROUNDS):
        distances = distances_under(draws)
        said = _said(distances, known, COARSE / boards)
        if round_ < ROUNDS - 1:
            share = _tempered(said.sum(axis=1), correction)
            draws, correction = _proposal(draws, share, _NORMAL[round_ + 1])
    weight = said.sum(axis=1) + correction
    by_others = _share(said @ kin.T + correction[:, None])
    least = distances.min(axis=0)
    likelihood = np.exp(-0.5 * (distances - least))
    mixed = np.einsum("sn,snc->nc", by_others, likelihood)
    return least - 2 * np.log(np.maximum(mixed, 1e-300)), _share(weight) @ draws


def kinship(cells: Array) -> Array:
    """Power (N, N) of each cell's word for each other, by their colours (N, 3), linear RGB."""
    lab = lab_from_linear(np.maximum(cells, 1e-4)) * (KIN_LIGHTNESS, 1, 1)
    apart = ((lab[:, None] - lab) ** 2).sum(axis=2)
    kin = LEAST_KIN + (1 - LEAST_KIN) * np.exp(-apart / (2 * KIN_LAB**2))
    np.fill_diagonal(kin, 0)
    return kin


def _said(distances: Array, known: Mapping[int, int], coarse: float) -> Array:
    """Each cell's log likelihood (S, N) of each shift, to the power that it counts."""
    least = distances.min(axis=2, keepdims=True)
    said = np.log(np.exp(-0.5 * (distances - least)).sum(axis=2)) - 0.5 * least[:, :, 0]
    for cell, label in known.items():
        said[:, cell] = -0.5 * distances[:, cell, label]
    power = np.full(said.shape[1], coarse)
    power[list(known)] = 1.0  # a person's word counts in full
    return power * np.logaddexp(said, -0.5 * STRANGER)


def _tempered(said: Array, correction: Array) -> Array:
    """Weights (S,) of the draws, flattened until enough of them count."""
    for temper in TEMPERS:
        share = _share(temper * said + correction)
        if 1 / (share**2).sum() > ENOUGH:
            break
    return share


def _proposal(draws: Array, share: Array, normal: Array) -> tuple[Array, Array]:
    """New draws (S, 7) round the likely ones, and log prior minus log proposal (S,)."""
    centre = share @ draws
    away = draws - centre
    covariance = WIDER * (away.T @ (away * share[:, None]) + NARROWEST**2 * np.eye(SHIFTS))
    drawn = centre + normal @ np.linalg.cholesky(covariance).T
    return drawn, 0.5 * (normal**2).sum(axis=1) - 0.5 * (drawn**2).sum(axis=1)


def _share(log_weight: Array) -> Array:
    """Weights that add up to one along the first axis."""
    weight = np.exp(log_weight - log_weight.max(axis=0))
    return weight / weight.sum(axis=0)
