"""What doubtful cells can change: totals, cards, the winner; and which questions settle most.

Every total is a sum of tables over few doubtful cells (terms.py). Cells that no table joins are
independent; each such knot of cells is worked through whole, in all its combinations. So ranges,
winners and what hangs on each cell are exact, not sampled. A knot of more than ``LARGEST_TABLE``
combinations is bounded instead (bounds.py), and the answer then carries ``exact=False``: ranges are
never too narrow, and a cell is never said to change nothing when it can.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import merge

from scoring.card_terms import Side, side_of
from scoring.doubted import Doubted
from scoring.errors import SheetError
from scoring.grid import check_grid
from scoring.knots import Knot, Outcome
from scoring.plan import plan_of
from scoring.questions import settling_order
from scoring.sheet import GameSheet
from scoring.standing import (
    changes_winner,
    outcomes_of,
    possible_winners,
    rivals_of,
)
from scoring.tally import Named, check_names

Candidates = Mapping[str, Sequence[str]]
"""For every cell of a board the colour names (or "empty") that it may have."""


@dataclass(frozen=True)
class Hang:
    """What one doubtful cell can change, whatever the other doubtful cells are."""

    player: str
    cell: str
    total: bool
    cards: tuple[str, ...]
    winner: bool

    @property
    def matters(self) -> bool:
        """Whether an answer can change anything that anybody sees."""
        return self.total or self.winner or bool(self.cards)


@dataclass(frozen=True)
class Hangs:
    """What the doubts of one game can change.

    ``ranges`` holds each player's lowest and highest possible total; ``winners`` the players who
    may win, alone or shared; ``doubts`` every doubtful cell; ``order`` those that can change
    something, as (player, cell), the question that settles most first. ``exact`` is False when a
    limit was reached: ranges may then be too wide and doubts may matter less than said, never more.
    """

    ranges: Mapping[str, tuple[int, int]]
    winners: tuple[str, ...]
    doubts: tuple[Hang, ...]
    order: tuple[tuple[str, str], ...]
    exact: bool = True


def what_hangs(
    sheet: GameSheet,
    boards: Mapping[str, Candidates],
    claims: Named | None = None,
    facts: Named | None = None,
) -> Hangs:
    """What the doubtful cells of all boards of a game can change.

    Raises SheetError for a board without candidates for a cell, or for a name not known.
    """
    claims, facts = claims or {}, facts or {}
    _check(sheet, boards, claims, facts)
    plan = plan_of(sheet)
    sides = {
        player: side_of(
            sheet, Doubted.of(plan, cells), claims.get(player, ()), facts.get(player, ())
        )
        for player, cells in boards.items()
    }
    outcomes = outcomes_of(sheet, sides)
    doubts = [hang for player in sides for hang in _doubts_of(player, sides[player], outcomes)]
    return Hangs(
        ranges={player: outcome.range for player, outcome in outcomes.items()},
        winners=possible_winners(outcomes),
        doubts=tuple(doubts),
        order=_order(doubts, outcomes),
        exact=all(outcome.exact for outcome in outcomes.values()),
    )


def _doubts_of(player: str, side: Side, outcomes: Mapping[str, Outcome]) -> list[Hang]:
    outcome, rivals = outcomes[player], rivals_of(player, outcomes)
    return [
        Hang(
            player=player,
            cell=side.board.plan.ids[cell],
            total=outcome.changes_total(k),
            cards=side.cards_on(k),
            winner=changes_winner(outcome, k, rivals),
        )
        for k, cell in enumerate(side.board.doubts)
    ]


def _order(doubts: Sequence[Hang], outcomes: Mapping[str, Outcome]) -> tuple[tuple[str, str], ...]:
    """Questions that matter: those that may decide the winner first, then by what they settle.

    Within a knot the best question depends on those before it; between knots the better next
    question goes first.
    """
    hangs = {(hang.player, hang.cell): hang for hang in doubts}
    place = {key: i for i, key in enumerate(hangs)}
    queues = [
        [
            (not hangs[key].winner, -gain, place[key], *key)
            for key, gain in _questions(player, knot, outcome, hangs)
            if hangs[key].matters
        ]
        for player, outcome in outcomes.items()
        for knot in outcome.knots
    ]
    ordered = [question[3:] for question in merge(*queues)]
    rest = [key for key, hang in hangs.items() if hang.matters and key not in set(ordered)]
    return (*ordered, *rest)


def _questions(
    player: str, knot: Knot, outcome: Outcome, hangs: Mapping[tuple[str, str], Hang]
) -> Iterator[tuple[tuple[str, str], float]]:
    ids = [outcome.board.plan.ids[cell] for cell in outcome.board.doubts]
    deciding = frozenset(k for k in knot.scope if hangs[player, ids[k]].winner)
    for k, gain in settling_order(knot, deciding):
        yield (player, ids[k]), gain


def _check(sheet: GameSheet, boards: Mapping[str, Candidates], claims: Named, facts: Named) -> None:
    """Raises SheetError unless every candidate of every cell makes a grid of the game."""
    for player, cells in boards.items():
        most = max((len(options) for options in cells.values()), default=0)
        for cell, options in cells.items():
            if not options or len(set(options)) < len(options):
                reason = "has no candidate" if not options else "has a candidate twice"
                raise SheetError(f"board of {player}, cell {cell}", reason)
        for i in range(most):
            check_grid(sheet, {c: o[min(i, len(o) - 1)] for c, o in cells.items()}, player)
    check_names(sheet, boards, claims, facts)
