"""What a table's game looks like to a phone: colours, cards as drawn pictures, a layout to lay."""

from __future__ import annotations

from collections import deque
from typing import Any

from desk.drawing import Drawing, Outline, Words, ink_on, placed, to_svg
from desk.printing.sheets import spread_layout
from desk.sheet_picture import draw_board, draw_pattern, draw_piece, moves_in_words, points_in_words
from desk.tints import tints_of
from desk.web.errors import no_such
from scoring.grid import format_grid
from scoring.legality import places_for_next
from scoring.sheet import GameSheet
from scoring.tally import facts_of
from scoring.types import EMPTY, Grid, Point

CARD_SIZE = (168.0, 128.0)
BOARD_PX = 560.0
SHAPES = (
    "circle",
    "square",
    "triangle",
    "diamond",
    "cross",
    "star",
    "hexagon",
    "bar",
    "ring",
    "drop",
)
"""A sign for each colour beside its letter, so that no answer hangs on seeing a tint."""


def game_view(sheet: GameSheet, cards_at: str) -> dict[str, Any]:
    """A game's colours and cards; a card's picture lies at ``cards_at`` and its number."""
    tints = tints_of(sheet)
    colours = [
        {
            "name": colour.name,
            "letter": colour.letter,
            "tint": tints[colour.name],
            "shape": SHAPES[number % len(SHAPES)],
        }
        for number, colour in enumerate(sheet.colours)
    ]
    cards = [
        {
            "name": card.name,
            "points": points_in_words(card),
            "moves": moves_in_words(card),
            "common": card.common,
            "picture": f"{cards_at}/{number}.svg",
        }
        for number, card in enumerate(sheet.cards)
    ]
    return {
        "game": sheet.name,
        "about": sheet.about,
        "cells": len(sheet.lattice.cells),
        "colours": colours,
        "cards": cards,
        "facts": sorted(facts_of(sheet)),
    }


def card_svg(sheet: GameSheet, number: int) -> str:
    """A card's pattern as a picture."""
    if not 0 <= number < len(sheet.cards):
        raise no_such("card")
    width, height = CARD_SIZE
    frame = (12.0, 12.0, width - 24, height - 24)
    return to_svg(Drawing(CARD_SIZE, tuple(draw_pattern(sheet, sheet.cards[number], frame))))


def layout_svg(sheet: GameSheet, grid: Grid) -> str:
    """The board with a piece drawn where each is to lie, as SVG."""
    return to_svg(layout_drawing(sheet, grid))


def layout_drawing(sheet: GameSheet, grid: Grid) -> Drawing:
    """The board with a piece drawn where each is to lie, the cell's name above its letter."""
    width, height = sheet.lattice.board_size_mm
    scale = BOARD_PX / width
    tints = tints_of(sheet)
    letters = {colour.name: colour.letter for colour in sheet.colours}
    shapes: list[Outline | Words] = list(draw_board(sheet, scale, (0.0, 0.0)))
    for cell in sheet.lattice.cells:
        if grid[cell.id] != EMPTY:
            name = grid[cell.id]
            outline = placed(cell.polygon_mm, scale, (0.0, 0.0))
            shapes += draw_piece(outline, tints[name], letters[name])
            shapes.append(cell_words(cell.id, outline, tints[name]))
    return Drawing((BOARD_PX, height * scale), tuple(shapes))


def cell_words(id: str, outline: tuple[Point, ...], tint: str) -> Words:
    """A cell's name, small, in the upper part of the piece that lies there."""
    x, y = zip(*outline, strict=True)
    height = max(y) - min(y)
    at = ((max(x) + min(x)) / 2, min(y) + 0.22 * height)
    return Words(at, id, min(9.0, 0.24 * height), ink_on(tint))


def proposed_plan(sheet: GameSheet) -> str:
    """A known layout: all colours spread over the board, at least a quarter of it left empty.

    Pieces are laid one by one where they may lie, so that the layout can be laid by hand; of two
    places the one farther from pieces of the same colour is taken.
    """
    grid = dict.fromkeys(sheet.lattice.neighbours, EMPTY)
    wanted = min(3 * len(grid) // 4, 8 * len(sheet.colours))
    supply = {c.name: len(grid) if c.supply is None else c.supply for c in sheet.colours}
    waiting = deque(colour.name for colour in sheet.colours)
    laid = 0
    while laid < wanted and waiting:
        name = waiting.popleft()
        free = places_for_next(sheet, grid)
        if not free:
            break
        if supply[name] == 0:
            continue
        cell = min(free, key=lambda cell: alike_beside(sheet, grid, cell, name))
        grid[cell], supply[name], laid = name, supply[name] - 1, laid + 1
        waiting.append(name)
    return format_grid(grid, sheet)


def trial_plan(sheet: GameSheet) -> str:
    """A layout to try a table with: another than the printed one, each colour moved on by one."""
    names = [colour.name for colour in sheet.colours]
    after = dict(zip(names, names[1:] + names[:1], strict=True)) | {EMPTY: EMPTY}
    moved = {cell: after[name] for cell, name in spread_layout(sheet).items()}
    return format_grid(Grid(moved), sheet)


def alike_beside(sheet: GameSheet, grid: dict[str, str], cell: str, colour: str) -> int:
    """How many neighbours have this colour already."""
    return sum(grid[other] == colour for other in sheet.lattice.neighbours[cell])
