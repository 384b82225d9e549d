"""From finished boards to totals, every point with the cells that prove it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from scoring.board import Board
from scoring.cards import score_cards
from scoring.errors import SheetError
from scoring.grid import check_grid
from scoring.kinds import score_rule
from scoring.legality import check_board, check_supply
from scoring.plan import plan_of
from scoring.rules import Cards
from scoring.sheet import GameSheet
from scoring.types import Grid, Line, PlayerTally, Tally
from scoring.winner import decide_winners

Named = Mapping[str, Sequence[str]]
"""Names (of cards claimed, or of facts that hold) by player."""


def tally(
    sheet: GameSheet,
    grids: Mapping[str, Mapping[str, str]],
    claims: Named | None = None,
    facts: Named | None = None,
) -> Tally:
    """The totals of all players, each line with its proof, the winners, and what cannot be so.

    ``claims`` names for each player the cards that the player says are complete; cards that are
    common to all need no claim. ``facts`` names for each player the facts of the game's end that
    hold for that player. Raises SheetError for a board, player or name that the game does not have.
    """
    claims, facts = claims or {}, facts or {}
    grids = {player: _cells(grid) for player, grid in grids.items()}
    for player, grid in grids.items():
        check_grid(sheet, grid, f"grid of {player}")
    check_names(sheet, grids, claims, facts)
    plan = plan_of(sheet)
    boards = {player: Board.of(plan, grid) for player, grid in grids.items()}
    players = tuple(
        player_tally(sheet, player, board, claims.get(player, ()), facts.get(player, ()))
        for player, board in boards.items()
    )
    winners, tie_break = decide_winners(sheet, players, boards, facts)
    problems = [p for player, grid in grids.items() for p in check_board(sheet, player, grid)]
    problems += check_supply(sheet, grids)
    return Tally(players, winners, tie_break, tuple(problems))


def _cells(grid: Mapping[str, str]) -> Mapping[str, str]:
    """The cells of a grid as they lie within it; looking them up is then several times faster."""
    return grid.cells if isinstance(grid, Grid) else grid


def player_tally(
    sheet: GameSheet, player: str, board: Board, claimed: Sequence[str], facts: Sequence[str]
) -> PlayerTally:
    """One player's lines and their sum."""
    lines: list[Line] = []
    for rule in sheet.rules:
        if isinstance(rule, Cards):
            lines += score_cards(sheet.cards, rule, board, claimed)
        else:
            lines.append(score_rule(rule, board, facts))
    return PlayerTally(player, sum(line.points for line in lines), tuple(lines))


def check_names(sheet: GameSheet, players: Collection[str], claims: Named, facts: Named) -> None:
    """Raises SheetError for a player, card or fact that is not known."""
    cards = {card.name for card in sheet.cards}
    for player, names in claims.items():
        _known_player(player, players, "claims")
        for name in names:
            if name not in cards:
                raise SheetError(f"claims of {player}", f"there is no card {name!r}")
    known = facts_of(sheet)
    for player, names in facts.items():
        _known_player(player, players, "facts")
        for name in names:
            if name not in known:
                raise SheetError(f"facts of {player}", f"the game knows no fact {name!r}")


def facts_of(sheet: GameSheet) -> set[str]:
    """Facts of the game's end that a rule or a tie-break asks for."""
    asked = {rule.fact for rule in sheet.rules if hasattr(rule, "fact")}
    return asked | {tie.of for tie in sheet.tie_breaks if tie.by == "fact"}


def _known_player(player: str, players: Collection[str], where: str) -> None:
    if player not in players:
        raise SheetError(where, f"there is no player {player!r}")
