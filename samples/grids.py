"""Finished boards and known layouts drawn at random, always such as could lie on a real table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scoring.lattice import anchor_distance
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Lattice

PLENTY = 10_000
"""Pieces of a colour whose supply the sheet does not say."""

Layout = dict[str, str]


@dataclass
class Box:
    """What is still in the box: pieces left by colour. Laying pieces takes them out."""

    left: dict[str, int]

    def take(self, colour: str) -> str:
        """Take one piece of this colour."""
        self.left[colour] -= 1
        return colour

    def colours(self) -> list[str]:
        """Colours of which there are pieces left."""
        return [colour for colour, number in self.left.items() if number > 0]


def full_box(sheet: GameSheet) -> Box:
    """Return the box of this game as it is opened."""
    return Box({c.name: PLENTY if c.supply is None else c.supply for c in sheet.colours})


def may_lie(lattice: Lattice, cell: str, laid: Layout, support: str) -> bool:
    """Say whether a piece may be laid here: on an anchor, or leaning on what is laid already."""
    inner = lattice.inner[cell]
    if support == "none" or not inner:
        return True
    held = [other in laid for other in inner]
    return all(held) if support == "all" else any(held)


def random_board(
    lattice: Lattice,
    box: Box,
    rng: np.random.Generator,
    *,
    pieces: int,
    support: str = "any",
    clump: float = 0.55,
) -> Layout:
    """Lay pieces one after the other, as players do, and take them out of the box.

    With probability ``clump`` a piece matches a neighbour's colour, as whoever wants groups would.
    """
    laid: Layout = {}
    while len(laid) < pieces:
        open_cells = [
            c.id
            for c in lattice.cells
            if c.id not in laid and may_lie(lattice, c.id, laid, support)
        ]
        near = [
            cell for cell in open_cells if cell not in lattice.inner or _low(lattice, cell, laid)
        ]
        cell = str(rng.choice(near or open_cells))
        laid[cell] = box.take(_colour_for(lattice, cell, laid, box, (clump, rng)))
    return {c.id: laid.get(c.id, EMPTY) for c in lattice.cells}


def _low(lattice: Lattice, cell: str, laid: Layout) -> bool:
    """Say whether everything this cell leans on is laid: such cells are filled first."""
    return all(other in laid for other in lattice.inner[cell])


def _colour_for(
    lattice: Lattice, cell: str, laid: Layout, box: Box, taste: tuple[float, np.random.Generator]
) -> str:
    clump, rng = taste
    beside = [laid[other] for other in lattice.neighbours[cell] if other in laid]
    wanted = [colour for colour in beside if box.left[colour] > 0]
    if wanted and rng.uniform() < clump:
        return str(rng.choice(wanted))
    colours = box.colours()
    weights = np.array([min(box.left[colour], 40) for colour in colours], float)
    return str(rng.choice(colours, p=weights / weights.sum()))


def known_layout(
    lattice: Lattice,
    colours: Sequence[str],
    rng: np.random.Generator,
    *,
    support: str = "any",
    share: float = 0.78,
) -> Layout:
    """Return a layout to calibrate with: every colour equally often, here and there, some cells
    empty.

    Colours go round in turn from the anchors outward, so that each shows in many parts of the
    board.
    """
    steps = anchor_distance(lattice)
    order = sorted(
        (c.id for c in lattice.cells), key=lambda cell: (steps.get(cell, 0), rng.uniform())
    )
    turn = [str(colour) for colour in rng.permutation(list(colours))]
    laid: Layout = {}
    for cell in order:
        if rng.uniform() < share and may_lie(lattice, cell, laid, support):
            laid[cell] = _least_like_beside(lattice, cell, laid, turn)
    return {c.id: laid.get(c.id, EMPTY) for c in lattice.cells}


def _least_like_beside(lattice: Lattice, cell: str, laid: Layout, turn: Sequence[str]) -> str:
    """Return the colour laid least often so far; among equals one that no neighbour has."""
    beside = {laid.get(other) for other in lattice.neighbours[cell]}
    counts = {colour: list(laid.values()).count(colour) for colour in turn}
    return min(turn, key=lambda colour: (counts[colour], colour in beside))
