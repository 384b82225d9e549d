"""Sums of tables over doubtful cells, worked through exactly, knot by knot.

A knot is a set of doubtful cells that tables join; different knots are independent. Two values are
carried side by side: ``points`` (a player's total) and ``rank``, a whole number that orders players
as the sheet does, tie-breaks included (standing.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import prod

import numpy as np

from scoring.bounds import extremes
from scoring.doubted import LARGEST_TABLE, Doubted, Loose, Scope, Table, Term

MOST_RANKS = 1 << 18
"""Different ranks of one player that are still told apart one by one."""


@dataclass(frozen=True, eq=False)
class Value:
    """What is added up: exact terms, and terms of which only bounds are known."""

    exact: list[Term] = field(default_factory=list)
    loose: list[Loose] = field(default_factory=list)

    def add(self, term: Term | Loose, by: int = 1) -> None:
        """Takes in a term, times a number."""
        if isinstance(term, Term):
            self.exact.append(Term(term.scope, term.table * np.int64(by)) if by != 1 else term)
        else:
            low, high = sorted((term.low * by, term.high * by))
            self.loose.append(Loose(term.scope, low, high))

    def bounds(self) -> tuple[int, int]:
        """Sound bounds on the sum: every term at its least, or at its most."""
        low = sum(int(term.table.min()) for term in self.exact)
        high = sum(int(term.table.max()) for term in self.exact)
        return low + sum(t.low for t in self.loose), high + sum(t.high for t in self.loose)


@dataclass(frozen=True, eq=False)
class Knot:
    """Doubtful cells that hang together: points and rank for every combination of candidates.

    Too many combinations leave both tables None; only ``terms`` are then known.
    """

    scope: Scope
    points: Table | None
    rank: Table | None
    terms: tuple[Term, ...]
    bounds: tuple[int, int]
    rank_bounds: tuple[int, int]

    def changes_points(self, k: int) -> bool:
        """Whether the points can change with doubt k."""
        return self._changes(self.points, k)

    def changes_rank(self, k: int) -> bool:
        """Whether the rank can change with doubt k."""
        return self._changes(self.rank, k)

    def _changes(self, table: Table | None, k: int) -> bool:
        terms = self.terms if table is None else (Term(self.scope, table),)
        return any(varies(term, k) for term in terms)

    def rank_spans(self, k: int) -> tuple[Table, Table]:
        """(lowest, highest) rank between which doubt k decides, wherever they differ."""
        assert self.rank is not None
        rank = _along(self.rank, self.scope.index(k))
        low, high = rank.min(axis=1).ravel(), rank.max(axis=1).ravel()
        moved = low < high
        return low[moved], high[moved]


def varies(term: Term, k: int) -> bool:
    """Whether a term can change with doubt k, the others being some way."""
    if k not in term.scope:
        return False
    table = _along(term.table, term.scope.index(k))
    return bool((table[:, 1:] != table[:, :-1]).any())


def _along(table: Table, axis: int) -> Table:
    """The table as (all before, this axis, all behind it): three axes are gone through fastest."""
    shape = table.shape
    return table.reshape(prod(shape[:axis]), shape[axis], prod(shape[axis + 1 :]))


@dataclass(frozen=True, eq=False)
class Outcome:
    """All that one player's board may come to."""

    board: Doubted
    knots: tuple[Knot, ...]
    base: tuple[int, int]
    loose: tuple[Loose, ...]
    rank_loose: tuple[Loose, ...]

    @property
    def exact(self) -> bool:
        """Whether nothing had to be bounded."""
        return not self.rank_loose and all(knot.points is not None for knot in self.knots)

    @cached_property
    def range(self) -> tuple[int, int]:
        """Lowest and highest total."""
        return _span(self.base[0], [k.bounds for k in self.knots], self.loose)

    @cached_property
    def rank_range(self) -> tuple[int, int]:
        """Lowest and highest rank."""
        return _span(self.base[1], [k.rank_bounds for k in self.knots], self.rank_loose)

    @cached_property
    def ranks(self) -> Table | None:
        """Every rank that is possible, ascending; None when there are too many or not all known."""
        return self.ranks_without(None)

    def ranks_without(self, left_out: Knot | None) -> Table | None:
        """Possible sums of the ranks of all knots but one."""
        if not self.exact:
            return None
        sums: Table = np.array([self.base[1]], dtype=np.int64)
        for knot in self.knots:
            if knot is not left_out and knot.rank is not None:
                values = np.unique(knot.rank)
                if len(sums) * len(values) > MOST_RANKS:
                    return None
                sums = np.unique(np.add.outer(sums, values))
        return sums

    def knot_of(self, k: int) -> Knot | None:
        """The knot of doubt k; None if nothing exact hangs on it."""
        return next((knot for knot in self.knots if k in knot.scope), None)

    def changes_total(self, k: int) -> bool:
        """Whether the total can change with doubt k."""
        knot = self.knot_of(k)
        return _loose_on(self.loose, k) or (knot is not None and knot.changes_points(k))

    def ranks_change(self, k: int) -> bool:
        """Whether the rank can change with doubt k."""
        knot = self.knot_of(k)
        return _loose_on(self.rank_loose, k) or (knot is not None and knot.changes_rank(k))


