"""From a belief to candidates and reasons: when a cell is certain, and why it is not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scoring.types import EMPTY
from vision.classify import Belief
from vision.types import ODD, CellReading, Samples

Array = NDArray[np.float64]

MARGIN = 2.0
"""A label stays a candidate while its distance is within this of the likeliest one, and what the
cell and its photo add. Distances are minus twice a log likelihood."""

MARGIN_PER_STRANGENESS = 2.0
MOST_STRANGENESS = 3.0
"""The margin grows with the photo's median distance to the likeliest label, up to so much: where
nothing looks quite as learned, the light is not the one that was learned."""

MARGIN_PER_VEIL = 15.0
"""Under glare the margin grows: the lamp that throws it has a colour of its own."""

MARGIN_PER_CLIPPED = 12.0
"""Where a channel is at full scale, only the least of it is known: white glare and colour mix."""

FAMILIAR = 6.0
"""Distance up to which the likeliest label looks as it should; beyond, the margin grows by it."""

STRANGE = 25.0
"""Distance beyond which a cell resembles nothing learned."""

BURNT_SHARE = 0.25
GLARE_VEIL = 0.25


def margin_asked(belief: Belief) -> Array:
    """How much likelier than any other (N,) a cell's likeliest label must be to be certain."""
    typical = min(belief.typical, MOST_STRANGENESS)
    strange = np.maximum(0.0, belief.distances.min(axis=1) - FAMILIAR)
    hidden = MARGIN_PER_VEIL * belief.veil + MARGIN_PER_CLIPPED * belief.clipped
    return MARGIN + MARGIN_PER_STRANGENESS * typical + hidden + strange


def alarm_of(belief: Belief) -> str | None:
    """What to tell the host where the whole photo looks unlike what was learned, else None."""
    if belief.typical < MOST_STRANGENESS:
        return None
    return (
        "The light here is unlike the light of the calibration: most cells look strange. "
        "Calibrate again where you play, or check every cell that you can."
    )


def name_cells(
    belief: Belief, samples: Samples, cells: tuple[str, ...], usual_unrest: float
) -> dict[str, CellReading]:
    """The reading of every cell id in ``cells``, in the belief's order."""
    margins = margin_asked(belief)
    return {
        cell: _name_cell(belief, samples, i, float(margins[i]), usual_unrest)
        for i, cell in enumerate(cells)
    }


def _name_cell(
    belief: Belief, samples: Samples, i: int, margin: float, usual_unrest: float
) -> CellReading:
    distances = belief.distances[i]
    order = [int(k) for k in np.argsort(distances, kind="stable")]
    best = float(distances[order[0]])
    candidates = tuple(belief.names[k] for k in order if distances[k] <= best + margin)
    likeliest = belief.names[order[0]]
    if samples.unrest[i] > usual_unrest:
        return CellReading(
            ODD, _everything(belief, order), "its surface is uneven: something may lie over it"
        )
    if samples.burnt[i] > BURNT_SHARE and likeliest != EMPTY:
        return CellReading(likeliest, _everything(belief, order), "it is burnt out by glare")
    if best > STRANGE:
        return CellReading(
            ODD, _everything(belief, order), "it resembles nothing that this table has learned"
        )
    if len(candidates) == 1:
        return CellReading(likeliest, candidates)
    return CellReading(likeliest, candidates, _why(belief, i, candidates))


def _everything(belief: Belief, order: list[int]) -> tuple[str, ...]:
    return tuple(belief.names[k] for k in order)


def _why(belief: Belief, i: int, candidates: tuple[str, ...]) -> str:
    between = f"{candidates[0]} or {candidates[1]}"
    if EMPTY in candidates[:2]:
        piece = next(c for c in candidates[:2] if c != EMPTY)
        return f"it may be {piece} or the empty cell"
    if belief.veil[i] > GLARE_VEIL:
        return f"glare lies over it: {between}"
    return f"in this light it may be {between}"
