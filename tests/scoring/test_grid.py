from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.errors import SheetError
from scoring.grid import check_grid, format_grid, parse_grid
from scoring.rules import Empties
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Grid
from tests.strategies import COLOURS, cases, grids, lattices, made


def sheet_on(lattice):
    return GameSheet("drawn", lattice, COLOURS, (), (Empties("empty", 0),))


SMALL = sheet_on(made("square", (2, 2)))


@cases(40)
@given(st.data())
def test_a_grid_written_and_read_again_is_the_same(data):
    sheet = sheet_on(data.draw(lattices()))
    grid = data.draw(grids(sheet.lattice))

    assert parse_grid(format_grid(grid, sheet), sheet) == grid


def test_a_grid_is_written_a_line_a_row():
    grid = Grid({"A1": "ash", "A2": EMPTY, "B1": "brick", "B2": "dusk"})

    assert format_grid(grid, SMALL) == "A: A .\nB: B D\n"


def test_remarks_and_blank_lines_are_left_out():
    grid = parse_grid("# ridge\nA: A . # a gap\n\n  B: B D\n", SMALL)

    assert grid["A2"] == EMPTY
    assert grid["B2"] == "dusk"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("A: A A\nB: A ?", "board.txt, line 2, cell B2: '?' is not the letter of a colour"),
        ("A: A A\nB: A", "board.txt, line 2: has 1 pieces; this row has 2 cells"),
        ("A: A A", "board.txt: row B is missing"),
        ("A: A A\nA: A A", "board.txt, line 2: row A comes twice"),
        ("A: A A\nC: A A", "board.txt, line 2: does not begin with a row of the board (A, B)"),
        ("A A A\nB: A A", "board.txt, line 1: does not begin with a row of the board (A, B)"),
    ],
)
def test_a_grid_that_cannot_be_read_is_refused_with_its_line(text, words):
    with pytest.raises(SheetError) as error:
        parse_grid(text, SMALL, "board.txt")
    assert str(error.value) == words


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"A1": "ash"}, "grid, cell A2: is missing"),
        (
            dict.fromkeys(["A1", "A2", "B1", "B2", "C1"], "ash"),
            "grid, cell C1: the board has no such cell",
        ),
        (
            dict.fromkeys(["A1", "A2", "B1", "B2"], "gold"),
            "grid, cell A1: there is no colour 'gold'",
        ),
    ],
)
def test_a_grid_that_does_not_fit_the_sheet_is_refused_with_its_cell(cells, words):
    with pytest.raises(SheetError) as error:
        check_grid(SMALL, cells)
    assert str(error.value) == words
