"""Finished boards and known layouts drawn at random, always such as could lie on a real table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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

    Cells with everything below them laid are filled first, so that the gaps are at the outer end.
    With probability ``clump`` a piece matches a neighbour's colour, as whoever wants groups would.
    """
    laid: Layout = {}
    while len(laid) < pieces:
        open_now = open_cells(lattice, laid, support)
        snug = [cell for cell in open_now if all(other in laid for other in lattice.inner[cell])]
        cell = str(rng.choice(snug or open_now))
        laid[cell] = box.take(_colour_for(lattice, cell, laid, box, (clump, rng)))
    return {c.id: laid.get(c.id, EMPTY) for c in lattice.cells}


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
    share: float = 0.76,
) -> Layout:
    """Return a layout to calibrate with: every colour equally often, here and there, gaps between.

    It grows from the anchors in no order, so that the gaps lie among the pieces where the support
    rule lets them.
    """
    turn = [str(colour) for colour in rng.permutation(list(colours))]
    laid: Layout = {}
    while len(laid) < share * len(lattice.cells):
        cell = str(rng.choice(open_cells(lattice, laid, support)))
        laid[cell] = _least_like_beside(lattice, cell, laid, turn)
    return {c.id: laid.get(c.id, EMPTY) for c in lattice.cells}


def open_cells(lattice: Lattice, laid: Layout, support: str) -> list[str]:
    """Return the cells in which the next piece may be laid, in cell order."""
    free = (cell.id for cell in lattice.cells if cell.id not in laid)
    return [cell for cell in free if may_lie(lattice, cell, laid, support)]


def _least_like_beside(lattice: Lattice, cell: str, laid: Layout, turn: Sequence[str]) -> str:
    """Return the colour laid least often so far; among equals one that no neighbour has."""
    beside = {laid.get(other) for other in lattice.neighbours[cell]}
    counts = {colour: list(laid.values()).count(colour) for colour in turn}
    return min(turn, key=lambda colour: (counts[colour], colour in beside))
