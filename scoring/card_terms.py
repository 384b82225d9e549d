"""What cards may give on a board with doubtful cells: the points of cards.py as exact terms."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from scoring.cards import exclusive_sets, is_free
from scoring.choose import best_choice, conflicts_of, parts_of
from scoring.doubted import LARGEST_TABLE, YES, Doubted, Loose, Scope, Term
from scoring.knots import varies
from scoring.plan import Cells
from scoring.rules import Card, Cards
from scoring.sheet import GameSheet
from scoring.terms import Terms, constant, scaled


@dataclass(frozen=True, eq=False)
class Side:
    """One player's board and what counts for it: cards, where they may be complete, given facts."""

    board: Doubted
    cards: tuple[Card, ...]
    places: dict[str, dict[Cells, Term]]
    facts: Collection[str]

    @cached_property
    def complete(self) -> dict[str, Term | Loose]:
        """For each card 1 where it is complete in at least one place."""
        return {name: _is_complete(self.board, [*at.values()]) for name, at in self.places.items()}

    def cards_on(self, k: int) -> tuple[str, ...]:
        """Cards of which the number of completions (or whether there is one) hangs on doubt k."""
        return tuple(card.name for card in self.cards if self._hangs(card, k))

    def _hangs(self, card: Card, k: int) -> bool:
        if card.each:
            return any(varies(term, k) for term in self.places[card.name].values())
        complete = self.complete[card.name]
        return k in complete.scope if isinstance(complete, Loose) else varies(complete, k)


def side_of(
    sheet: GameSheet, board: Doubted, claimed: Collection[str], facts: Collection[str]
) -> Side:
    """One player's side of the game."""
    cards = tuple(card for card in sheet.cards if card.common or card.name in claimed)
    return Side(board, cards, {card.name: board.completions(card) for card in cards}, facts)


def _is_complete(board: Doubted, places: Sequence[Term]) -> Term | Loose:
    if YES in places:
        return YES
    scope = board.join(places)
    return Loose(scope, 0, 1) if board.volume(scope) > LARGEST_TABLE else board.any_of(places)


def card_terms(side: Side, rule: Cards) -> Terms:
    """Points for the cards that count for a player."""
    for card in side.cards:
        if not is_free(card, rule):
            yield constant(card.missed)
        elif card.each:
            yield from (scaled(term, card.points) for term in side.places[card.name].values())
        else:
            yield from _once(card, side.complete[card.name])
    yield from _packed_terms(side, rule, {c.name: c.points - c.missed for c in side.cards})


def _once(card: Card, complete: Term | Loose) -> Terms:
    if isinstance(complete, Loose):
        low, high = sorted((card.missed, card.points))
        yield Loose(complete.scope, low, high)
    else:
        yield constant(card.missed)
        yield scaled(complete, card.points - card.missed)


def counted_terms(side: Side, rule: Cards) -> Terms:
    """How many completions count, all cards together (for a tie-break by cards)."""
    for card in side.cards:
        if is_free(card, rule):
            places = side.places[card.name].values()
            yield from places if card.each else [side.complete[card.name]]
    yield from _packed_terms(side, rule, dict.fromkeys(side.places, 1))


LARGEST_PART = 60
"""Doubtful placements that may exclude each other; each takes one bit of an int64."""


@dataclass(frozen=True)
class _Packing:
    """Placements by number: where they lie, their worth, how much each counts, what excludes it."""

    lying: list[Term]
    worth: list[int]
    counts: list[int]
    conflicts: list[set[int]]


def _packed_terms(side: Side, rule: Cards, counts: dict[str, int]) -> Terms:
    """Where pieces may not count twice: one term for each part that is chosen from apart.

    Of the placements chosen (those worth most) each counts as much as ``counts`` says of its card.
    """
    tied = [card for card in side.cards if not is_free(card, rule)]
    candidates = [(card, cells) for card in tied for cells in side.places[card.name]]
    packing = _Packing(
        lying=[side.places[card.name][cells] for card, cells in candidates],
        worth=[card.points - card.missed for card, _ in candidates],
        counts=[counts[card.name] for card, _ in candidates],
        conflicts=conflicts_of(len(candidates), exclusive_sets(candidates, rule)),
    )
    for part in parts_of(packing.conflicts):
        scope = side.board.join(packing.lying[i] for i in part)
        doubtful = [i for i in part if packing.lying[i].scope]
        if side.board.volume(scope) > LARGEST_TABLE or len(doubtful) > LARGEST_PART:
            yield Loose(scope, 0, sum(packing.counts[i] for i in part))
        else:
            yield _part_term(side.board, scope, part, packing)


def _part_term(board: Doubted, scope: Scope, part: Sequence[int], packing: _Packing) -> Term:
    """What the best choice among those of a part that lie counts, for every choice of candidates.

    Which of the doubtful placements lie is kept in the bits of one number; each such set is solved
    once.
    """
    doubtful = [i for i in part if packing.lying[i].scope]
    codes = np.zeros(board.shape(scope), dtype=np.int64)
    for k, i in enumerate(doubtful):
        codes |= board.spread(packing.lying[i], scope).astype(np.int64) << k
    kinds, where = np.unique(codes, return_inverse=True)
    best = []
    for code in kinds.tolist():
        lacking = {i for k, i in enumerate(doubtful) if not code >> k & 1}
        best.append(_best([i for i in part if i not in lacking], packing))
    return Term(scope, np.array(best, dtype=np.int64)[where].reshape(codes.shape))


def _best(present: Sequence[int], packing: _Packing) -> int:
    place = {i: k for k, i in enumerate(present)}
    pairs = [
        [place[i], place[j]] for i in present for j in packing.conflicts[i] if j > i and j in place
    ]
    chosen = best_choice([packing.worth[i] for i in present], pairs)
    return sum(packing.counts[present[k]] for k in chosen)
