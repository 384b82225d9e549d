"""Whole colours doubted for the sake of a near one of which nothing is seen on the board.

A strange lamp may move all pieces of a colour onto the place of another. Where both lie on the
board they are told apart (``vision.pairs``); where the other is nowhere to be seen, these may be
it. One word on one of the pieces settles those that look no more like the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vision.belief import Belief, margin_asked, strangeness

GAP = 10.0
GAP_PER_STRANGENESS = 10.0
"""A colour is near another while its pieces' distances to the two differ by less than this
(median), the more the stranger the light is."""

DOUBTED = 0.5
"""Share of the margin asked that is left between the two, at most: where a colour's pieces look
least like the other."""


def weigh_absent(belief: Belief, labels: Mapping[int, int]) -> Belief:
    """``belief`` with all cells of a colour doubted that may be of a near one that is nowhere.

    A person's word (``labels``, by index) that a cell is of its likeliest colour settles all that
    look no more like the other than that cell does.
    """
    likeliest = belief.distances.argmin(axis=1)
    pieces = set(range(len(belief.names) - 1))
    seen = pieces & set(likeliest.tolist())
    near = GAP + GAP_PER_STRANGENESS * strangeness(belief)
    left = DOUBTED * margin_asked(belief)
    distances = belief.distances.copy()
    for label in seen:
        cells = np.flatnonzero(likeliest == label)
        named = np.array([labels.get(int(cell)) == label for cell in cells])
        own = belief.distances[cells, label]
        for other in pieces - seen:
            gap = belief.distances[cells, other] - own
            if np.median(gap) >= near:
                continue
            farthest = max(float(gap.max()), 1e-9)
            held = np.minimum(gap, left[cells] * gap / farthest)
            settled = gap >= np.min(gap[named], initial=np.inf)
            distances[cells, other] = own + np.where(settled, gap, held)
    return replace(belief, distances=distances)
