"""Patterns against published counts of polyominoes and polyhexes.

OEIS A001168 (squares: fixed), A000988 (turns only), A000105 (free); A001207, A006535 and A000228
(the same for hexagons). https://oeis.org
"""

from __future__ import annotations

import pytest

from scoring.board import Board
from scoring.lattice import regular_lattice
from scoring.patterns import orientations, parse_pattern
from scoring.plan import plan_of
from scoring.regular import Shape
from scoring.rules import Card, Cards, Spot
from scoring.sheet import GameSheet
from scoring.types import Colour

STEPS = {
    "square": [(1, 0), (-1, 0), (0, 1), (0, -1)],
    "diamond": [(1, 1), (-1, 1), (1, -1), (-1, -1)],
    "hex-pointy": [(2, 0), (-2, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)],
    "hex-flat": [(0, 2), (0, -2), (1, 1), (-1, 1), (1, -1), (-1, -1)],
}
FIXED = {"square": [1, 2, 6, 19, 63, 216, 760], "hex": [1, 3, 11, 44, 186, 814, 3652]}
ONE_SIDED = {"square": [1, 1, 2, 7, 18, 60, 196], "hex": [1, 1, 3, 10, 33, 147, 620]}
FREE = {"square": [1, 1, 2, 5, 12, 35, 108], "hex": [1, 1, 3, 7, 22, 82, 333]}
FAMILY = {"square": "square", "diamond": "square", "hex-pointy": "hex", "hex-flat": "hex"}


def moved_to_origin(cells):
    u, v = min(c[0] for c in cells), min(c[1] for c in cells)
    return frozenset((a - u, b - v) for a, b in cells)


def animals(kind, size):
    """Every fixed animal of a size, grown cell by cell."""
    found = {frozenset([(0, 0)])}
    for _ in range(size - 1):
        found = {
            moved_to_origin({*cells, (u + du, v + dv)})
            for cells in found
            for u, v in cells
            for du, dv in STEPS[kind]
            if (u + du, v + dv) not in cells
        }
    return found


def classes(kind, size, turns, mirrors):
    """Animals gathered by the program's own turns and mirrors: the set of ways of each."""
    left = {tuple(sorted((v, u) for u, v in cells)) for cells in animals(kind, size)}
    found = []
    while left:
        spots = tuple(Spot(u, v, "A") for v, u in min(left))
        ways = orientations(spots, kind, turns, mirrors)
        names = {tuple(sorted((s.v, s.u) for s in way)) for way in ways}
        assert names <= left
        left -= names
        found.append(ways)
    return found


@pytest.mark.parametrize("kind", STEPS)
@pytest.mark.parametrize("size", range(1, 8))
def test_turned_and_mirrored_patterns_are_as_many_as_free_animals(kind, size):
    found = classes(kind, size, turns=True, mirrors=True)

    assert len(found) == FREE[FAMILY[kind]][size - 1]
    assert sum(map(len, found)) == FIXED[FAMILY[kind]][size - 1]


@pytest.mark.parametrize("kind", STEPS)
@pytest.mark.parametrize("size", range(1, 8))
def test_turned_patterns_are_as_many_as_one_sided_animals(kind, size):
    found = classes(kind, size, turns=True, mirrors=False)

    assert len(found) == ONE_SIDED[FAMILY[kind]][size - 1]


def test_tetrominoes_lie_in_eight_four_two_or_one_ways():
    found = classes("square", 4, turns=True, mirrors=True)

    assert sorted(map(len, found)) == [1, 2, 4, 4, 8]


def test_tetrahexes_lie_in_twelve_six_three_or_two_ways():
    found = classes("hex-pointy", 4, turns=True, mirrors=True)

    assert sorted(map(len, found)) == [2, 3, 3, 6, 6, 12, 12]


def sheet_of(kind, rows, cards):
    lattice = regular_lattice(kind, Shape(rows, 20.0))
    return GameSheet("drawn", lattice, (Colour("ash", "A"),), tuple(cards), (Cards("cards"),))


@pytest.mark.parametrize("kind", STEPS)
@pytest.mark.parametrize("size", [3, 5, 6])
def test_free_animals_matched_on_a_full_board_lie_at_each_cell_as_often_as_there_are_fixed_ones(
    kind, size
):
    ways = classes(kind, size, turns=True, mirrors=True)
    cards = [Card(f"card {i}", 1, pattern=way[0], each=True) for i, way in enumerate(ways)]
    rows = (2 * size + 1,) * (2 * size + 1)
    sheet = sheet_of(kind, rows, cards)
    board = Board(plan_of(sheet), [0] * sum(rows))
    found = [cells for card in cards for cells in board.placements(card)]

    # Room enough on all sides; on flat hexagons cell order is not reading order, so any cell does.
    middle = board.plan.index[f"{'ABCDEFGHIJKLM'[size]}{size + 1}"]
    assert len(found) == len(set(found))
    assert sum(middle in cells for cells in found) == size * FIXED[FAMILY[kind]][size - 1]


@pytest.mark.parametrize(
    ("like", "text", "spots"),
    [
        ("square", "A B\n. A", [(0, 0, "A"), (1, 0, "B"), (1, 1, "A")]),
        ("courses", " A\nB B", [(1, 0, "A"), (0, 1, "B"), (2, 1, "B")]),
        ("hex-pointy", "\n  A B\n   *\n", [(0, 0, "A"), (2, 0, "B"), (1, 1, "*")]),
        ("hex-flat", "A\n  B\nA", [(0, 0, "A"), (1, 1, "B"), (0, 2, "A")]),
        ("diamond", "1 2\n _", [(0, 0, "1"), (2, 0, "2"), (1, 1, "_")]),
    ],
)
def test_a_pattern_is_drawn_as_the_pieces_lie(like, text, spots):
    assert parse_pattern(text, like) == tuple(Spot(*spot) for spot in spots)


@pytest.mark.parametrize(
    ("like", "text", "reason"),
    [
        ("square", " . \n", "the pattern is empty"),
        ("square", "AB", "B in line 1 does not stand where the lattice has a cell"),
        ("courses", "A\nB", "B in line 2 does not stand where the lattice has a cell"),
        ("square", "A\tB", "the pattern has a tab; draw it with spaces"),
        (
            "hex-flat",
            "A B",
            "every other column of a pattern on flat hexagons stands one line lower",
        ),
    ],
)
def test_a_pattern_that_is_drawn_wrongly_is_refused_with_the_reason(like, text, reason):
    with pytest.raises(ValueError) as error:  # noqa: PT011 - the whole message is compared
        parse_pattern(text, like)
    assert str(error.value) == reason


def test_patterns_with_digits_are_the_same_under_other_names_of_the_digits():
    assert parse_pattern("2 1 2", "square") == parse_pattern("1 2 1", "square")
    assert len(orientations(parse_pattern("1 2", "square"), "square", True, True)) == 2


def test_courses_turn_by_half_and_mirror():
    slant = parse_pattern("A\n B", "courses")

    assert len(orientations(slant, "courses", True, True)) == 4
    assert len(orientations(slant, "courses", True, False)) == 2
    assert len(orientations(slant, "courses", False, False)) == 1
