"""Two near labels in one photo: where the line between them runs today.

A lamp or a camera may move near colours farther than they lie apart, so that cell by cell they
cannot be told; but it moves all cells of a colour alike. On the line through the middles of two
labels, where -1 looks like the one and 1 like the other, their cells gather in two heaps. Where the
heaps lie and how wide they are is unknown and is summed over on a grid: a mixture of two Student t
distributions (Peel and McLachlan, "Robust mixture modelling using the t distribution", Statistics
and Computing 10, 2000), in which no cell speaks for itself. A single heap may be either label, as
far as its place does not tell; a person's word on one of its cells then tells the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.belief import STRANGE, Belief, margin_asked, pair_hidden, pair_margin, strangeness
from vision.smooth import leave_one_out

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

NEAR = 20.0
"""A pair is weighed where a cell's distances to the two differ by less than this."""

SHIFT = 0.7
SHIFT_PER_STRANGENESS = 0.5
SHIFT_OF_EMPTY = 0.5
"""How far the line may have moved, in the noise of a cell where the two lie farthest apart; the
stranger the photo, the farther. The look of empty cells is better known, for they and the bare
board tell the light."""

LEAST_SHIFT = 0.05
FARTHEST = 6.0
"""The line's least doubt; and a cell counts as no farther out, in half distances of the middles."""

SHIFTS = np.linspace(-3, 3, 25)
HALVES = (0.5, 0.7, 0.9, 1.1, 1.4)
USUAL_HALF, HALF_SPREAD = 0.9, 0.35
"""Half the distance of the heaps against that of the middles, and how that is spread (log)."""

WIDTHS = (0.25, 0.4, 0.6, 0.9)
OWN_WIDTH = 0.15
"""Width of a heap: shares of a cell's noise, and what is never less, in half distances."""

TREND = ((0.8, 100.0),)
TREND_NOISE = 0.5
TREND_FARTHEST = 2.0
"""How the line may vary over the board, a cell's own scatter, and how far off a cell counts at
most: in standard deviations of a cell's noise (and mm along the board)."""

FREEDOM = 5.0
"""Degrees of freedom of Student's t, as which a heap is spread: some cells lie far out."""

LEAST_ODDS = 4.0
"""Twice the log odds from which the photo as a whole backs what a cell alone says."""

CONTRADICTS = 1.0
CLEARLY_APART = 2.5
STILL_DOUBTED = 0.9
"""A cell's nearest samples that say otherwise by this, between labels so many standard deviations
of its noise apart, leave at most this share of the margin asked."""


@dataclass(frozen=True, eq=False)
class Between:
    """K cells on the line between two labels.

    ``place`` (K,): -1 where a cell looks as the first label's middle would there, 1 as the
    second's; ``apart`` (K,): how far the two are from each other in standard deviations of a cell's
    noise; ``before`` (K,): log odds of the second by all else than colour.
    """

    place: Array
    apart: Array
    before: Array


def weigh_pairs(
    belief: Belief,
    between: Callable[[int, int, Indices], Between],
    known: Mapping[int, int],
    never: NDArray[np.bool_],
    places_mm: Array,
) -> Belief:
    """``belief`` with each cell's two likeliest labels told apart by all cells between these two.

    ``between`` gives the cells (K,) by index on the line between two labels by index; ``known``:
    label of the cells that a person named; ``never`` (N,): cells that are never empty;
    ``places_mm`` (N, 2) of the cells. The distance between the two is stretched by margin asked
    over that of pairs. Where the photo as a whole and the cell's nearest samples contradict each
    other, what one says counts against the other; between labels that lie clearly apart the cell is
    then in doubt, for the middle of one may lie askew.
    """
    distances = belief.distances.copy()
    asked, margin = margin_asked(belief), pair_margin(belief)
    scale, unhidden = asked / (margin + pair_hidden(belief)), asked / margin
    held = STILL_DOUBTED * asked
    shift = SHIFT + SHIFT_PER_STRANGENESS * strangeness(belief)
    for (first, second), cells in _pairs(belief, known, never):
        line = between(first, second, cells)
        named = {k: known[i] == second for k, i in enumerate(cells) if i in known}
        empty = second == len(belief.names) - 1
        moves = SHIFT_OF_EMPTY if empty else shift
        line = line if empty else without_trend(line, named, moves, places_mm[cells])
        odds = 2 * log_odds(line, named, moves)
        alone = belief.distances[cells, first] - belief.distances[cells, second]
        backed = (odds * alone > 0) & (abs(odds) >= LEAST_ODDS)
        told = odds * scale[cells]
        if empty:  # glare that hides a colour does not hide what else is seen
            told += 2 * line.before * (unhidden[cells] - scale[cells])
        told = np.where(backed, np.sign(odds) * np.maximum(abs(told), abs(alone)), told)
        against = odds * alone < 0
        told = np.where(against, told + alone, told)
        doubted = against & (abs(alone) > CONTRADICTS) & (line.apart > CLEARLY_APART)
        told = np.where(doubted, np.clip(told, -held[cells], held[cells]), told)
        least = belief.distances[cells][:, [first, second]].min(axis=1)
        distances[cells, first] = least + np.maximum(told, 0)
        distances[cells, second] = least + np.maximum(-told, 0)
    return replace(belief, distances=distances)


