"""Groups against networkx, scipy.ndimage and Euler's identity."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import label

from scoring.board import Board
from scoring.plan import plan_of
from scoring.rules import Groups
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid
from tests.scoring.plain import plain_components
from tests.strategies import COLOURS, NAMES, cases, grids, lattices, made

FOUR = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]])
# Rows of pointy hexagons, every row half a cell further to the right, as a sheared square array.
SIX = np.array([[0, 1, 1], [1, 1, 1], [1, 1, 0]])
EIGHT = np.ones((3, 3))


def groups_on(lattice, grid):
    rule = Groups("groups", NAMES, each=1)
    sheet = GameSheet("drawn", lattice, COLOURS, (), (rule,))
    board = Board.of(plan_of(sheet), grid)
    return [
        (NAMES[colour], frozenset(board.plan.ids[i] for i in cells))
        for colour, cells in board.groups
    ]


@st.composite
def boards(draw, kinds=("square", "courses", "hex-pointy", "hex-flat", "diamond"), most=7):
    lattice = draw(lattices(most=most, kinds=kinds))
    return lattice, draw(grids(lattice))


@cases(60)
@given(boards())
def test_groups_equal_networkx_on_every_lattice(board):
    lattice, grid = board
    found = groups_on(lattice, grid)

    assert len(found) == len(set(found))
    assert set(found) == set(plain_components(lattice, grid))


@cases(30)
@given(boards())
def test_groups_part_the_pieces(board):
    lattice, grid = board
    cells = [cell for _, group in groups_on(lattice, grid) for cell in group]

    assert sorted(cells) == sorted(cell for cell in lattice.neighbours if grid[cell] != EMPTY)


def sizes_in(array, structure):
    numbered, number = label(array, structure)
    return sorted(np.bincount(numbered.ravel())[1:].tolist()) if number else []


@cases(40)
@given(st.integers(1, 9), st.integers(1, 9), st.randoms(use_true_random=False))
def test_groups_of_squares_equal_scipy_ndimage(rows, columns, random):
    lattice = made("square", (columns,) * rows)
    grid = Grid({cell: random.choice([*NAMES, EMPTY]) for cell in lattice.neighbours})
    found = groups_on(lattice, grid)
    array = np.array([grid[cell] for cell in lattice.neighbours]).reshape(rows, columns)

    for name in NAMES:
        own = sorted(len(cells) for colour, cells in found if colour == name)
        assert own == sizes_in(array == name, FOUR)


@cases(40)
@given(st.integers(1, 9), st.integers(1, 9), st.randoms(use_true_random=False))
def test_groups_of_hexagons_equal_scipy_ndimage_on_sheared_rows(rows, columns, random):
    lattice = made("hex-pointy", (columns,) * rows)
    grid = Grid({cell: random.choice([*NAMES, EMPTY]) for cell in lattice.neighbours})
    found = groups_on(lattice, grid)
    sheared = np.full((rows, columns + rows), EMPTY, dtype=object)
    for cell, (u, v) in lattice.places.items():
        sheared[v, (u - v) // 2 + (rows + 1) // 2] = grid[cell]

    for name in NAMES:
        own = sorted(len(cells) for colour, cells in found if colour == name)
        assert own == sizes_in(sheared == name, SIX)


@cases(40)
@given(st.integers(1, 9), st.integers(1, 9), st.randoms(use_true_random=False))
def test_groups_of_squares_obey_eulers_identity(rows, columns, random):
    """V - E + F = groups - holes, F the filled 2 x 2 blocks, holes the enclosed 8-joined voids."""
    lattice = made("square", (columns,) * rows)
    grid = Grid({cell: random.choice(["ash", EMPTY]) for cell in lattice.neighbours})
    full = np.array([grid[cell] == "ash" for cell in lattice.neighbours]).reshape(rows, columns)
    edges = (full[1:] & full[:-1]).sum() + (full[:, 1:] & full[:, :-1]).sum()
    blocks = (full[1:, 1:] & full[1:, :-1] & full[:-1, 1:] & full[:-1, :-1]).sum()
    holes = label(np.pad(~full, 1, constant_values=True), EIGHT)[1] - 1

    assert full.sum() - edges + blocks == len(groups_on(lattice, grid)) - holes


@cases(40)
@given(st.integers(1, 9), st.integers(1, 9), st.randoms(use_true_random=False))
def test_groups_of_hexagons_obey_eulers_identity(rows, columns, random):
    """V - E + F = groups - holes, F the triples of cells that all touch, holes 6-joined voids."""
    lattice = made("hex-pointy", (columns,) * rows)
    lying = {cell for cell in lattice.neighbours if random.random() < 0.5}
    grid = Grid({cell: "ash" if cell in lying else EMPTY for cell in lattice.neighbours})
    pairs = [(a, b) for a in lying for b in lattice.neighbours[a] if b in lying and a < b]
    triples = sum(
        c in lattice.neighbours[b]
        for a, b in pairs
        for c in lattice.neighbours[a]
        if c in lying and c > b
    )
    void = np.ones((rows + 2, columns + rows + 4), dtype=bool)
    for cell in lying:
        u, v = lattice.places[cell]
        void[v + 1, (u - v) // 2 + (rows + 1) // 2 + 2] = False

    holes = label(void, SIX)[1] - 1
    assert len(lying) - len(pairs) + triples == len(groups_on(lattice, grid)) - holes


def test_groups_of_a_board_of_2500_cells_equal_networkx():
    lattice = made("hex-pointy", (50,) * 50)
    random = np.random.default_rng(3)
    grid = Grid(dict(zip(lattice.neighbours, random.choice([*NAMES, EMPTY], 2500), strict=True)))

    assert set(groups_on(lattice, grid)) == set(plain_components(lattice, grid))
