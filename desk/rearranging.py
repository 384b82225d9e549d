"""A trial's layout out of the known one that still lies on the board: some pieces change places.

What a trial must show is colours where they were not learned. So of each colour some pieces move,
of colours that lie close together in this light all of them, each to a bare cell or to one that
another left: every piece that is picked up tells of one cell more.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from calibrate.judge import CLOSE, pairs
from calibrate.types import Table
from scoring.lattice import cell_centres_mm
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid

EACH = 3
"""Pieces of every colour that move, at least (by hand)."""


@dataclass(frozen=True)
class Move:
    """A piece goes ``here`` to ``there``; ``other`` is the colour that comes back, or ``empty``."""

    here: str
    there: str
    colour: str
    other: str

    @property
    def pieces(self) -> int:
        """How many are picked up."""
        return 1 if self.other == EMPTY else 2

    def words(self) -> str:
        """What a person is to do."""
        if self.other == EMPTY:
            return f"Move {self.colour} from {self.here} to {self.there}."
        return f"Exchange {self.colour} on {self.here} and {self.other} on {self.there}."


def close_colours(table: Table) -> set[str]:
    """Colours that this table's light hardly tells from another one."""
    near = [pair for pair in pairs(table) if pair.clear < CLOSE]
    return {name for pair in near for name in (pair.first, pair.second)} - {EMPTY}


def rearranged(sheet: GameSheet, laid: Grid, close: Collection[str]) -> tuple[Grid, list[Move]]:
    """The layout after the moves, and the moves in the order in which they can be made; pieces of
    ``close`` colours all change places."""
    moves = list(_moves(sheet, laid, close))
    grid = dict(laid)
    for move in moves:
        grid[move.there], grid[move.here] = move.colour, move.other
    return Grid(grid), moves


def _moves(sheet: GameSheet, laid: Grid, close: Collection[str]) -> Iterator[Move]:
    """One after the other: a piece goes to the bare cell farthest from where its colour lay, also
    to one that was left before; where no cell is bare it is exchanged."""
    ids = [cell.id for cell in sheet.lattice.cells]
    where = dict(zip(ids, cell_centres_mm(sheet.lattice), strict=True))
    still = {name: [cell for cell in ids if laid[cell] == name] for name in {*laid.values()}}
    bare = still.pop(EMPTY, [])
    left = {n: len(cells) if n in close else min(EACH, len(cells)) for n, cells in still.items()}
    while any(left.values()):
        name = max(sorted(left), key=lambda one: (left[one], one in close))
        free = [cell for cell in bare if laid[cell] != name]
        others = [cell for other, cells in still.items() if other != name for cell in cells]
        if not free and not others:
            return
        own = [where[cell] for cell in ids if laid[cell] == name]
        there = max(free or others, key=lambda cell: _off(where[cell], own))
        here = max(still[name], key=lambda cell: _off(where[cell], [where[there]]))
        still[name].remove(here)
        left[name] -= 1
        if free:
            bare.remove(there)
            bare.append(here)
            yield Move(here, there, name, EMPTY)
        else:
            other = laid[there]
            still[other].remove(there)
            left[other] = max(0, left[other] - 1)
            yield Move(here, there, name, other)


def _off(place: tuple[float, float], others: Collection[tuple[float, float]]) -> float:
    """How far a place is from the nearest of others, mm."""
    return float(np.linalg.norm(np.subtract(list(others), place), axis=1).min())
