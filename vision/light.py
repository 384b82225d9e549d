"""Today's light over the board, against the light of the calibration."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import FROM_INTENSITY_CHROMA, INTENSITY_CHROMA, linear_from_srgb
from vision.level import Plan
from vision.smooth import Kernel, predict
from vision.types import Light

Array = NDArray[np.float64]

DARK = 0.004
"""Added to linear values before a logarithm: sensor noise and stray light, share of full scale."""

INTENSITY_KERNEL: Kernel = ((3.0, np.inf), (0.5, 80.0), (0.15, 15.0))
CHROMA_KERNEL: Kernel = ((1.0, np.inf), (0.15, 80.0), (0.03, 15.0))
"""Log intensity and the two log chromas: one level, slow changes, edges of shadows (by hand)."""

INTENSITY_NOISE = 0.10
CHROMA_NOISE = 0.04
"""Standard deviations of one block's log ratios."""

BLOCKS_ACROSS = 26


def light_over(level: NDArray[np.uint8], artwork: NDArray[np.uint8], plan: Plan) -> Light:
    """The light in a level picture against the level artwork, at every cell."""
    seen, ratios = _blocks(level, artwork, plan)
    low, high = np.percentile(ratios[:, 1:], [16, 84], axis=0) if len(ratios) else np.zeros((2, 2))
    return Light(_gain(plan.centres_mm, seen, ratios), (high - low) / 2)


def gain_at(
    places_mm: Array, level: NDArray[np.uint8], artwork: NDArray[np.uint8], plan: Plan
) -> Array:
    """Factors (N, 3) by which ``level`` is brighter than ``artwork`` at places (N, 2), linear RGB.

    Blocks of bare board give log ratios; a Gaussian process carries them over the board.
    """
    return _gain(places_mm, *_blocks(level, artwork, plan))


def _gain(places_mm: Array, seen_mm: Array, ratios: Array) -> Array:
    if len(seen_mm) == 0:
        return np.ones((len(places_mm), 3))
    still = np.ones(len(seen_mm))
    intensity = predict(
        places_mm, seen_mm, ratios[:, :1], INTENSITY_NOISE * still, INTENSITY_KERNEL
    )
    chroma = predict(places_mm, seen_mm, ratios[:, 1:], CHROMA_NOISE * still, CHROMA_KERNEL)
    return np.exp(np.column_stack([intensity, chroma]) @ FROM_INTENSITY_CHROMA.T)


def _blocks(
    level: NDArray[np.uint8], artwork: NDArray[np.uint8], plan: Plan
) -> tuple[Array, Array]:
    """Centres (M, 2) mm of blocks of bare board and their median log ratios (M, 3)."""
    ratio = _log_intensity_chroma(level) - _log_intensity_chroma(artwork)
    step = max(4, max(level.shape) // BLOCKS_ACROSS)
    places, values = [], []
    for top in range(0, level.shape[0] - step // 2, step):
        for left in range(0, level.shape[1] - step // 2, step):
            bare = plan.bare[top : top + step, left : left + step]
            if bare.mean() >= 0.5:
                places.append((left + step / 2, top + step / 2))
                values.append(np.median(ratio[top : top + step, left : left + step][bare], axis=0))
    return np.array(places).reshape(-1, 2) / plan.px_per_mm, np.array(values).reshape(-1, 3)


def _log_intensity_chroma(picture: NDArray[np.uint8]) -> Array:
    soft = np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0), np.uint8)
    return np.log(linear_from_srgb(soft) + DARK) @ INTENSITY_CHROMA.T
