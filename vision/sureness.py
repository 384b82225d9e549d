"""How far each cell is from being doubted: one figure by which cells can be ranked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vision.classify import Belief
from vision.doubt import FAMILIAR, MARGIN_PER_VEIL
from vision.types import CellReading

Array = NDArray[np.float64]


def added_doubt(belief: Belief) -> Array:
    """What glare and a strange look add to each cell's margin (N,), as ``vision.doubt`` says."""
    best = belief.distances.min(axis=1)
    return MARGIN_PER_VEIL * belief.veil + np.maximum(0.0, best - FAMILIAR)


def sureness(belief: Belief, cells: Mapping[str, CellReading]) -> Array:
    """Second best distance minus best minus what doubt adds (N,): a cell is certain above MARGIN.

    Cells that are doubted whatever their colour says (uneven, burnt out, like nothing learned:
    every label is left) are at minus infinity. ``cells`` is in the belief's order.
    """
    two = np.partition(belief.distances, 1, axis=1)
    sure = two[:, 1] - two[:, 0] - added_doubt(belief)
    blind = [
        read.doubt is not None and len(read.candidates) == len(belief.names)
        for read in cells.values()
    ]
    sure[blind] = -np.inf
    return sure
