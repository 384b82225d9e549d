"""Two near colours told apart by all loose pieces of a photo together.

A piece alone cannot rule a near colour out, for a strange lamp may have moved its own that far. All
pieces of one photo lie under one lamp, so that such a move would show: pieces would lie near the
middle between the two colours, or all on one side of it. Where both sides are well peopled and the
middle is bare, under every light that explains the pieces about as well, each side is its colour.

Whole colours may have moved each onto the next one's place. The first of such a chain has then no
piece left, so that no pair is settled beside a near colour of which none is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SIDE = 4
"""At least so many pieces must lie on each side."""

BARE, GAP = 8.0, 20.0
"""Differences of minus twice the log likelihood: none lies nearer to the middle than this, and
the two nearest at least so far apart."""

LIKELY = 6.0
"""How much worse, in the same units, a gain of the light may explain all pieces and still have to
put the same pieces on the same sides."""

OWN_SHARE, CALM = 0.5, 8.0
"""A piece takes part in what its side is told only if it lies so far out, in shares of its side's
median, and if its own colour explains it this well: glare brings single pieces across."""

CLEAR = 20.0
"""Pieces that no colour explains better than this say nothing of either side."""


def settled_by_all(costs: Array, worse: Array, open_still: Mask, plain: Mask) -> Mask:
    """Which colours (N, C) stay possible for each piece once all pieces are seen together.

    ``costs`` (G, N, C) are minus twice the log likelihoods under G gains of the light, ``worse``
    (G,) how much worse than the best each gain explains all pieces, ``open_still`` (N, C) the
    colours that a piece by itself cannot rule out, and ``plain`` (N,) the pieces of one colour that
    are not burnt out.
    """
    crowd = Crowd(costs[int(worse.argmin())], costs[worse < LIKELY], plain)
    calm = crowd.speaks & (crowd.best.min(axis=1) <= CALM)
    colours = range(costs.shape[2])
    near = {(a, b): bool((open_still[:, a] & open_still[:, b] & calm).any())
            for a, b in combinations(colours, 2)}  # fmt: skip
    left = open_still.copy()
    for pair in (pair for pair, are_near in near.items() if are_near):
        beside = {k for other, are_near in near.items() if are_near and set(other) & set(pair)
                  for k in other}  # fmt: skip
        if all(crowd.side(k).sum() >= SIDE for k in beside) and crowd.apart(*pair):
            for own, other in (pair, pair[::-1]):
                left[calm & crowd.typical(own, other), other] = False
    return left


@dataclass(frozen=True, eq=False)
class Crowd:
    """All pieces of a photo: their costs (N, C) under the likeliest light and (L, N, C) under all
    likely ones, and which (N,) of them are plain."""

    best: Array
    lights: Array
    plain: Mask

    @property
    def speaks(self) -> Mask:
        """The pieces (N,) that say something of the light."""
        return self.plain & (self.best.min(axis=1) <= CLEAR)

    def side(self, colour: int) -> Mask:
        """The pieces (N,) that are nearest to a colour."""
        return self.speaks & (self.best.argmin(axis=1) == colour)

    def out(self, own: int, other: int) -> Array:
        """How far (K,) the pieces nearest to one colour lie from the middle to another."""
        side = self.side(own)
        return self.best[side, other] - self.best[side, own]

    def apart(self, a: int, b: int) -> bool:
        """Whether the middle between two peopled colours is bare, under every likely light."""
        nearest = self.out(a, b).min(), self.out(b, a).min()
        if min(nearest) < BARE or sum(nearest) < GAP:
            return False
        return all(
            (self.lights[:, self.side(own), own] < self.lights[:, self.side(own), other]).all()
            for own, other in ((a, b), (b, a))
        )

    def typical(self, own: int, other: int) -> Mask:
        """The pieces (N,) nearest to a colour that lie about as far out as the others there."""
        far = self.best[:, other] - self.best[:, own]
        return self.side(own) & (far >= OWN_SHARE * np.median(self.out(own, other)))
