"""How far each cell is from being doubted: one figure by which cells can be ranked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vision.belief import Belief, margin_asked
from vision.types import CellReading

Array = NDArray[np.float64]


def sureness(belief: Belief, cells: Mapping[str, CellReading]) -> Array:
    """Second best distance minus best minus the margin asked (N,): a cell is certain above 0.

    Cells that are doubted whatever their colour says (uneven, burnt out, like nothing learned:
    every label is left) are at minus infinity. ``cells`` is in the belief's order.
    """
    two = np.partition(belief.distances, 1, axis=1)
    sure = two[:, 1] - two[:, 0] - margin_asked(belief)
    blind = [
        read.doubt is not None and len(read.candidates) == len(belief.names)
        for read in cells.values()
    ]
    sure[blind] = -np.inf
    return sure
