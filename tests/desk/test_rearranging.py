"""A trial's layout from the known one: few moves, colours where they were not."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from calibrate.types import Table
from desk.rearranging import EACH, close_colours, rearranged
from desk.web.games import proposed_plan
from scoring.grid import parse_grid
from scoring.sheet import GameSheet, load_sheet
from scoring.types import EMPTY
from tests.desk.practice import PRACTICE, SAMPLES, Run

SHEETS = sorted((SAMPLES / "sheets").glob("*.toml"))


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
@pytest.mark.parametrize("close", [0, 2])
def test_every_colour_lies_where_it_did_not_and_no_piece_is_lost(path: Path, close: int) -> None:
    sheet: GameSheet = load_sheet(path)
    laid = parse_grid(proposed_plan(sheet), sheet)
    near = {colour.name for colour in sheet.colours[:close]}
    grid, moves = rearranged(sheet, laid, near)
    new = Counter(colour for cell, colour in grid.items() if colour != laid[cell])

    assert Counter(grid.values()) == Counter(laid.values())
    for colour in sheet.colours:
        had = list(laid.values()).count(colour.name)
        assert new[colour.name] >= (had if colour.name in near else EACH)
    assert new[EMPTY] > 0
    lies = dict(laid)
    for move in moves:
        assert (lies[move.here], lies[move.there]) == (move.colour, move.other)
        lies[move.there], lies[move.here] = move.colour, move.other
    assert lies == dict(grid), "the moves can be made one after the other"
    assert sum(move.pieces for move in moves) <= sum(new.values()), "no piece is moved twice"


def test_a_full_board_exchanges() -> None:
    sheet = load_sheet(SAMPLES / "sheets" / "tarrowfold.toml")
    names = [colour.name for colour in sheet.colours]
    laid = {c.id: names[i % len(names)] for i, c in enumerate(sheet.lattice.cells)}
    grid, moves = rearranged(sheet, laid, set())

    assert EMPTY not in grid.values()
    assert {move.pieces for move in moves} == {2}
    assert moves[0].words().startswith(f"Exchange {moves[0].colour} on {moves[0].here} and ")


def test_colours_that_lie_close_are_told_by_the_table(penmarrow_table: Table) -> None:
    near = close_colours(penmarrow_table)

    assert EMPTY not in near
    assert near < {colour.name for colour in penmarrow_table.sheet.colours}


def test_the_command_says_what_to_exchange_and_writes_the_plan(
    tallyglass: Run, table: Path, tmp_path: Path
) -> None:
    plan = tmp_path / "arranged.txt"
    layout = ("--layout", PRACTICE / "layout.txt")
    ended = tallyglass("trial", table, *layout, "--plan", plan)
    again = tallyglass("trial", table, *layout, "--plan", plan)
    neither = tallyglass("trial", table, "--plan", plan)
    sheet = load_sheet(SAMPLES / "sheets" / "penmarrow.toml")
    laid = parse_grid((PRACTICE / "layout.txt").read_text(), sheet)
    then = parse_grid(plan.read_text(), sheet)

    assert ended.code == 0, ended.err
    assert "- Move " in ended.out or "- Exchange " in ended.out
    assert sum(then[cell] != laid[cell] for cell in laid) > 3 * len(sheet.colours)
    assert again.code == 2
    assert "exists already" in again.err
    assert neither.code == 2
