"""Who stands where while cells are doubtful: each player's points and rank as sums of terms.

A rank is one whole number: the total, then each tie-break, each weighted so that it outweighs all
that follow it. Players compare by rank exactly as winner.py compares them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from scoring.card_terms import Side, card_terms, counted_terms
from scoring.doubted import Doubted, Loose, Table, Term
from scoring.knots import MOST_RANKS, Outcome, Value, outcome_of
from scoring.rules import Cards, Rule, TieBreak
from scoring.sheet import GameSheet
from scoring.terms import constant, largest_term, pieces_terms, rule_terms


def outcomes_of(sheet: GameSheet, sides: Mapping[str, Side]) -> dict[str, Outcome]:
    """What each player's board may come to, ranks comparable between all players."""
    by_rule = {
        player: {rule.label: terms_of(rule, side) for rule in sheet.rules}
        for player, side in sides.items()
    }
    points = {player: _sum(terms for terms in rules.values()) for player, rules in by_rule.items()}
    if not sheet.tie_breaks:
        return {p: outcome_of(side.board, points[p], points[p]) for p, side in sides.items()}
    ties = [
        {player: _tie(sheet, tie, side, by_rule[player]) for player, side in sides.items()}
        for tie in sheet.tie_breaks
    ]
    weights = _weights([points, *ties])
    return {
        player: outcome_of(
            side.board,
            points[player],
            _weighted(side.board, [points[player], *(tie[player] for tie in ties)], weights),
        )
        for player, side in sides.items()
    }


def rivals_of(player: str, outcomes: Mapping[str, Outcome]) -> Rivals:
    """What the best of the other players may reach."""
    others = [outcome for name, outcome in outcomes.items() if name != player]
    if not others:
        return Rivals(None, 0, -1)
    low = max(other.rank_range[0] for other in others)
    high = max(other.rank_range[1] for other in others)
    ranks = [other.ranks for other in others]
    if any(r is None for r in ranks):
        return Rivals(None, low, high)
    joined = np.unique(np.concatenate([r for r in ranks if r is not None]))
    return Rivals(joined[joined >= low], low, high)


def possible_winners(outcomes: Mapping[str, Outcome]) -> tuple[str, ...]:
    """Players who may win, alone or shared: their best is at least every other's worst."""
    return tuple(
        player
        for player, outcome in outcomes.items()
        if all(outcome.rank_range[1] >= other.rank_range[0] for other in outcomes.values())
    )


@dataclass(frozen=True, eq=False)
class Rivals:
    """The best rank among the other players: every possible one (if known), lowest and highest."""

    ranks: Table | None
    low: int
    high: int


def changes_winner(outcome: Outcome, k: int, rivals: Rivals) -> bool:
    """Whether doubt k can change who wins, all else being some possible way.

    It can if and only if two ranks that differ by this doubt alone have a possible best rank of the
    rivals between them, ends included: a tie shares the victory. Where not all ranks are known, the
    answer is yes whenever it cannot be ruled out.
    """
    if rivals.low > rivals.high:
        return False
    if not outcome.ranks_change(k):
        return False
    low, high = outcome.rank_range
    if low > rivals.high or high < rivals.low:
        return False
    knot = outcome.knot_of(k)
    rest = outcome.ranks_without(knot)
    if rivals.ranks is None or knot is None or rest is None:
        return True
    lower, higher = knot.rank_spans(k)
    if len(lower) * len(rest) > MOST_RANKS:
        return True
    # The lowest rival rank at or above the lower of the two; past the last, one out of reach.
    nearest = np.append(rivals.ranks, np.iinfo(np.int64).max)
    first = np.searchsorted(rivals.ranks, np.add.outer(lower, rest))
    return bool((nearest[first] <= np.add.outer(higher, rest)).any())


def terms_of(rule: Rule, side: Side) -> list[Term | Loose]:
    """The terms of one rule for one player."""
    if isinstance(rule, Cards):
        return list(card_terms(side, rule))
    return list(rule_terms(rule, side.board, side.facts))


def _sum(many: Iterable[Iterable[Term | Loose]]) -> Value:
    value = Value()
    for terms in many:
        for term in terms:
            value.add(term)
    return value


def _tie(
    sheet: GameSheet, tie: TieBreak, side: Side, by_rule: Mapping[str, list[Term | Loose]]
) -> Value:
    """The number that a tie-break compares, turned so that greater is better."""
    value = Value()
    for term in _tie_terms(sheet, tie, side, by_rule):
        value.add(term, -1 if tie.fewer else 1)
    return value


def _tie_terms(
    sheet: GameSheet, tie: TieBreak, side: Side, by_rule: Mapping[str, list[Term | Loose]]
) -> Iterable[Term | Loose]:
    index = side.board.plan.colour_index
    match tie.by:
        case "rule":
            return by_rule[tie.of]
        case "cards":
            rule = next(rule for rule in sheet.rules if isinstance(rule, Cards))
            return counted_terms(side, rule)
        case "pieces":
            return pieces_terms(side.board, index[tie.of] if tie.of else None)
        case "largest-group":
            colours = [index[tie.of]] if tie.of else range(len(side.board.plan.colours))
            return [largest_term(side.board, colours, int)]
        case _:
            return [constant(int(tie.of in side.facts))]


GREATEST_RANK = 1 << 62
"""Ranks are kept in 64 bits."""


def _weights(values: Sequence[Mapping[str, Value]]) -> list[int]:
    """Weights of the total and of the tie-breaks: each outweighs all that follow it.

    Only as many tie-breaks get one as fit into a rank.
    """
    spans = [_span(value) for value in values]
    while True:
        weights = [1]
        for span in reversed(spans[1:]):
            weights.insert(0, weights[0] * (span + 1))
        if len(spans) == 1 or weights[0] * spans[0] < GREATEST_RANK:
            return weights
        spans.pop()


def _span(value: Mapping[str, Value]) -> int:
    """Distance between the least and the greatest number that any player may have, 0 included."""
    bounds = [(0, 0), *(one.bounds() for one in value.values())]
    return max(high for _, high in bounds) - min(low for low, _ in bounds)


def _weighted(board: Doubted, values: Sequence[Value], weights: Sequence[int]) -> Value:
    """The rank; where tie-breaks had to be left out, whatever they might decide is left open."""
    rank = Value()
    for value, weight in zip(values, weights, strict=False):
        for term in chain[Term | Loose](value.exact, value.loose):
            rank.add(term, weight)
    if len(weights) < len(values):
        rank.add(Loose(tuple(range(len(board.doubts))), 0, 0))
    return rank
