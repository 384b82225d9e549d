"""The glare that learned samples carry already.

A glossy surface under light of colour v shows m * c + s * v: its own colour c, shaded by m, under
a veil s of mirrored light. Source: Shafer, "Using color to separate reflection components", Color
Research and Application 10(4), 1985 (the dichromatic reflection model).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

VEIL = np.array([1.04, 1.0, 0.93])
"""Relative colour of mirrored light: near neutral, for cameras balance on the lamp (by hand)."""


def veils_of(samples: Array) -> Array:
    """Veil (M,) that each sample (M, 3) of one colour carries, against its least veiled third.

    Least squares of m * c + s * v with a prior of 1 +- 0.25 on m.
    """
    order = np.argsort(samples.min(axis=1))
    clear = np.median(samples[order[: max(2, len(samples) // 3)]], axis=0)
    weight = 0.06
    design = np.vstack([np.column_stack([clear, VEIL]), [weight, 0]])
    targets = np.vstack([samples.T, np.full(len(samples), weight)])
    solved = np.linalg.lstsq(design, targets, rcond=None)[0]
    return np.maximum(solved[1], 0)
