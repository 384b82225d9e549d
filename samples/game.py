"""One finished game drawn at random: who sits there, what lies on every board, which cards are
claimed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from samples.grids import Layout, full_box, random_board
from scoring.sheet import GameSheet
from scoring.tally import tally

TRIES = 60
"""Games drawn to find one whose end is close enough to be worth telling."""


@dataclass(frozen=True)
class Game:
    """Boards by player, in seat order, and the cards that each player claims."""

    grids: Mapping[str, Layout]
    claims: Mapping[str, tuple[str, ...]]


def draw_game(sheet: GameSheet, rng: np.random.Generator, players: Sequence[str]) -> Game:
    """Draw games until ``TRIES``, and return the one with the closest end and the most cards
    complete.

    Each player claims what is complete; one player also claims a card that is not.
    """
    games = [_draw_once(sheet, rng, players) for _ in range(TRIES)]
    return max(games, key=lambda game: _interest(sheet, game))


def _draw_once(sheet: GameSheet, rng: np.random.Generator, players: Sequence[str]) -> Game:
    box = full_box(sheet)
    cells = len(sheet.lattice.cells)
    gaps = [
        0 if i == 0 or sheet.full_board else int(rng.integers(0, 4)) for i in range(len(players))
    ]
    grids = {
        player: random_board(
            sheet.lattice, box, rng, pieces=cells - gap, support=sheet.support, clump=0.42
        )
        for player, gap in zip(players, gaps, strict=True)
    }
    claims = {player: complete_cards(sheet, grid) for player, grid in grids.items()}
    return Game(grids, _with_one_false(sheet, claims, str(rng.choice(list(players)))))


def complete_cards(sheet: GameSheet, grid: Layout) -> tuple[str, ...]:
    """Return the names of the cards that are complete on this board, in the sheet's order."""
    names = [card.name for card in sheet.cards]
    lines = tally(sheet, {"": grid}, {"": names}).players[0].lines
    return tuple(line.label for line in lines if line.label in names and line.points > 0)


def _with_one_false(
    sheet: GameSheet, claims: Mapping[str, tuple[str, ...]], player: str
) -> dict[str, tuple[str, ...]]:
    missing = [card.name for card in sheet.cards if card.name not in claims[player]]
    return {**claims, player: claims[player] + tuple(missing[:1])}


def _interest(sheet: GameSheet, game: Game) -> float:
    """Say how good a story this end is: close totals, one winner, cards for everybody."""
    result = tally(sheet, game.grids, game.claims)
    totals = sorted(player.total for player in result.players)
    least = min(len(claimed) for claimed in game.claims.values())
    return 2.0 * least - (totals[-1] - totals[0]) - 3.0 * (len(result.winners) > 1)