def _loose_on(loose: Sequence[Loose], k: int) -> bool:
    return any(k in term.scope for term in loose)


def _span(base: int, bounds: Sequence[tuple[int, int]], loose: Sequence[Loose]) -> tuple[int, int]:
    low = base + sum(b[0] for b in bounds) + sum(t.low for t in loose)
    return low, base + sum(b[1] for b in bounds) + sum(t.high for t in loose)


def outcome_of(board: Doubted, points: Value, rank: Value) -> Outcome:
    """What points and rank may come to; rank holds the points' own terms, weighted, and more."""
    scopes = knots_of([term.scope for term in [*points.exact, *rank.exact]])
    knots = tuple(_knot(board, scope, points, rank) for scope in scopes)
    base = tuple(sum(int(t.table) for t in v.exact if not t.scope) for v in (points, rank))
    return Outcome(board, knots, (base[0], base[1]), tuple(points.loose), tuple(rank.loose))


def knots_of(scopes: Sequence[Scope]) -> list[Scope]:
    """Scopes joined wherever they share a doubt."""
    knots: list[set[int]] = []
    for scope in set(scopes):
        if scope:
            touching = [knot for knot in knots if not knot.isdisjoint(scope)]
            knots = [knot for knot in knots if knot.isdisjoint(scope)]
            knots.append(set(scope).union(*touching))
    return sorted(tuple(sorted(knot)) for knot in knots)


def _knot(board: Doubted, scope: Scope, points: Value, rank: Value) -> Knot:
    inside = set(scope)
    mine = [term for term in points.exact if term.scope and term.scope[0] in inside]
    ranked = [term for term in rank.exact if term.scope and term.scope[0] in inside]
    if board.volume(scope) > LARGEST_TABLE:
        bounds = extremes(board, mine), extremes(board, ranked)
        return Knot(scope, None, None, tuple(ranked), *bounds)
    table = sum_over(board, scope, mine)
    order = table if points is rank else sum_over(board, scope, ranked)
    return Knot(scope, table, order, (), _ends(table), _ends(order))


def _ends(table: Table) -> tuple[int, int]:
    return int(table.min()), int(table.max())


def sum_over(board: Doubted, scope: Scope, terms: Sequence[Term]) -> Table:
    """Sum of terms as one table; small tables are first added into the next larger one."""
    by_scope: dict[Scope, list[Term]] = {scope: []}
    for term in terms:
        by_scope.setdefault(term.scope, []).append(term)
    table = np.zeros(board.shape(scope), dtype=np.int64)
    waiting = sorted(by_scope, key=len)
    while waiting:
        here = waiting.pop(0)
        joined = board.total(by_scope[here])
        onto = next((other for other in waiting if set(here) <= set(other)), None)
        if onto is None:
            table += board.spread(joined, scope)
        else:
            by_scope[onto].append(joined)
    return table
