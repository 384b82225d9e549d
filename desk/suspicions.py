"""What cannot be so becomes questions: floating pieces, gaps on a full board, too many of a colour.

A reading may be certain of each cell and still contradict the game. Then the cells that the fewest
mistakes would explain are put in doubt again, never repaired in silence.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache

from calibrate.types import Table
from desk.beliefs import grid_of
from desk.types import SKIP, Game, Seat
from scoring.legality import fewest_wrong
from scoring.types import EMPTY, Colour
from vision.read import belief_of
from vision.types import CellReading, Evidence

SUSPECTS_PER_PIECE = 2
"""Least sure cells put in doubt for each piece that the box does not hold (chosen by hand)."""

LIKELIEST = 3
"""What may lie in a cell put in doubt: so many of the likeliest (chosen by hand)."""

Place = tuple[str, str]
"""A player and a cell."""

Ranking = Mapping[str, tuple[tuple[str, float], ...]]
"""By cell, every colour (or "empty") with its distance, the likeliest first."""


def suspecting(game: Game) -> Game:
    """The game with every cell in doubt that must be looked at for the boards to be possible."""
    answered = {(a.player, a.cell) for a in game.answers if a.colour != SKIP}
    reasons = {**impossible_cells(game), **oversupplied_cells(game, answered)}
    new = {place: why for place, why in reasons.items() if place not in answered}
    seats = []
    for seat in game.seats:
        mine = {cell: why for (player, cell), why in new.items() if player == seat.player}
        seats.append(suspected(seat, mine, game.table))
    return replace(game, seats=tuple(seats))


def impossible_cells(game: Game) -> dict[Place, str]:
    """Cells of one board that cannot be as they were read, with the reason."""
    sheet = game.table.sheet
    found: dict[Place, str] = {}
    for seat in game.seats:
        grid = grid_of(seat.told)
        for cell in fewest_wrong(sheet, grid):
            empty = grid[cell] == EMPTY
            why = "a piece beside it would float" if empty else "nothing would hold a piece up here"
            found[seat.player, cell] = why
        if sheet.full_board:
            gaps = [cell for cell in grid if grid[cell] == EMPTY]
            found |= {(seat.player, cell): "a finished board has no empty cell" for cell in gaps}
    return found


def oversupplied_cells(game: Game, answered: set[Place]) -> dict[Place, str]:
    """The least sure cells of each colour of which more pieces surely lie than the box holds.

    Cells in doubt anyway do not count: what they are will show.
    """
    lying = Counter(
        belief.colour
        for seat in game.seats
        for belief in seat.told.cells.values()
        if belief.doubt is None
    )
    found: dict[Place, str] = {}
    for colour in game.table.sheet.colours:
        excess = excess_of(colour, lying)
        if excess > 0:
            suspects = sorted(lead_by_place(game, colour.name, answered), key=lambda item: item[1])
            why = f"{lying[colour.name]} pieces of {colour.name} lie, the box holds {colour.supply}"
            found |= {place: why for place, _ in suspects[: SUSPECTS_PER_PIECE * excess]}
    return found


def excess_of(colour: Colour, lying: Mapping[str, int]) -> int:
    """How many more pieces lie than the box holds; none where the sheet does not say."""
    return 0 if colour.supply is None else lying.get(colour.name, 0) - colour.supply


def doubts_that_cannot_all_be(game: Game) -> tuple[Place, ...]:
    """Doubtful cells whose likeliest colours are together more than the box holds."""
    lying = Counter(colour for seat in game.seats for colour in grid_of(seat.reading).values())
    over = {c.name for c in game.table.sheet.colours if excess_of(c, lying) > 0}
    return tuple(
        (seat.player, cell)
        for seat in game.seats
        for cell, belief in seat.reading.cells.items()
        if belief.doubt and belief.colour in over
    )


def lead_by_place(game: Game, colour: str, answered: set[Place]) -> Iterator[tuple[Place, float]]:
    """How far this colour leads before the next, in every cell that was read so by no person."""
    for seat in game.seats:
        grid = grid_of(seat.told)
        for cell, ranked in ranking(seat.first.evidence, game.table).items():
            sure = seat.told.cells[cell].doubt is None
            if sure and grid[cell] == colour and (seat.player, cell) not in answered:
                rival = min(distance for name, distance in ranked if name != colour)
                yield (seat.player, cell), rival - dict(ranked)[colour]


def suspected(seat: Seat, reasons: Mapping[str, str], table: Table) -> Seat:
    """A seat with these cells in doubt; what may lie in them is asked from the likeliest on."""
    cells = dict(seat.told.cells)
    for cell, why in reasons.items():
        before = cells[cell]
        if before.doubt is None:
            ranked = ranking(seat.first.evidence, table)[cell]
            others = [name for name, _ in ranked if name != before.colour]
            cells[cell] = CellReading(before.colour, (before.colour, *others)[:LIKELIEST], why)
    return replace(seat, reading=replace(seat.told, cells=cells))


@lru_cache(maxsize=32)
def ranking(evidence: Evidence, table: Table) -> Ranking:
    """What colour alone says of every cell of a board."""
    belief = belief_of(evidence, table, {})
    return {
        cell.id: tuple(sorted(zip(belief.names, map(float, row), strict=True), key=by_distance))
        for cell, row in zip(table.sheet.lattice.cells, belief.distances, strict=True)
    }


def by_distance(ranked: tuple[str, float]) -> tuple[float, str]:
    """Nearest first, equally near ones by name."""
    return ranked[1], ranked[0]
