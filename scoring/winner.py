"""Who won: the greatest total, then the sheet's tie-breaks in order, then a shared victory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scoring.board import Board
from scoring.plan import NOTHING
from scoring.rules import Cards, TieBreak
from scoring.sheet import GameSheet
from scoring.types import PlayerTally
from scoring.words import listed

Boards = Mapping[str, Board]
Facts = Mapping[str, Sequence[str]]


def decide_winners(
    sheet: GameSheet, players: Sequence[PlayerTally], boards: Boards, facts: Facts
) -> tuple[tuple[str, ...], str]:
    """The winner or winners in the order given, and what broke a tie, in words."""
    if not players:
        return (), ""
    top = max(player.total for player in players)
    leading = [player for player in players if player.total == top]
    if len(leading) == 1:
        return (leading[0].player,), ""
    words = f"{listed([player.player for player in leading])} have {top} points each"
    for tie in sheet.tie_breaks:
        counts = {p.player: count_for_tie(sheet, tie, p, boards[p.player], facts) for p in leading}
        best = (min if tie.fewer else max)(counts.values())
        leading = [player for player in leading if counts[player.player] == best]
        if len(leading) == 1:
            return (leading[0].player,), f"{words}; {tie_in_words(tie)} decides"
    return tuple(player.player for player in leading), f"{words}; the victory is shared"


def count_for_tie(
    sheet: GameSheet, tie: TieBreak, player: PlayerTally, board: Board, facts: Facts
) -> int:
    """The number that a tie-break compares."""
    match tie.by:
        case "rule":
            return sum(line.points for line in player.lines if line.rule == tie.of)
        case "cards":
            label = next((rule.label for rule in sheet.rules if isinstance(rule, Cards)), "")
            lines = [line for line in player.lines if line.rule == label]
            return sum(bool(proof.cells) for line in lines for proof in line.proofs)
        case "pieces":
            return sum(_is_of(board, colour, tie.of) for colour in board.colours)
        case "largest-group":
            sizes = [len(cells) for colour, cells in board.groups if _is_of(board, colour, tie.of)]
            return max(sizes, default=0)
        case _:
            return int(tie.of in facts.get(player.player, ()))


def tie_in_words(tie: TieBreak) -> str:
    """A tie-break as a player would say it."""
    number = "fewer" if tie.fewer else "more"
    size = "smaller" if tie.fewer else "larger"
    return {
        "rule": f"{number} points for {tie.of}",
        "cards": f"{number} cards",
        "pieces": f"{number} pieces" + (f" of {tie.of}" if tie.of else ""),
        "largest-group": f"the {size} group" + (f" of {tie.of}" if tie.of else ""),
    }.get(tie.by, tie.of)


def _is_of(board: Board, colour: int, name: str) -> bool:
    return colour == board.plan.colour_index[name] if name else colour != NOTHING
