"""The terms of every rule for a board with doubtful cells: the points of kinds.py and cards.py.

Nothing here is a second opinion on the rules: tests hold these terms to the tally itself on every
choice of candidates.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence

import numpy as np

from scoring.doubted import LARGEST_TABLE, Doubted, Loose, Scope, Term
from scoring.plan import NOTHING, Cells
from scoring.rules import (
    Adjacent,
    Cards,
    Empties,
    Ends,
    Extras,
    Groups,
    Regions,
    Rule,
    Variety,
)

Terms = Iterator[Term | Loose]


def constant(value: int) -> Term:
    """A term that hangs on nothing."""
    return Term((), np.array(value, dtype=np.int64))


def scaled(term: Term, by: int) -> Term:
    """A term times a number."""
    return Term(term.scope, term.table * np.int64(by))


def rule_terms(rule: Rule, board: Doubted, facts: Collection[str]) -> Terms:
    """The terms of any rule but the cards."""
    match rule:
        case Groups():
            return group_terms(rule, board)
        case Extras():
            colour = board.plan.colour_index[rule.colour]
            return _of_each_cell(board, colour, rule.each)
        case Empties():
            return _of_each_cell(board, NOTHING, rule.each)
        case Regions():
            return _region_terms(rule, board)
        case Variety():
            return _variety_terms(rule, board)
        case Adjacent():
            return _adjacent_terms(rule, board)
        case Ends():
            return iter([constant(rule.points if rule.fact in facts else 0)])
        case Cards():
            raise TypeError("cards have their own terms")


def pieces_terms(board: Doubted, colour: int | None) -> Terms:
    """How many pieces there are, of one colour or of any."""
    for cell in range(len(board.candidates)):
        yield board.is_piece(cell) if colour is None else board.is_colour(cell, colour)


def _of_each_cell(board: Doubted, colour: int, each: int) -> Terms:
    for cell in range(len(board.candidates)):
        if colour in board.candidates[cell]:
            yield scaled(board.is_colour(cell, colour), each)


def group_terms(rule: Groups, board: Doubted) -> Terms:
    """Points for groups: one term for each cluster of cells that may hang together."""
    colours = [board.plan.colour_index[name] for name in rule.colours]
    if rule.only == "largest":
        yield largest_term(board, colours, rule.points)
        return
    for colour in colours:
        if rule.only == "largest-of-each-colour":
            yield largest_term(board, [colour], rule.points)
            continue
        for cluster in _clusters(board, colour):
            yield _cluster_term(rule, board, colour, cluster)


def _cluster_term(rule: Groups, board: Doubted, colour: int, cluster: Cells) -> Term | Loose:
    scope = board.scope(cluster)
    if not scope:
        return constant(rule.points(len(cluster)))
    if board.volume(scope) > LARGEST_TABLE or len(scope) > LARGEST_CLUSTER:
        rates = [rule.points(n) / n for n in range(1, len(cluster) + 1)]
        most, least = max(0.0, *rates) * len(cluster), min(0.0, *rates) * len(cluster)
        return Loose(scope, int(np.floor(least)), int(np.ceil(most)))
    sums = _by_presence(board, cluster, lambda sizes: sum(map(rule.points, sizes)))
    return _term_of_presence(board, colour, scope, sums)


LARGEST_CLUSTER = 14
"""Doubtful cells of one cluster that are tried in all 2 ** n ways; beyond it bounds are given."""


def largest_term(
    board: Doubted, colours: Sequence[int], points: Callable[[int], int]
) -> Term | Loose:
    """Points for the largest group of any of these colours."""
    clusters = [(colour, cluster) for colour in colours for cluster in _clusters(board, colour)]
    scopes = [board.scope(cluster) for _, cluster in clusters]
    joined = tuple(sorted({k for scope in scopes for k in scope}))
    most = max((len(cluster) for _, cluster in clusters), default=0)
    values = np.array([0, *(points(size) for size in range(1, most + 1))], dtype=np.int64)
    if board.volume(joined) > LARGEST_TABLE or max(map(len, scopes), default=0) > LARGEST_CLUSTER:
        return Loose(joined, int(values.min()), int(values.max()))
    sizes = [
        _term_of_presence(
            board,
            colour,
            scope,
            _by_presence(board, cluster, lambda found: max(found, default=0)),
        )
        for (colour, cluster), scope in zip(clusters, scopes, strict=True)
    ]
    widest = board.any_of(sizes)
    return Term(widest.scope, values[widest.table])


def _clusters(board: Doubted, colour: int) -> list[Cells]:
    """Sets of cells that may have the colour and hang together by such cells."""
    seen: set[int] = set()
    clusters = []
    for start, options in enumerate(board.candidates):
        if start in seen or colour not in options:
            continue
        seen.add(start)
        cluster = [start]
        for cell in cluster:
            for other in board.plan.beside[cell]:
                if other not in seen and colour in board.candidates[other]:
                    seen.add(other)
                    cluster.append(other)
        clusters.append(tuple(sorted(cluster)))
    return clusters


Grouping = tuple[tuple[int, int], ...]
"""Groups as (set of cells as bits of one number, size)."""


def _by_presence(board: Doubted, cluster: Cells, value: Callable[[list[int]], int]) -> list[int]:
    """Value of the group sizes for every presence of the cluster's doubtful cells.

    The first doubt (of the ascending scope) counts slowest. Cells are laid one by one, each
    joining the groups beside it; what the certain cells do is worked out once.
    """
    laid = {cell: board.plan.beside[cell] for cell in cluster}
    sure = [cell for cell in cluster if cell not in board.number]
    doubts = [cell for cell in cluster if cell in board.number]
    around = {cell: sum(1 << other for other in laid[cell]) for cell in cluster}
    groups: Grouping = ()
    for cell in sure:
        groups = _lay(groups, cell, around[cell])
    values: list[int] = []

    def branch(k: int, groups: Grouping) -> None:
        if k == len(doubts):
            values.append(value([size for _, size in groups]))
            return
        branch(k + 1, groups)
        branch(k + 1, _lay(groups, doubts[k], around[doubts[k]]))

    branch(0, groups)
    return values


def _lay(groups: Grouping, cell: int, around: int) -> Grouping:
    """The groups after one more piece of their colour."""
    joined, size = 1 << cell, 1
    apart = []
    for group in groups:
        if group[0] & around:
            joined |= group[0]
            size += group[1]
        else:
            apart.append(group)
    apart.append((joined, size))
    return tuple(apart)


def _term_of_presence(board: Doubted, colour: int, scope: Scope, values: list[int]) -> Term:
    """A term by candidates from one by presence (absent, present) of a colour."""
    table = np.array(values, dtype=np.int64).reshape((2,) * len(scope))
    for axis, k in enumerate(scope):
        options = board.candidates[board.doubts[k]]
        table = table.take([int(option == colour) for option in options], axis=axis)
    return Term(scope, table)


def _region_terms(rule: Regions, board: Doubted) -> Terms:
    for names in rule.regions.values():
        cells = [board.plan.index[name] for name in names]
        scope = board.scope(cells)
        if board.volume(scope) > LARGEST_TABLE:
            yield Loose(scope, min(0, rule.points), max(0, rule.points))
        else:
            yield scaled(_as_needed(rule.need, board, cells), rule.points)


def _as_needed(need: str, board: Doubted, cells: Sequence[int]) -> Term:
    """1 where a region is full and as needed."""
    full = [board.is_piece(cell) for cell in cells]
    if need == "one-colour":
        full += [board.meets(cells[0], cell, True) for cell in cells[1:]]
    elif need == "all-different":
        if len(cells) > len(board.plan.colours):
            return constant(0)
        full += [board.meets(a, b, False) for i, a in enumerate(cells) for b in cells[i + 1 :]]
    return board.product(full)


def _variety_terms(rule: Variety, board: Doubted) -> Terms:
    if not rule.around:
        for names in rule.regions.values():
            yield _distinct_term(rule, board, [board.plan.index[name] for name in names], None)
        return
    colour = board.plan.colour_index[rule.around]
    for cell, options in enumerate(board.candidates):
        if colour in options:
            lies = board.is_colour(cell, colour)
            yield _distinct_term(rule, board, board.plan.beside[cell], lies)


def _distinct_term(
    rule: Variety, board: Doubted, cells: Sequence[int], lies: Term | None
) -> Term | Loose:
    """Points by the number of distinct colours in these cells, where ``lies`` is 1."""
    colours = range(len(board.plan.colours))
    values = np.array([rule.points(n) for n in range(len(colours) + 1)], dtype=np.int64)
    scope = tuple(sorted({*board.scope(cells), *(lies.scope if lies else ())}))
    if board.volume(scope) > LARGEST_TABLE:
        return Loose(scope, min(0, int(values.min())), max(0, int(values.max())))
    present = []
    for colour in colours:
        may = [cell for cell in cells if colour in board.candidates[cell]]
        present.append(board.any_of([board.is_colour(cell, colour) for cell in may]))
    distinct = board.total(present)
    points = Term(distinct.scope, values[distinct.table])
    return board.product([points, lies]) if lies else points


def _adjacent_terms(rule: Adjacent, board: Doubted) -> Terms:
    first, second = (board.plan.colour_index[name] for name in rule.colours)
    for a, beside in enumerate(board.plan.beside):
        for b in beside:
            if first in board.candidates[a] and second in board.candidates[b]:
                if first == second and a > b:
                    continue
                pair = [board.is_colour(a, first), board.is_colour(b, second)]
                yield scaled(board.product(pair), rule.each)
