"""Grids as text: one line a row, the letters of its cells in column order, a full stop for empty.

A: M S . C
B: M M S
"""

from __future__ import annotations

from collections.abc import Mapping

from scoring.errors import SheetError
from scoring.lattice import rows_of
from scoring.sheet import GameSheet, letters
from scoring.types import EMPTY, Grid

EMPTY_MARK = "."


def parse_grid(text: str, sheet: GameSheet, where: str = "grid") -> Grid:
    """The grid written in a text; blank lines and lines that begin with # are left out."""
    rows = rows_of(sheet.lattice)
    cells: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        line = line.split("#", 1)[0].strip()
        if not line:
            continue
        place = f"{where}, line {number}"
        name, colon, marks = line.partition(":")
        name = name.strip()
        if not colon or name not in rows:
            raise SheetError(place, f"does not begin with a row of the board ({', '.join(rows)})")
        if rows[name][0] in cells:
            raise SheetError(place, f"row {name} comes twice")
        cells.update(_row(marks.split(), rows[name], sheet, place))
    missing = [name for name, row in rows.items() if row[0] not in cells]
    if missing:
        raise SheetError(where, f"row {missing[0]} is missing")
    return Grid({cell.id: cells[cell.id] for cell in sheet.lattice.cells})


def format_grid(grid: Mapping[str, str], sheet: GameSheet) -> str:
    """The text of a grid, one line a row."""
    check_grid(sheet, grid)
    marks = {colour.name: colour.letter for colour in sheet.colours} | {EMPTY: EMPTY_MARK}
    return "".join(
        f"{name}: {' '.join(marks[grid[id]] for id in row)}\n"
        for name, row in rows_of(sheet.lattice).items()
    )


def check_grid(sheet: GameSheet, grid: Mapping[str, str], where: str = "grid") -> None:
    """Raises SheetError unless every cell of the board has a colour of the sheet or is empty."""
    known = {colour.name for colour in sheet.colours} | {EMPTY}
    if grid.keys() == sheet.lattice.neighbours.keys() and known.issuperset(grid.values()):
        return
    for cell in sheet.lattice.neighbours:
        if cell not in grid:
            raise SheetError(f"{where}, cell {cell}", "is missing")
    for cell, colour in grid.items():
        if cell not in sheet.lattice.neighbours:
            raise SheetError(f"{where}, cell {cell}", "the board has no such cell")
        if colour not in known:
            raise SheetError(f"{where}, cell {cell}", f"there is no colour {colour!r}")


def _row(marks: list[str], row: list[str], sheet: GameSheet, place: str) -> dict[str, str]:
    names = letters(sheet) | {EMPTY_MARK: EMPTY}
    if len(marks) != len(row):
        raise SheetError(place, f"has {len(marks)} pieces; this row has {len(row)} cells")
    for cell, mark in zip(row, marks, strict=True):
        if mark not in names:
            raise SheetError(f"{place}, cell {cell}", f"{mark!r} is not the letter of a colour")
    return {cell: names[mark] for cell, mark in zip(row, marks, strict=True)}
