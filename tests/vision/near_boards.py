"""A small table of near colours, learned by daylight, and boards of it under other lamps.

The photographer paints straight from spectra and shares no code with the reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from calibrate.learn import calibrate
from calibrate.types import Table
from samples.board import Board
from samples.conditions import Conditions, Lamp
from samples.grids import known_layout
from samples.invent import invent_board
from samples.photographer import Shot, empty_grid
from scoring.types import Grid
from tests.vision.practice import KIND_LIGHT, lattice_of, photo_of, sheet_of, snap
from vision.read import read_photo
from vision.types import Reading

NEAR = ("slate", "navy", "indigo", "coal", "tar", "walnut")
"""Dark and dull, and the nearer the warmer the lamp."""

BULB = replace(
    KIND_LIGHT, lamps=(Lamp("bulb", 0.65, (200.0, -300.0, 700.0), 90.0),), ambient=("bulb", 0.35)
)
COLD = replace(
    KIND_LIGHT,
    lamps=(Lamp("led-cool", 0.7, (-300.0, 200.0, 800.0), 90.0),),
    ambient=("led-cool", 0.3),
)


@dataclass(frozen=True, eq=False)
class Kit:
    board: Board
    table: Table


@cache
def kit() -> Kit:
    """A table of near colours, learned by daylight."""
    lattice = lattice_of("square")
    board = invent_board(lattice, 40, colours=NEAR, marks=True)
    layout = known_layout(lattice, NEAR, np.random.default_rng(6), share=0.8)
    empty = [snap(board, empty_grid(board), seed) for seed in (1, 4)]
    laid = [snap(board, layout, seed) for seed in (2, 3)]
    known = [(photo_of(shot), Grid(layout)) for shot in laid]
    table = calibrate("near", sheet_of(board, lattice), [photo_of(s) for s in empty], known)
    return Kit(board, table)


@cache
def shot(seed: int, light: Conditions) -> Shot:
    rng = np.random.default_rng([seed, 0x1])
    cells = [cell.id for cell in kit().table.sheet.lattice.cells]
    grid = {cell: str(rng.choice(NEAR)) for cell in cells}
    grid |= dict.fromkeys([str(c) for c in rng.choice(cells, 2, replace=False)], "empty")
    return snap(kit().board, grid, 200 + seed, light)


@cache
def reading(seed: int, light: Conditions) -> Reading:
    return read_photo(photo_of(shot(seed, light)), kit().table)
