"""Smooth fields over the board from scattered, noisy values: Gaussian process regression.

Source: Rasmussen and Williams, "Gaussian Processes for Machine Learning", 2006, ch. 2 (prediction,
eq. 2.25-2.26) and ch. 5 (leave-one-out, eq. 5.12).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

Kernel = Sequence[tuple[float, float]]
"""Sum of squared exponentials, each (standard deviation, length in mm; infinity for a constant)."""


def covariance(a_mm: Array, b_mm: Array, kernel: Kernel) -> Array:
    """Prior covariance (N, M) between places of shape (N, 2) and (M, 2), mm."""
    squared = ((a_mm[:, None] - b_mm[None]) ** 2).sum(axis=2)
    return np.sum([sd**2 * np.exp(-squared / (2 * length**2)) for sd, length in kernel], axis=0)


def predict(
    places_mm: Array, seen_mm: Array, values: Array, noise_sd: Array, kernel: Kernel
) -> Array:
    """Mean (N,) of the field at places (N, 2) given values (M,) seen at (M, 2) with noise (M,).

    Values (M, K) of K fields of one kernel and noise give means (N, K).
    """
    if len(seen_mm) == 0:
        return np.zeros(len(places_mm))
    return weights(places_mm, seen_mm, noise_sd, kernel) @ values


def weights(places_mm: Array, seen_mm: Array, noise_sd: Array, kernel: Kernel) -> Array:
    """What each value seen counts at each place (N, M), as ``predict`` weighs them."""
    inner = covariance(seen_mm, seen_mm, kernel) + np.diag(noise_sd**2)
    return np.asarray(np.linalg.solve(inner, covariance(seen_mm, places_mm, kernel)).T)


def leave_one_out(
    places_mm: Array, values: Array, noise_sd: Array, kernel: Kernel
) -> tuple[Array, Array]:
    """Mean and variance (N,) of the field at each place as all the other places tell it."""
    precision = np.linalg.inv(covariance(places_mm, places_mm, kernel) + np.diag(noise_sd**2))
    own = np.diag(precision)
    return values - precision @ values / own, np.maximum(1 / own - noise_sd**2, 0)
