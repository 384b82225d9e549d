"""Boards that cannot be: what is asked, and that it is asked where it is likeliest wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from desk import suspicions
from desk.records import Answer
from desk.suspicions import suspecting
from desk.types import Game
from scoring.grid import parse_grid
from scoring.sheet import parse_sheet
from tests.desk import fakes
from vision.types import CellReading

LEADS = {"A2": 1.0, "B1": 2.0}
"""Cells of which colour alone is least sure; it is sure of all others."""


def ranking(
    evidence: Mapping[str, CellReading], _table: object
) -> Mapping[str, tuple[tuple[str, float], ...]]:
    """As the fakes have it, the evidence is the cells."""
    return {
        cell: ((belief.colour, 0.0), ("moss", LEADS.get(cell, 50.0)), ("slate", 60.0))
        for cell, belief in evidence.items()
    }


@pytest.fixture(autouse=True)
def _ranked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suspicions, "ranking", ranking)


def game(text: str, sheet_text: str = fakes.SHEET) -> Game:
    table = fakes.table()
    vars(table).update(sheet=parse_sheet(sheet_text))
    return Game(table, (fakes.seat("Ana", text),))


def doubts(game: Game) -> dict[str, str]:
    cells = game.seats[0].reading.cells
    return {cell: belief.doubt for cell, belief in cells.items() if belief.doubt}


def test_a_board_that_can_be_is_left_alone() -> None:
    assert doubts(suspecting(game(fakes.ANA))) == {}


def test_a_floating_piece_is_put_in_doubt() -> None:
    floating = "A: M . . .\nB: . . . .\nC: M M S S\n"

    assert doubts(suspecting(game(floating))) == {"A1": "nothing would hold a piece up here"}


def test_a_gap_under_pieces_is_put_in_doubt() -> None:
    gap = "A: M . . .\nB: M . . .\nC: . M S S\n"

    assert doubts(suspecting(game(gap))) == {"C1": "a piece beside it would float"}


def test_gaps_on_a_full_board_are_put_in_doubt() -> None:
    full = fakes.SHEET.replace("margin_mm = 10.0", "margin_mm = 10.0\nfull = true")

    assert doubts(suspecting(game(fakes.ANA, full))) == {"A1": "a finished board has no empty cell"}


def test_of_too_many_pieces_the_least_sure_are_put_in_doubt() -> None:
    few = fakes.SHEET.replace('letter = "S"', 'letter = "S"\nsupply = 4')
    slates = fakes.ANA.replace("A: . M S M", "A: . S M M").replace("B: M M", "B: S M")
    words = "6 pieces of slate lie, the box holds 4"

    found = suspecting(game(slates, few))

    assert parse_grid(slates, found.table.sheet)["A2"] == "slate"
    assert set(doubts(found).values()) == {words}
    assert {"A2", "B1"} <= set(doubts(found))
    assert len(doubts(found)) == 4
    assert found.seats[0].reading.cells["A2"].candidates == ("slate", "moss")


def test_what_a_person_said_is_not_doubted_again() -> None:
    floating = "A: M . . .\nB: . . . .\nC: M M S S\n"
    told = replace(game(floating), answers=(Answer("Ana", "A1", "moss", "Jo", "now"),))

    assert doubts(suspecting(told)) == {}


def test_what_a_person_left_open_stays_in_doubt() -> None:
    floating = "A: M . . .\nB: . . . .\nC: M M S S\n"
    told = replace(game(floating), answers=(Answer("Ana", "A1", "skip", "Jo", "now"),))

    assert list(doubts(suspecting(told))) == ["A1"]


def test_doubts_that_may_explain_too_many_pieces_spare_the_sure_cells() -> None:
    few = fakes.SHEET.replace('letter = "S"', 'letter = "S"\nsupply = 5')
    slates = fakes.ANA.replace("A: . M S M", "A: . S M M").replace("B: M M", "B: S M")
    played = game(slates, few)
    seat = played.seats[0]
    cells = {**seat.told.cells, "A2": CellReading("slate", ("slate", "moss"), "it is dark")}
    told = replace(seat.told, cells=cells)
    played = replace(played, seats=(replace(seat, first=told, told=told, reading=told),))

    found = suspecting(played)

    assert doubts(found) == {"A2": "it is dark"}
    assert suspicions.doubts_that_cannot_all_be(found) == (("Ana", "A2"),)
