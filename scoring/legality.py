"""Which pieces may lie where they lie, may be added or lifted, and what lifting costs.

A piece is held up when it lies on an anchor, or when one ("any") or all ("all") of its inner sides,
those a step nearer to an anchor, lie whole against another piece. With support "none" every piece
is held up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from functools import lru_cache

from scoring.choose import Row, solve
from scoring.errors import SheetError
from scoring.lattice import anchor_distance
from scoring.sheet import GameSheet
from scoring.types import EMPTY, Lattice, Problem


def is_held(sheet: GameSheet, cell: str, pieces: Collection[str]) -> bool:
    """Whether a piece in this cell would be held up by these others."""
    inner = sheet.lattice.inner[cell]
    if sheet.support == "none" or not inner:
        return True
    held = (other in pieces for other in inner)
    return any(held) if sheet.support == "any" else all(held)


def held_pieces(sheet: GameSheet, pieces: Collection[str]) -> set[str]:
    """Those of the pieces that are held up, by others that are held up themselves."""
    held: set[str] = set()
    inner = sheet.lattice.inner
    enough = {"any": any, "all": all, "none": _always}[sheet.support]
    for cell in outward(sheet.lattice):
        if cell in pieces and (not inner[cell] or enough(b in held for b in inner[cell])):
            held.add(cell)
    return held


def _always(_: Iterable[bool]) -> bool:
    return True


def floating_pieces(sheet: GameSheet, grid: Mapping[str, str]) -> tuple[str, ...]:
    """Pieces that are not held up, or only by pieces that are not; in cell order."""
    pieces = pieces_of(grid)
    return _in_order(sheet, pieces - held_pieces(sheet, pieces))


def fewest_wrong(sheet: GameSheet, grid: Mapping[str, str]) -> tuple[str, ...]:
    """A smallest set of cells whose presence (piece or none) must be wrong, as pieces cannot float.

    Exact, by integer programming: x is 1 where a piece lies in truth; a piece needs the inner
    pieces that hold it; as few cells as possible differ from the grid.
    """
    if not floating_pieces(sheet, grid):
        return ()
    ids = [cell.id for cell in sheet.lattice.cells]
    number = {id: i for i, id in enumerate(ids)}
    rows: list[Row] = []
    for id in ids:
        inner = [number[other] for other in sheet.lattice.inner[id]]
        if sheet.support == "any" and inner:
            rows.append((dict.fromkeys(inner, 1.0) | {number[id]: -1.0}, 0.0))
        elif sheet.support == "all":
            rows += [({other: 1.0, number[id]: -1.0}, 0.0) for other in inner]
    # Equal sets are told apart by doubting the pieces before the empty cells, then by cell order.
    worth = [_faith(i, grid[id] != EMPTY, len(ids)) for i, id in enumerate(ids)]
    lying = set(solve(worth, rows))
    return tuple(id for id in ids if (number[id] in lying) != (grid[id] != EMPTY))


def places_for_next(sheet: GameSheet, grid: Mapping[str, str]) -> tuple[str, ...]:
    """Empty cells in which a next piece may lie, in cell order."""
    pieces = pieces_of(grid)
    held = held_pieces(sheet, pieces)
    empty = sheet.lattice.neighbours.keys() - pieces
    return _in_order(sheet, {cell for cell in empty if is_held(sheet, cell, held)})


def liftable_pieces(sheet: GameSheet, grid: Mapping[str, str]) -> tuple[str, ...]:
    """Pieces that may be lifted without leaving another one not held up, in cell order."""
    pieces = pieces_of(grid)
    held = held_pieces(sheet, pieces)
    return _in_order(sheet, {cell for cell in pieces if _may_lift(sheet, cell, held)})


def _may_lift(sheet: GameSheet, cell: str, held: Collection[str]) -> bool:
    """Whether the pieces that lean on this one are held up without it; no others can lose hold."""
    rest = set(held) - {cell}
    beside = sheet.lattice.neighbours[cell]
    leaning = [other for other in beside if cell in sheet.lattice.inner[other] and other in rest]
    return all(is_held(sheet, other, rest) for other in leaning)


def lifting_order(
    sheet: GameSheet, grid: Mapping[str, str], cells: Iterable[str]
) -> tuple[str, ...] | None:
    """An order in which these pieces may be lifted one by one, or None if there is none.

    The outermost of the pieces goes first. What leans on a piece lies farther out, so pieces that
    are held up when all is lifted are held up all the way.
    """
    pieces = pieces_of(grid)
    wanted = set(cells)
    for cell in sorted(wanted - pieces):
        raise SheetError(f"cell {cell}", "there is no piece to lift")
    stay = pieces - wanted
    if held_pieces(sheet, pieces) & stay != held_pieces(sheet, stay):
        return None
    return tuple(cell for cell in reversed(outward(sheet.lattice)) if cell in wanted)


def check_supply(sheet: GameSheet, grids: Mapping[str, Mapping[str, str]]) -> list[Problem]:
    """Colours of which the boards of one game show more pieces than the box holds."""
    shown = Counter(colour for grid in grids.values() for colour in grid.values())
    problems = []
    for colour in sheet.colours:
        if colour.supply is None or shown[colour.name] <= colour.supply:
            continue
        words = f"{shown[colour.name]} pieces of {colour.name} lie; the box holds {colour.supply}"
        problems.append(Problem("", (), words))
    return problems


def check_board(sheet: GameSheet, player: str, grid: Mapping[str, str]) -> list[Problem]:
    """What cannot be so on one finished board: pieces that float, cells empty on a full board."""
    problems = []
    floating = floating_pieces(sheet, grid)
    if floating:
        words = f"nothing holds up the piece in {', '.join(floating)}"
        problems.append(Problem(player, floating, words))
    empty = tuple(cell.id for cell in sheet.lattice.cells if grid[cell.id] == EMPTY)
    if sheet.full_board and empty:
        words = f"a finished board is full, but {', '.join(empty)} is empty"
        problems.append(Problem(player, empty, words))
    return problems


def pieces_of(grid: Mapping[str, str]) -> set[str]:
    """Cells with a piece."""
    return {cell for cell, colour in grid.items() if colour != EMPTY}


def _in_order(sheet: GameSheet, cells: Collection[str]) -> tuple[str, ...]:
    return tuple(cell.id for cell in sheet.lattice.cells if cell.id in cells)


@lru_cache(maxsize=64)
def outward(lattice: Lattice) -> tuple[str, ...]:
    """Cells from the anchors outward; equally far ones in cell order."""
    steps = anchor_distance(lattice)
    return tuple(sorted(lattice.neighbours, key=lambda id: steps.get(id, len(steps))))


def _faith(i: int, lies: bool, number: int) -> float:
    """Worth of believing that a piece lies: all cells count the same, ties nudged by cell order."""
    nudge = (number - i) / (4.0 * number * number)
    return 1.0 - 1 / (4 * number) + nudge if lies else -1.0 - 1 / (4 * number) - nudge
