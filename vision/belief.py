"""What colour says of every cell, and how much likelier than others a label must be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MARGIN = 2.0
"""A label stays a candidate while its distance is within this of the likeliest one, and what the
cell and its photo add. Distances are minus twice a log likelihood."""

MARGIN_PER_STRANGENESS = 1.0
MOST_STRANGENESS = 3.0
"""The margin grows with how unlike the calibration's the light is, up to so much."""

MARGIN_PER_VEIL = 15.0
"""Under glare the margin grows: the lamp that throws it has a colour of its own."""

MARGIN_PER_CLIPPED = 18.0
"""Where a channel is at full scale, only the least of it is known: white glare and colour mix."""

FAMILIAR = 6.0
"""Distance up to which the likeliest label looks as it should; beyond, the margin grows by it."""

STRANGE = 25.0
"""Distance to the likeliest label beyond which a cell resembles nothing that was learned."""

PAIR_MARGIN = 5.5
PAIR_MARGIN_PER_VEIL = 5.0
PAIR_FAMILIAR_PER_STRANGENESS = 2.0
"""The margin between two labels that all cells of the photo together told apart: how strange its
light is, and most of what glare does, is in the odds already."""


@dataclass(frozen=True, eq=False)
class Belief:
    """What colour says of every cell: ``names`` C labels, the last ``empty``.

    ``distances`` (N, C): minus twice a log likelihood, smaller is likelier; ``veil`` (N,): glare in
    the likeliest explanation, share of white; ``unlike``: how unlike the calibration's the
    light is, by the photo's median distance to the likeliest label and by how far the light mixes
    colours; ``clipped`` (N,): share of a piece's pixels with a channel at full scale.
    """

    names: tuple[str, ...]
    distances: Array
    veil: Array
    unlike: float
    clipped: Array


def margin_asked(belief: Belief) -> Array:
    """How much likelier than any other (N,) a cell's likeliest label must be to be certain."""
    strange = np.maximum(0.0, belief.distances.min(axis=1) - FAMILIAR)
    hidden = MARGIN_PER_VEIL * belief.veil + MARGIN_PER_CLIPPED * belief.clipped
    return MARGIN + MARGIN_PER_STRANGENESS * strangeness(belief) + hidden + strange


def part_of(belief: Belief, cells: slice) -> Belief:
    """The belief about some of the cells."""
    return replace(
        belief,
        distances=belief.distances[cells],
        veil=belief.veil[cells],
        clipped=belief.clipped[cells],
    )


def in_margins(belief: Belief) -> Array:
    """How far beyond the likeliest (N, C) every label lies, in units of the margin asked."""
    beyond = belief.distances - belief.distances.min(axis=1, keepdims=True)
    return beyond / margin_asked(belief)[:, None]


def pair_margin(belief: Belief) -> Array:
    """The same (N,) between two labels that were weighed over the whole photo, but for what hides a
    colour (``pair_hidden``)."""
    familiar = FAMILIAR + PAIR_FAMILIAR_PER_STRANGENESS * strangeness(belief)
    return PAIR_MARGIN + np.maximum(0.0, belief.distances.min(axis=1) - familiar)


def pair_hidden(belief: Belief) -> Array:
    """What glare and full scale, which hide colours, add (N,) to ``pair_margin``."""
    return PAIR_MARGIN_PER_VEIL * belief.veil + MARGIN_PER_CLIPPED * belief.clipped


def strangeness(belief: Belief) -> float:
    """How unlike the calibration the photo looks, up to ``MOST_STRANGENESS``."""
    return min(belief.unlike, MOST_STRANGENESS)