def _pairs(
    belief: Belief, known: Mapping[int, int], never: NDArray[np.bool_]
) -> Iterator[tuple[tuple[int, int], Indices]]:
    """Every pair of labels that some cell lies near the line of, and the cells between the two."""
    two = np.sort(np.argsort(belief.distances, axis=1)[:, :2], axis=1)
    for cell, label in known.items():
        if label not in two[cell]:
            two[cell] = -1
    two[belief.distances.min(axis=1) > STRANGE] = -1
    two[never & (two[:, 1] == len(belief.names) - 1)] = -1
    for first, second in sorted({(int(a), int(b)) for a, b in two if a >= 0}):
        cells = np.flatnonzero((two == (first, second)).all(axis=1))
        differ = abs(belief.distances[cells, first] - belief.distances[cells, second])
        if (differ < NEAR).any():
            yield (first, second), cells


def log_odds(line: Between, known: Mapping[int, bool], shift: float) -> Array:
    """Log odds (K,) of the second label against the first, for every cell but by the others.

    ``known``: whether the cells that a person named are the second; ``shift``: how far the line
    may have moved, in standard deviations of a cell's noise.
    """
    heaps = _heaps(line, known, shift)
    by_others = heaps.prior + heaps.said.sum(axis=1, keepdims=True) - heaps.said
    return _log_sum(by_others + heaps.second) - _log_sum(by_others + heaps.first)


def without_trend(
    line: Between, known: Mapping[int, bool], shift: float, places_mm: Array
) -> Between:
    """``line`` without what varies smoothly over the board, places (K, 2) mm: two lamps from two
    sides move the line further on one side than on the other.

    How far every cell lies from the middle of its heap, whichever that is, is smoothed over the
    board; no cell tells its own trend.
    """
    heaps = _heaps(line, known, shift)
    weight = heaps.prior + heaps.said.sum(axis=1, keepdims=True)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    is_second = np.exp(heaps.second - heaps.said)
    for cell, second in known.items():
        is_second[:, cell] = second
    off = line.place - heaps.middle
    if_first, if_second = off + heaps.half, off - heaps.half
    mean = (weight * (if_first + is_second * (if_second - if_first))).sum(axis=0)
    square = weight * (if_first**2 + is_second * (if_second**2 - if_first**2))
    unit = line.apart / 2
    unsure = unit * np.sqrt(np.maximum(square.sum(axis=0) - mean**2, 0))
    off_sd = np.clip(mean * unit, -TREND_FARTHEST, TREND_FARTHEST)
    trend, _ = leave_one_out(places_mm, off_sd, np.hypot(TREND_NOISE, unsure), TREND)
    return replace(line, place=line.place - trend / unit)


@dataclass(frozen=True, eq=False)
class _Heaps:
    """G possible pairs of heaps: their ``middle``, ``half`` distance and log ``prior`` (G, 1); log
    densities (G, K) of every cell in the ``first``, in the ``second``, and as it is ``said``."""

    middle: Array
    half: Array
    prior: Array
    first: Array
    second: Array
    said: Array


def _heaps(line: Between, known: Mapping[int, bool], shift: float) -> _Heaps:
    moved = max(2 * shift / float(line.apart.max()), LEAST_SHIFT)
    grid = np.meshgrid(SHIFTS * moved, HALVES, WIDTHS, indexing="ij")
    middle, half, width = (axis.reshape(-1, 1) for axis in grid)
    prior = -0.5 * (middle / moved) ** 2 - 0.5 * (np.log(half / USUAL_HALF) / HALF_SPREAD) ** 2
    place = np.clip(line.place, -FARTHEST, FARTHEST)
    wide = np.hypot(2 * width / line.apart, OWN_WIDTH)
    first = _log_density((place - middle + half) / wide) - np.log(wide)
    second = _log_density((place - middle - half) / wide) - np.log(wide) + line.before
    said = np.logaddexp(first, second)
    for cell, is_second in known.items():
        said[:, cell] = (second if is_second else first)[:, cell]
    return _Heaps(middle, half, prior, first, second, said)


def _log_density(away: Array) -> Array:
    """Log density of Student's t distribution, but for a constant."""
    return -(FREEDOM + 1) / 2 * np.log1p(away**2 / FREEDOM)


def _log_sum(logs: Array) -> Array:
    """Logarithm of the sum of exponentials along the first axis."""
    most = logs.max(axis=0)
    return most + np.log(np.exp(logs - most).sum(axis=0))
