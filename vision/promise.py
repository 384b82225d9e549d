"""What a margin can promise: risk control by photo, exact bounds, covering margins.

All hold for new photos that come as those did that were counted (exchangeable): another phone or
lamp than any of them is not covered. Cells of one photo are not independent, so photos are counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Practice:
    """What came out on practice photos of boards: ``wrong`` of them had a cell read wrongly that
    nobody was asked about."""

    photos: int
    wrong: int

    def at_most(self) -> float:
        """Upper bound of the share of such photos, with 95 % confidence."""
        return upper_bound(self.wrong, self.photos)


SAME_LIGHT = Practice(photos=152, wrong=3)
MOVED_LIGHT = Practice(photos=57, wrong=2)
"""On 19 invented tables, under the light of their calibration and under another, made and counted
once all rules had been chosen (DEVELOPERS.md has the command)."""


def promise_words() -> str:
    """What the program can promise of a photo, for the host."""
    same, moved = (
        f"on {light.wrong} of {light.photos} practice boards {where} (with 95 % confidence on at "
        f"most {math.ceil(100 * light.at_most())} in 100)"
        for light, where in (
            (SAME_LIGHT, "in the light of the calibration"),
            (MOVED_LIGHT, "under another lamp"),
        )
    )
    return (
        f"How often a cell is read wrongly without a question: {same}, {moved}. "
        "Look at the pictures."
    )


def risk_controlled(losses: Array, alpha: float) -> int | None:
    """Index of the loosest margin at which the mean loss of a new photo stays at most ``alpha``.

    ``losses`` (n photos, T margins, the loosest first), each in [0, 1] and never growing with the
    margin: the share of a photo's cells that are accepted and wrong. None where no margin will do
    (so always with fewer than 1 / alpha - 1 photos). Raises ValueError for losses that grow: the
    promise does not hold for them (the error among accepted cells alone is such a loss).
    Source: Angelopoulos, Bates, Fisch, Lei, Schuster, "Conformal Risk Control", ICLR 2024,
    arXiv 2208.02814, eq. (4) with B = 1.
    """
    losses = np.asarray(losses, float)
    if (losses < 0).any() or (losses > 1).any() or (np.diff(losses, axis=1) > 0).any():
        raise ValueError("Losses must lie in [0, 1] and never grow with the margin.")
    photos = len(losses)
    bound = (losses.sum(axis=0) + 1) / (photos + 1)
    held = np.flatnonzero(bound <= alpha)
    return int(held[0]) if len(held) else None


def upper_bound(errors: int, n: int, confidence: float = 0.95) -> float:
    """One-sided exact upper bound of a rate after ``errors`` in ``n`` independent trials.

    Source: Clopper and Pearson, "The use of confidence or fiducial limits illustrated in the case
    of the binomial", Biometrika 26, 1934.
    """
    return 1.0 if errors >= n else float(beta.ppf(confidence, errors + 1, n - errors))


def covering_margin(scores: Array, alpha: float) -> float:
    """The margin within which the truth stays a candidate for 1 - ``alpha`` of new cells.

    ``scores`` (n,): how far beyond the likeliest label the true one lay, one a photo or of cells
    that are exchangeable. Infinite with fewer than 1 / alpha - 1 of them. Source: Vovk, Gammerman,
    Shafer, "Algorithmic Learning in a Random World", 2005, split (inductive) prediction.
    """
    n = len(scores)
    rank = math.ceil((n + 1) * (1 - alpha) - 1e-9)
    return float(np.sort(scores)[rank - 1]) if rank <= n else math.inf
