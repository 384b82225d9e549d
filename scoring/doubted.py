"""A board of which some cells are doubtful, as sums of small tables over the doubtful cells.

Every rule's points are a sum of terms, each of which hangs on a few doubtful cells only. A term is
a table with one axis for each cell of its scope, as long as that cell's candidates. All tables are
exact; where one would grow too large, ``Loose`` says between which values the term must lie.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from math import prod

import numpy as np
from numpy.typing import NDArray

from scoring.board import NOTHING, Cells, Plan, bits_of
from scoring.rules import Card

Table = NDArray[np.int64]
Scope = tuple[int, ...]

LARGEST_TABLE = 1 << 20
"""Entries of a table; 8 MB. Twenty doubtful cells of two candidates, ten of four."""


@dataclass(frozen=True, eq=False)
class Term:
    """A value for every choice of candidates in the scope (numbers of doubts, ascending)."""

    scope: Scope
    table: Table


@dataclass(frozen=True)
class Loose:
    """A value of which only sound bounds are known, hanging on the scope."""

    scope: Scope
    low: int
    high: int


class Doubted:
    """One player's board: for every cell the colours that it may have."""

    def __init__(self, plan: Plan, candidates: Sequence[tuple[int, ...]]) -> None:
        self.plan = plan
        self.candidates = candidates
        self.doubts = tuple(i for i, options in enumerate(candidates) if len(options) > 1)
        self.number = {cell: k for k, cell in enumerate(self.doubts)}
        self.sizes = tuple(len(candidates[cell]) for cell in self.doubts)

    @classmethod
    def of(cls, plan: Plan, cells: Mapping[str, Sequence[str]]) -> Doubted:
        """From the candidate colour names of every cell."""
        return cls(plan, [tuple(plan.colour_index[name] for name in cells[id]) for id in plan.ids])

    def scope(self, cells: Iterable[int]) -> Scope:
        """Numbers of the doubts among these cells, ascending."""
        return tuple(sorted(self.number[cell] for cell in cells if cell in self.number))

    def volume(self, scope: Scope) -> int:
        """Entries of a table over a scope."""
        return prod(self.sizes[k] for k in scope)

    def shape(self, scope: Scope) -> tuple[int, ...]:
        """Shape of a table over a scope."""
        return tuple(self.sizes[k] for k in scope)

    def spread(self, term: Term, onto: Scope) -> Table:
        """A term's table made ready to broadcast over a larger scope."""
        inside = set(term.scope)
        return term.table.reshape([self.sizes[k] if k in inside else 1 for k in onto])

    def is_colour(self, cell: int, colour: int) -> Term:
        """1 where the cell has the colour."""
        options = np.array(self.candidates[cell])
        return self._of_cell(cell, (options == colour).astype(np.int64))

    def is_among(self, cell: int, colours: Sequence[bool]) -> Term:
        """1 where the cell has one of the colours marked; ``colours[-1]`` stands for empty."""
        marked = np.array(colours, dtype=np.int64)
        return self._of_cell(cell, marked[list(self.candidates[cell])])

    def meets(self, a: int, b: int, same: bool) -> Term:
        """1 where two cells have the same colour (or: different ones)."""
        first, second = np.array(self.candidates[a]), np.array(self.candidates[b])
        if self.number.get(a, -1) > self.number.get(b, -1):
            first, second = second, first
        equal = (first[:, None] == second[None, :]) == same
        scope = self.scope((a, b))
        return Term(scope, equal.astype(np.int64).reshape(self.shape(scope)))

    def product(self, terms: Sequence[Term]) -> Term:
        """Product of terms over the scope of them all."""
        return self._fold(terms, np.multiply, 1)

    def any_of(self, terms: Sequence[Term]) -> Term:
        """1 where one of the terms is 1."""
        return self._fold(terms, np.maximum, 0)

    def total(self, terms: Sequence[Term]) -> Term:
        """Sum of terms over the scope of them all."""
        return self._fold(terms, np.add, 0)

    def join(self, terms: Iterable[Term]) -> Scope:
        """The scope of several terms together."""
        return tuple(sorted({k for term in terms for k in term.scope}))

    def _fold(self, terms: Sequence[Term], operation: np.ufunc, start: int) -> Term:
        scope = self.join(terms)
        table = np.full(self.shape(scope), start, dtype=np.int64)
        for term in terms:
            operation(table, self.spread(term, scope), out=table)
        return Term(scope, table)

    def _of_cell(self, cell: int, values: Table) -> Term:
        scope = self.scope((cell,))
        return Term(scope, values if scope else values.reshape(()))

    @cached_property
    def possible(self) -> dict[int, int]:
        """For each colour (and NOTHING) the bits of the cells that may have it."""
        masks = dict.fromkeys(range(NOTHING, len(self.plan.colours)), 0)
        for bit, options in zip(self.plan.bits, self.candidates, strict=True):
            for colour in options:
                masks[colour] |= 1 << bit
        return masks

    @cached_property
    def possible_pieces(self) -> int:
        """Bits of the cells that may hold a piece that counts in patterns."""
        counting = [self.possible[c] for c, counts in enumerate(self.plan.in_patterns) if counts]
        return int(np.bitwise_or.reduce(np.array(counting, dtype=object))) if counting else 0

    def completions(self, card: Card) -> dict[Cells, Term]:
        """Where a card may be complete: for each set of cells 1 where it is."""
        found: dict[Cells, list[Term]] = {}
        for way in self.plan.ways[card.name]:
            hits = 1 if card.at else -1
            for offset, needs in way:
                hits &= self._may(needs) >> offset
            for bit in bits_of(hits):
                spots = [(self.plan.numbers[bit + offset], needs) for offset, needs in way]
                term = self._complete(spots)
                if term is not None:
                    found.setdefault(tuple(sorted(cell for cell, _ in spots)), []).append(term)
        return {cells: self.any_of(terms) for cells, terms in sorted(found.items())}

    def _may(self, needs: str) -> int:
        if needs == "_":
            return self.possible[NOTHING]
        number = self.plan.letter_index.get(needs)
        return self.possible_pieces if number is None else self.possible[number]

    def _complete(self, spots: Sequence[tuple[int, str]]) -> Term | None:
        """1 where these cells hold what they need; None where they never do."""
        terms = []
        for cell, needs in spots:
            if cell in self.number:
                terms.append(self._holds(cell, needs))
        digits = [(cell, needs) for cell, needs in spots if needs.isdigit()]
        for (a, first), (b, second) in combinations(digits, 2):
            term = self.meets(a, b, first == second)
            if not term.table.any():
                return None
            terms.append(term)
        whole = self.product(terms)
        return whole if whole.table.any() else None

    def _holds(self, cell: int, needs: str) -> Term:
        if needs == "_":
            return self.is_colour(cell, NOTHING)
        number = self.plan.letter_index.get(needs)
        if number is None:
            return self.is_among(cell, [*self.plan.in_patterns, False])
        return self.is_colour(cell, number)
