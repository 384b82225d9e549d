"""A board of which some cells are doubtful, and small exact tables over the doubtful cells.

A table has one axis for each doubtful cell of its scope, as long as that cell's candidates. Tables
that only say whether something is so are of 0 and 1 (uint8), tables of points are int64.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scoring.board import bits_of, union
from scoring.plan import NOTHING, Cells, Plan, Way
from scoring.rules import Card

Table = NDArray[Any]
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


YES = Term((), np.array(1, dtype=np.uint8))
NO = Term((), np.array(0, dtype=np.uint8))


class Doubted:
    """One player's board: for every cell the numbers of the colours that it may have.

    ``doubts`` are the doubtful cells ascending, ``number`` the way back, ``sizes`` how many
    candidates each has.
    """

    def __init__(self, plan: Plan, candidates: Sequence[tuple[int, ...]]) -> None:
        self.plan = plan
        self.candidates = candidates
        self.doubts = tuple(i for i, options in enumerate(candidates) if len(options) > 1)
        self.number = {cell: k for k, cell in enumerate(self.doubts)}
        self.sizes = tuple(len(candidates[cell]) for cell in self.doubts)
        self._known: dict[tuple[int, int], Term] = {}

    @classmethod
    def of(cls, plan: Plan, cells: Mapping[str, Sequence[str]]) -> Doubted:
        """From the candidate colour names of every cell."""
        index = plan.colour_index
        return cls(plan, [tuple(index[name] for name in cells[id]) for id in plan.ids])

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
        if term.scope == onto:
            return term.table
        return term.table.reshape([self.sizes[k] if k in term.scope else 1 for k in onto])

    def holds(self, cell: int, slot: int) -> Term:
        """1 where what lies in the cell will do for a slot (see ``Way.slots``)."""
        known = self._known.get((cell, slot))
        if known is None:
            fits = [self._fits(colour, slot) for colour in self.candidates[cell]]
            table = np.array(fits if cell in self.number else fits[0], dtype=np.uint8)
            known = self._known[cell, slot] = Term(self.scope((cell,)), table)
        return known

    def _fits(self, colour: int, slot: int) -> bool:
        if slot == self.plan.no_piece:
            return colour == NOTHING
        if slot == self.plan.any_piece:
            return colour != NOTHING and self.plan.in_patterns[colour]
        return colour == slot

    def is_colour(self, cell: int, colour: int) -> Term:
        """1 where the cell has the colour (or is empty, for ``NOTHING``)."""
        return self.holds(cell, self.plan.no_piece if colour == NOTHING else colour)

    def is_piece(self, cell: int) -> Term:
        """1 where the cell is not empty."""
        empty = self.is_colour(cell, NOTHING)
        return Term(empty.scope, 1 - empty.table)

    def meets(self, a: int, b: int, same: bool) -> Term:
        """1 where two cells have the same colour (or: different ones)."""
        a, b = sorted((a, b))
        first, second = np.array(self.candidates[a]), np.array(self.candidates[b])
        equal = (first[:, None] == second[None, :]) == same
        scope = self.scope((a, b))
        return Term(scope, equal.astype(np.uint8).reshape(self.shape(scope)))

    def product(self, terms: Sequence[Term]) -> Term:
        """Product of terms over the scope of them all."""
        return self._fold(terms, np.multiply, 1)

    def any_of(self, terms: Sequence[Term]) -> Term:
        """Greatest of the terms, none below 0, over the scope of them all."""
        return self._fold(terms, np.maximum, 0)

    def total(self, terms: Sequence[Term]) -> Term:
        """Sum of terms over the scope of them all."""
        scope = self.join(terms)
        table = np.zeros(self.shape(scope), dtype=np.int64)
        for term in terms:
            table += self.spread(term, scope)
        return Term(scope, table)

    def join(self, terms: Iterable[Term]) -> Scope:
        """The scope of several terms together."""
        return tuple(sorted({k for term in terms for k in term.scope}))

    def _fold(self, terms: Sequence[Term], operation: np.ufunc, start: int) -> Term:
        if len(terms) == 1:
            return terms[0]
        scope = self.join(terms)
        kind = np.result_type(np.uint8, *(term.table.dtype for term in terms))
        table = np.full(self.shape(scope), start, dtype=kind)
        for term in sorted(terms, key=lambda term: len(term.scope)):
            operation(table, self.spread(term, scope), out=table)
        return Term(scope, table)

    @cached_property
    def possible(self) -> list[int]:
        """For each slot the bits of the cells that may do for it."""
        masks = [0] * (len(self.plan.colours) + 1)
        for bit, options in zip(self.plan.bits, self.candidates, strict=True):
            for colour in options:
                masks[colour] |= 1 << bit
        empty = masks.pop()
        counting = (m for m, counts in zip(masks, self.plan.in_patterns, strict=True) if counts)
        return [*masks, union(counting), empty]

    def completions(self, card: Card) -> dict[Cells, Term]:
        """Where a card may be complete: for each set of cells 1 where it is."""
        found: dict[Cells, list[Term]] = {}
        numbers = self.plan.numbers
        for way in self.plan.ways[card.name]:
            hits = way.within
            for offset, slot in way.slots:
                hits &= self.possible[slot] >> offset
                if not hits:
                    break
            for bit in bits_of(hits):
                term = self._complete(way, bit)
                if term is not NO:
                    cells = tuple(sorted([numbers[bit + offset] for offset, _ in way.slots]))
                    found.setdefault(cells, []).append(term)
        return {cells: self.any_of(terms) for cells, terms in sorted(found.items())}

    def _complete(self, way: Way, bit: int) -> Term:
        """1 where a pattern is complete at this place; ``NO`` where it never is."""
        numbers = self.plan.numbers
        terms = []
        for offset, slot in way.slots:
            cell = numbers[bit + offset]
            if cell in self.number:
                terms.append(self.holds(cell, slot))
        for low, apart, same in way.pairs:
            pair = self.meets(numbers[bit + low], numbers[bit + low + apart], same)
            if not pair.table.any():
                return NO
            if pair.scope:
                terms.append(pair)
        if not terms:
            return YES
        whole = self.product(terms)
        return whole if not way.pairs or whole.table.any() else NO
