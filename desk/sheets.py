"""The command ``sheet``: check a game sheet, say what is in it, draw it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from desk.drawing import save_drawing
from desk.sheet_picture import draw_sheet, moves_in_words, points_in_words
from scoring.sheet import GameSheet, load_sheet

HELD = {
    "any": "a piece needs one inner neighbour, or an anchor",
    "all": "a piece needs all its inner neighbours, or an anchor",
    "none": "a piece may lie anywhere",
}


def run_sheet(path: Path, draw: Path | None) -> None:
    """Check, say, draw."""
    sheet = load_sheet(path)
    print(*sheet_words(sheet), sep="\n")
    if draw:
        save_drawing(draw_sheet(sheet), draw)
        print(f"Drawn in {draw}.")


def sheet_words(sheet: GameSheet) -> Iterator[str]:
    """What a host checks before the first game."""
    width, height = sheet.lattice.board_size_mm
    yield f"{sheet.name}: the sheet is in order."
    yield (
        f"  Board: {len(sheet.lattice.cells)} cells ({sheet.lattice.kind}) on "
        f"{width:g} x {height:g} mm, {len(sheet.marks)} corner marks; {HELD[sheet.support]}."
    )
    yield f"  Colours: {', '.join(f'{c.name} ({c.letter})' for c in sheet.colours)}."
    yield f"  Rules: {', '.join(rule.label for rule in sheet.rules)}."
    for card in sheet.cards:
        yield f"  Card {card.name}: {points_in_words(card)}; {moves_in_words(card)}."
