"""From a belief to candidates and reasons: when a cell is certain, and why it is not."""

from __future__ import annotations

import numpy as np

from scoring.types import EMPTY
from vision.belief import MOST_STRANGENESS, STRANGE, Belief, margin_asked
from vision.types import ODD, CellReading, Samples

BEYOND_TRUST = 6.0
"""How strange a photo may look before no colour in it is certain. Of three in practice that looked
stranger, all had silent errors, of 29 that looked half as strange one."""

BURNT_SHARE = 0.25
GLARE_VEIL = 0.25

UNLIKE = 10.0
UNEVEN = 0.3
"""A cell that looks unlike its likeliest label by this distance, and has this share of the unrest
that alone makes it odd, may be covered: that of its own colour is seldom both."""


def alarm_of(belief: Belief) -> str | None:
    """What to tell the host where the whole photo looks unlike what was learned, else None."""
    if belief.unlike < MOST_STRANGENESS:
        return None
    return (
        "The light here is unlike the light of the calibration: most cells look strange. "
        "Calibrate again where you play, or lay the key strip beside the board; and check every "
        "cell that you can."
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
    if best > UNLIKE and samples.unrest[i] > UNEVEN * usual_unrest:
        return CellReading(
            ODD,
            _everything(belief, order),
            "it looks unlike every colour, and uneven: something may lie over it",
        )
    if samples.burnt[i] > BURNT_SHARE and likeliest != EMPTY:
        return CellReading(likeliest, _everything(belief, order), "it is burnt out by glare")
    if belief.unlike > BEYOND_TRUST:
        return CellReading(
            likeliest,
            tuple(n for n in _everything(belief, order) if n != EMPTY or EMPTY in candidates),
            "the light is too unlike the calibration's to be sure of any colour",
        )
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
