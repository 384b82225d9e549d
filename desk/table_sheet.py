"""A table given a changed sheet of its game: new cards, rules or supply; what it learned stays."""

from __future__ import annotations

from dataclasses import replace

from calibrate.types import Table
from desk.given import GivenError
from scoring.sheet import GameSheet


def with_sheet(table: Table, sheet: GameSheet) -> Table:
    """The table with this sheet. Raises GivenError where what was learned is not of that sheet."""
    reason = _why_not(table.sheet, sheet)
    if reason:
        raise GivenError(
            table.name, f"was learned for {reason} than {sheet.name} has now. Learn it anew."
        )
    return replace(table, sheet=sheet)


def fits(table: GameSheet, sheet: GameSheet) -> bool:
    """Whether a table's sheet is an earlier or later one of this game."""
    return not _why_not(table, sheet)


def _why_not(known: GameSheet, sheet: GameSheet) -> str:
    """What a reading hangs on that differs; "" where a reading would be the same."""
    cells = [[(cell.id, cell.polygon_mm) for cell in one.lattice.cells] for one in (known, sheet)]
    size = [(one.lattice.board_size_mm, one.piece_height_mm) for one in (known, sheet)]
    colours = [{colour.name for colour in one.colours} for one in (known, sheet)]
    if cells[0] != cells[1] or size[0] != size[1]:
        return "another board"
    if colours[0] != colours[1]:
        return "other colours"
    return "other corner marks" if known.marks != sheet.marks else ""
