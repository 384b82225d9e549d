"""The closed form that explains cells by samples, against a general optimiser."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from vision.explain import Expected, Explained, explain, seldom_veiled, whitening_at

SAMPLES = np.array([[0.04, 0.03, 0.02], [0.3, 0.1, 0.05], [0.2, 0.4, 0.3]])
LAMP = np.array([1.2, 1.0, 0.9])
NOISE = 1.5


def cells(count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Shaded and veiled cells of the samples in turn, and how they were made."""
    rng = np.random.default_rng(5)
    label = np.arange(count) % len(SAMPLES)
    shading, veil = np.exp(rng.normal(0, 0.1, count)), rng.uniform(0.02, 0.3, count)
    return shading[:, None] * SAMPLES[label] + veil[:, None] * LAMP, label, shading, veil


def expecting(veil: np.ndarray) -> Expected:
    """That each cell carries its ``veil``, more or less."""
    none = np.zeros(len(veil))
    return Expected(none, none + 0.3, veil, none + 0.05, none)


def explained(shown: np.ndarray, expected: Expected) -> tuple[Explained, np.ndarray]:
    lamp = np.tile(LAMP, (1, len(shown), 1))
    whitening = whitening_at(shown, NOISE, 0.02)
    of, which = np.divmod(np.arange(3 * len(shown)), 3)
    got = explain(
        shown[None], whitening, SAMPLES[which], np.zeros(len(of)), of, lamp, expected, NOISE
    )
    pairs = [part.reshape(-1, 3) for part in (got.cost, got.shading, got.veil)]
    return Explained(*pairs), whitening


def test_shading_and_veil_are_found_again() -> None:
    shown, label, _, veil = cells(30)
    got, _ = explained(shown, expecting(veil))
    rows = np.arange(30)

    assert (got.cost.argmin(axis=1) == label).mean() > 0.9
    np.testing.assert_allclose(got.veil[rows, label], veil, atol=0.01)


@pytest.mark.parametrize("seldom", [False, True])
@pytest.mark.parametrize("cell", range(9))
def test_no_other_shading_and_veil_fits_better(cell: int, seldom: bool) -> None:
    """scipy's Nelder-Mead on the same squared distance, from where the closed form ended: with a
    veil expected, and with nothing known but that veils are few."""
    shown, label, _, veil = cells(9)
    few = seldom_veiled(np.zeros(9), np.full(9, 0.3), 0.1)
    got, whitening = explained(shown, few if seldom else expecting(veil))

    def squared(free: np.ndarray) -> float:
        miss = shown[cell] - free[0] * SAMPLES[label[cell]] - free[1] * LAMP
        veiled = 2 * free[1] / 0.1 if seldom else ((free[1] - veil[cell]) / 0.05) ** 2
        return float(((whitening[cell] @ miss) ** 2).sum() + ((free[0] - 1) / 0.3) ** 2 + veiled)

    found = np.exp(got.shading[cell, label[cell]]), got.veil[cell, label[cell]]
    best = minimize(squared, found, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})

    assert squared(np.array(found)) <= best.fun + 1e-6
