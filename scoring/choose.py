"""The best choice among things that exclude each other, exactly: the one module that uses scipy.

Used where pieces may not count twice, and for the fewest pieces that would have to be wrong.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

SMALL = 40
"""Parts of at most this many candidates are searched directly; larger ones go to the solver.

Measured on 40 candidates that clash along a path, by nearness or by chance: the search took 4 to
7 ms, the solver 3 to 530; on 24 the search took about 1 ms, the solver 2 to 40.
"""

Row = tuple[dict[int, float], float]
"""One condition of a 0/1 programme: sum of factor * x over these must be at least the bound."""


def best_choice(worth: Sequence[int], exclusive: Iterable[Sequence[int]]) -> list[int]:
    """Candidates of greatest total worth, at most one of each exclusive set; ascending.

    ``worth`` must be positive. Which of equally good choices is taken hangs on the order of the
    candidates alone, so that the same candidates always give the same choice.
    """
    conflicts = conflicts_of(len(worth), exclusive)
    chosen: list[int] = []
    for part in parts_of(conflicts):
        small = len(part) <= SMALL
        chosen += (_search if small else _solve)(part, worth, conflicts)
    return sorted(chosen)


def conflicts_of(number: int, exclusive: Iterable[Sequence[int]]) -> list[set[int]]:
    """For each candidate those that exclude it."""
    conflicts: list[set[int]] = [set() for _ in range(number)]
    for members in exclusive:
        for member in members:
            conflicts[member].update(members)
    for i, others in enumerate(conflicts):
        others.discard(i)
    return conflicts


def parts_of(conflicts: Sequence[set[int]]) -> list[list[int]]:
    """Candidates that hang together by conflicts; each part is chosen from apart."""
    seen: set[int] = set()
    parts = []
    for start in range(len(conflicts)):
        if start in seen:
            continue
        seen.add(start)
        part = [start]
        for i in part:
            fresh = conflicts[i] - seen
            seen |= fresh
            part += sorted(fresh)
        parts.append(sorted(part))
    return parts


def _search(part: list[int], worth: Sequence[int], conflicts: Sequence[set[int]]) -> list[int]:
    """Branching on the candidate that excludes most; sets are the bits of one number."""
    place = {i: k for k, i in enumerate(part)}
    clash = [sum(1 << place[j] for j in conflicts[i]) for i in part]
    _, chosen = _best_of((1 << len(part)) - 1, [worth[i] for i in part], clash)
    return [i for k, i in enumerate(part) if chosen >> k & 1]


def _best_of(open_: int, worth: Sequence[int], clash: Sequence[int]) -> tuple[int, int]:
    """(worth, bits) of the best choice among the open candidates.

    A candidate worth at least as much as all that it excludes is taken at once.
    """
    gained, taken, busiest, most = 0, 0, -1, 0
    for k in _bits(open_):
        if not open_ >> k & 1:
            continue
        excluded = clash[k] & open_
        if worth[k] >= sum(worth[j] for j in _bits(excluded)):
            gained, taken = gained + worth[k], taken | 1 << k
            open_ &= ~(excluded | 1 << k)
        elif excluded.bit_count() > most:
            busiest, most = k, excluded.bit_count()
    if not open_:
        return gained, taken
    if not open_ >> busiest & 1:
        rest, chosen = _best_of(open_, worth, clash)
        return gained + rest, taken | chosen
    without = _best_of(open_ & ~(1 << busiest), worth, clash)
    others = _best_of(open_ & ~(clash[busiest] | 1 << busiest), worth, clash)
    with_it = (others[0] + worth[busiest], others[1] | 1 << busiest)
    rest, chosen = with_it if with_it[0] >= without[0] else without
    return gained + rest, taken | chosen


def _bits(mask: int) -> Iterator[int]:
    while mask:
        yield (mask & -mask).bit_length() - 1
        mask &= mask - 1


def _solve(part: list[int], worth: Sequence[int], conflicts: Sequence[set[int]]) -> list[int]:
    """The same by integer programming; the solver meets the same programme in the same order."""
    place = {i: k for k, i in enumerate(part)}
    rows = [({place[i]: -1.0 for i in clique}, -1.0) for clique in _cliques(part, conflicts)]
    return [part[k] for k in solve([float(worth[i]) for i in part], rows)]


def _cliques(part: list[int], conflicts: Sequence[set[int]]) -> list[list[int]]:
    """Sets that exclude each other pairwise and together hold every conflict; fewer is faster."""
    cliques = []
    covered: dict[int, set[int]] = defaultdict(set)
    for i in part:
        for j in sorted(conflicts[i]):
            if j < i or j in covered[i]:
                continue
            clique = [i, j]
            shared = conflicts[i] & conflicts[j]
            while shared:
                k = min(shared)
                clique.append(k)
                shared = shared & conflicts[k]
            for k in clique:
                covered[k].update(clique)
            cliques.append(clique)
    return cliques


def solve(worth: Sequence[float], rows: Sequence[Row]) -> list[int]:
    """Numbers of the variables set to 1 in the 0/1 programme of greatest worth.

    Raises ArithmeticError when the solver finds none or cannot prove its answer best.
    """
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    across, columns, factors = [], [], []
    for r, (terms, _) in enumerate(rows):
        for column, factor in terms.items():
            across.append(r)
            columns.append(column)
            factors.append(factor)
    matrix = csr_array((factors, (across, columns)), shape=(len(rows), len(worth)))
    answer = milp(
        c=-np.asarray(worth),
        constraints=LinearConstraint(matrix, lb=[bound for _, bound in rows]) if rows else None,
        integrality=np.ones(len(worth)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0},
    )
    if answer.status != 0:
        raise ArithmeticError(f"the exact choice was not proven: {answer.message}")
    return [i for i, value in enumerate(answer.x) if value > 0.5]
