"""A small game whose photo and readings are drawn and written down, so that no reader is needed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields

import numpy as np

from calibrate.types import Table
from desk.beliefs import candidates_of, grid_of
from desk.types import Claims, Game, Outcome, Seat
from scoring.doubts import what_hangs
from scoring.grid import parse_grid
from scoring.sheet import GameSheet, parse_sheet
from scoring.tally import tally
from vision.types import CellReading, Photo, Reading, Registration

SHEET = """
name = "Trial Field"
[board]
kind = "square"
rows = [4, 4, 4]
pitch_mm = 20.0
margin_mm = 10.0
[board.anchors]
edge = "bottom"
[[colours]]
name = "moss"
letter = "M"
supply = 30
[[colours]]
name = "slate"
letter = "S"
[[cards]]
name = "Stile"
points = 5
pattern = "M S M"
[[rules]]
kind = "groups"
label = "groups"
each = 1
min_size = 3
[[rules]]
kind = "cards"
[[tie_breaks]]
by = "largest-group"
"""

ANA = "A: . M S M\nB: M M S S\nC: M M S S\n"
BEN = "A: . . S M\nB: M S S M\nC: M M S M\n"
PX_PER_MM = 6.0
PAINT = {"moss": (92, 120, 60), "slate": (90, 105, 125), "empty": (235, 230, 215)}


def sheet() -> GameSheet:
    return parse_sheet(SHEET)


def table() -> Table:
    """A table of which only the name and the sheet are ever looked at."""
    made = object.__new__(Table)
    vars(made).update(name="trial", sheet=sheet())
    return made


def seat(player: str, text: str, doubts: Mapping[str, tuple[str, ...]] | None = None) -> Seat:
    """A player whose board was read as ``text``, with the candidates of its doubtful cells."""
    grid = parse_grid(text, sheet())
    pixels = np.full((560, 740, 3), 200, np.uint8)
    for cell in sheet().lattice.cells:
        x, y = (np.array(cell.polygon_mm) * PX_PER_MM).T.round().astype(int)
        pixels[y.min() + 2 : y.max() - 1, x.min() + 2 : x.max() - 1] = PAINT[grid[cell.id]]
    photo = Photo(f"{player}.jpg", pixels, 1, (740, 560), "0" * 64, 1.0)
    cells = {cell: CellReading(colour, (colour,)) for cell, colour in grid.items()}
    for cell, candidates in (doubts or {}).items():
        cells[cell] = CellReading(candidates[0], candidates, "the two are alike in this light")
    place = Registration(
        np.diag([PX_PER_MM, PX_PER_MM, 1.0]), np.zeros(3), 0.0, (370, 280), 400.0, 0.2, "marks"
    )
    reading = object.__new__(Reading)  # no evidence: nothing here looks at it
    vars(reading).update(dict.fromkeys(field.name for field in fields(Reading)))
    told = {"photo": photo.name, "registration": place, "cells": cells, "evidence": cells}
    vars(reading).update(told)
    return Seat(player, b"", photo, reading, reading, reading)


def outcome(*seats: Seat, claims: Claims | None = None) -> Outcome:
    """The tally of these seats as they were read."""
    game = Game(table(), seats, claims or Claims({"Ana": ["Stile"]}))
    grids = {seat.player: grid_of(seat.reading) for seat in seats}
    boards = {seat.player: candidates_of(seat.reading, sheet()) for seat in seats}
    counted = tally(sheet(), grids, game.claims.cards)
    return Outcome(game, grids, counted, what_hangs(sheet(), boards, game.claims.cards))
