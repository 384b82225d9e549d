"""Patterns of cards: written as text, turned and mirrored as the lattice allows.

A pattern is drawn in plain characters, pieces of one row two characters apart. On courses,
pointy hexagons and diamonds every other row stands one character to the right, as the pieces do;
on flat hexagons every other column stands one line lower. A full stop or a space asks nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from textwrap import dedent

from scoring.regular import Step
from scoring.rules import Spot

Spots = tuple[Spot, ...]
Move = Callable[[int, int], Step]

_TWO_WIDE = ("square", "hex-flat")


def parse_pattern(text: str, like: str) -> Spots:
    """Spots of a drawn pattern; ValueError says in words what is wrong with the drawing."""
    lines = [line.rstrip() for line in dedent(text.strip("\n")).splitlines()]
    marks = [(p, v, c) for v, line in enumerate(lines) for p, c in enumerate(line)]
    drawn = [(p, v, c) for p, v, c in marks if c not in " ."]
    if not drawn:
        raise ValueError("the pattern is empty")
    if "\t" in text:
        raise ValueError("the pattern has a tab; draw it with spaces")
    two = 2 if like in _TWO_WIDE else 1
    for p, v, c in drawn:
        offset = p - drawn[0][0] + (v - drawn[0][1] if like != "square" and two == 1 else 0)
        if offset % 2:
            raise ValueError(f"{c} in line {v + 1} does not stand where the lattice has a cell")
    least = min(p for p, _, _ in drawn)
    spots = [Spot((p - least) // two, v, c) for p, v, c in drawn]
    if like == "hex-flat" and len({(s.u + s.v) % 2 for s in spots}) > 1:
        raise ValueError("every other column of a pattern on flat hexagons stands one line lower")
    return _settled(spots)


def orientations(spots: Spots, like: str, turns: bool, mirrors: bool) -> tuple[Spots, ...]:
    """The distinct ways in which a pattern may lie, each moved to the origin, in a fixed order."""
    found = {
        _settled(Spot(*move(s.u, s.v), s.needs) for s in spots)
        for move in symmetries(like, turns, mirrors)
    }
    return tuple(sorted(found, key=_order))


def symmetries(like: str, turns: bool, mirrors: bool) -> list[Move]:
    """Turns and mirrors that carry a lattice's steps onto themselves, the identity first."""
    turn, times = _TURNS[like]
    moves: list[Move] = [lambda u, v: (u, v)]
    if turns:
        for _ in range(times - 1):
            moves.append(_after(turn, moves[-1]))
    if mirrors:
        moves += [_after(lambda u, v: (-u, v), move) for move in moves]
    return moves


def placements(spots: Spots, steps: Mapping[Step, str]) -> Iterator[tuple[str, ...]]:
    """Cells under a pattern (in the pattern's order) wherever it fits on a board, by step."""
    first = spots[0]
    for u, v in steps:
        under = [steps.get((u - first.u + s.u, v - first.v + s.v)) for s in spots]
        if None not in under:
            yield tuple(cell for cell in under if cell is not None)


def _after(second: Move, first: Move) -> Move:
    return lambda u, v: second(*first(u, v))


def _turn_pointy(u: int, v: int) -> Step:
    """A sixth of a turn in half columns and rows, by way of cube coordinates q + r + s = 0."""
    q, r = (u - v) // 2, v
    q, r = -r, q + r
    return (2 * q + r, r)


def _turn_flat(u: int, v: int) -> Step:
    q, r = u, (v - u) // 2
    q, r = -r, q + r
    return (q, 2 * r + q)


_TURNS: Mapping[str, tuple[Move, int]] = {
    "square": (lambda u, v: (-v, u), 4),
    "diamond": (lambda u, v: (-v, u), 4),
    "courses": (lambda u, v: (-u, -v), 2),
    "hex-pointy": (_turn_pointy, 6),
    "hex-flat": (_turn_flat, 6),
}


def _settled(spots: Iterable[Spot]) -> Spots:
    """The same pattern with its least step at the origin, spots and digits in reading order."""
    spots = list(spots)
    u, v = min(s.u for s in spots), min(s.v for s in spots)
    ordered = sorted((Spot(s.u - u, s.v - v, s.needs) for s in spots), key=_place)
    digits = dict.fromkeys(s.needs for s in ordered if s.needs.isdigit())
    renamed = {digit: str(i) for i, digit in enumerate(digits, start=1)}
    return tuple(Spot(s.u, s.v, renamed.get(s.needs, s.needs)) for s in ordered)


def _place(spot: Spot) -> tuple[int, int, str]:
    return (spot.v, spot.u, spot.needs)


def _order(spots: Spots) -> list[tuple[int, int, str]]:
    return [_place(spot) for spot in spots]
