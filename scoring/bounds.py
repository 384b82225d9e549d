"""Lowest and highest sum of tables over more doubtful cells than can be written out at once.

Cells are eliminated one by one (bucket elimination): all tables in which a cell stands are added
up and the cell is replaced by its best candidate for every choice of the cells beside it. Where
that sum would itself grow too large it is cut into smaller ones, each with its own best candidate
(mini-buckets); the result is then a sound bound, no longer always a reachable one.

References
----------
Dechter, R., & Rish, I. (2003). Mini-buckets: a general scheme for bounded inference. Journal of
the ACM 50(2), 107-153.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from scoring.doubted import Doubted, Scope, Term

LARGEST_BUCKET = 1 << 16
"""Entries of a table made while cells are eliminated; half a megabyte."""


def extremes(board: Doubted, terms: Sequence[Term]) -> tuple[int, int]:
    """(at most the lowest, at least the highest) sum of the terms; exact where no sum was cut."""
    negative = [Term(term.scope, -term.table.astype(np.int64)) for term in terms]
    return -_most(board, negative), _most(board, terms)


def _most(board: Doubted, terms: Sequence[Term]) -> int:
    left = list(terms)
    open_ = set(board.join(terms))
    while open_:
        joined = _neighbourhoods(left, open_)
        k = min(open_, key=lambda k: (board.volume(tuple(joined[k])), k))
        open_.remove(k)
        touching = [term for term in left if k in term.scope]
        left = [term for term in left if k not in term.scope]
        left += [_without(board, bucket, k) for bucket in _buckets(board, touching)]
    return sum(int(term.table) for term in left)


def _neighbourhoods(terms: Iterable[Term], open_: Iterable[int]) -> dict[int, set[int]]:
    """For each doubt those that stand in one table with it."""
    joined: dict[int, set[int]] = {k: {k} for k in open_}
    for scope in {term.scope for term in terms}:
        for k in scope:
            joined[k].update(scope)
    return joined


def _buckets(board: Doubted, terms: Sequence[Term]) -> list[list[Term]]:
    """The terms in as few sums as find room, the widest first."""
    scopes: list[Scope] = []
    buckets: list[list[Term]] = []
    for term in sorted(terms, key=lambda term: (-term.table.size, term.scope)):
        for i, scope in enumerate(scopes):
            both = tuple(sorted({*scope, *term.scope}))
            if both == scope or board.volume(both) <= LARGEST_BUCKET:
                scopes[i] = both
                buckets[i].append(term)
                break
        else:
            scopes.append(term.scope)
            buckets.append([term])
    return buckets


def _without(board: Doubted, bucket: Sequence[Term], k: int) -> Term:
    """The sum of a bucket with the best candidate for a doubt, whatever the others are."""
    whole = board.total(bucket)
    table = whole.table.max(axis=whole.scope.index(k))
    return Term(tuple(j for j in whole.scope if j != k), np.asarray(table))
