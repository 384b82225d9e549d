"""The command ``print``: all that is printed for a game, as one PDF at true size."""

from __future__ import annotations

from pathlib import Path

from desk.durable import write_whole
from desk.printing.marks import corner_cards, key_strip, marks_text, needs_cards
from desk.printing.page import new_document
from desk.printing.sheets import card_list, layout_plan, score_sheet, spread_layout
from scoring.grid import format_grid
from scoring.sheet import GameSheet, load_sheet
from scoring.types import Grid


def run_print(sheet: Path, out: Path, paper: str) -> None:
    """Write the pages and the plan that belongs to them."""
    game = load_sheet(sheet)
    pages = printables(game, paper)
    out.mkdir(parents=True, exist_ok=True)
    write_whole(out / "printables.pdf", pages)
    write_whole(out / "layout.txt", format_grid(Grid(spread_layout(game)), game).encode())
    print(f"{out / 'printables.pdf'}: print at 100 % (actual size), then measure the bar.")
    if needs_cards(game):
        write_whole(out / "corner-marks.toml", marks_text(game).encode())
        print(f"{out / 'corner-marks.toml'}: add it to the sheet if you use the corner cards.")
    print(f"{out / 'layout.txt'}: the plan of the known layout, for calibrate --plan.")


def printables(sheet: GameSheet, paper: str) -> bytes:
    """The PDF; the same sheet gives the same pages."""
    document = new_document(paper, sheet.name)
    if needs_cards(sheet):
        corner_cards(document, sheet)
    key_strip(document, sheet)
    layout_plan(document, sheet, spread_layout(sheet))
    score_sheet(document, sheet)
    card_list(document, sheet)
    return bytes(document.output())
