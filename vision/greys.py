"""A picture in grey, and halved again and again."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]

HALVINGS = 3


def grey_of(pixels: NDArray[np.uint8]) -> Grey:
    """Grey (H, W) uint8 of an RGB picture."""
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)


def halved(grey: Grey) -> tuple[Grey, ...]:
    """``grey`` and its halvings; odd last rows and columns are left out, so px centres stay."""
    greys = [grey]
    for _ in range(HALVINGS):
        height, width = (side // 2 * 2 for side in greys[-1].shape)
        whole = greys[-1][:height, :width]
        greys.append(
            np.asarray(
                cv2.resize(whole, (width // 2, height // 2), interpolation=cv2.INTER_AREA), np.uint8
            )
        )
    return tuple(greys)
