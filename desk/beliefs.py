"""From what a reading believes to what the rules can count: candidates, and the likeliest grid."""

from __future__ import annotations

from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid
from vision.types import ODD, Reading


def candidates_of(reading: Reading, sheet: GameSheet) -> dict[str, tuple[str, ...]]:
    """What may lie in each cell; anything at all where nothing known was seen."""
    anything = (*(colour.name for colour in sheet.colours), EMPTY)
    candidates = {}
    for cell, belief in reading.cells.items():
        named = tuple(colour for colour in belief.candidates if colour != ODD)
        seen = named and ODD not in (belief.colour, *belief.candidates)
        candidates[cell] = named if seen else tuple(dict.fromkeys((*named, *anything)))
    return candidates


def grid_of(reading: Reading) -> Grid:
    """The likeliest grid; a cell where nothing known was seen counts as its next best, or empty."""
    return Grid({cell: likeliest(reading, cell) for cell in reading.cells})


def likeliest(reading: Reading, cell: str) -> str:
    """The likeliest colour of a cell that the rules know."""
    belief = reading.cells[cell]
    options = (belief.colour, *belief.candidates, EMPTY)
    return next(colour for colour in options if colour != ODD)
