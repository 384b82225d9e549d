"""The exact choice against brute force and published optima."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring import choose
from scoring.choose import best_choice, solve
from tests.strategies import CASES, cases


def brute_force(worth, exclusive):
    """Greatest worth over all sets of candidates; bits of a number stand for a set."""
    clash = [0] * len(worth)
    for members in exclusive:
        for i in members:
            for j in members:
                clash[i] |= 1 << j if i != j else 0
    best = {0: 0}
    for i, value in enumerate(worth):
        best |= {
            chosen | 1 << i: gained + value
            for chosen, gained in best.items()
            if not chosen & clash[i]
        }
    return max(best.values())


@st.composite
def choices(draw, most=11):
    number = draw(st.integers(1, most))
    worth = draw(st.lists(st.integers(1, 6), min_size=number, max_size=number))
    members = st.lists(st.integers(0, number - 1), min_size=2, max_size=4, unique=True)
    return worth, draw(st.lists(members, max_size=14)) if number > 1 else []


def is_allowed(chosen, exclusive):
    return all(len(set(chosen) & set(members)) <= 1 for members in exclusive)


@cases(300)
@given(choices())
def test_the_choice_is_allowed_and_worth_as_much_as_brute_force_finds(case):
    worth, exclusive = case
    chosen = best_choice(worth, exclusive)

    assert is_allowed(chosen, exclusive)
    assert sum(worth[i] for i in chosen) == brute_force(worth, exclusive)


def test_thousands_of_small_choices_equal_brute_force():
    random = np.random.default_rng(7)
    for _ in range(3000):
        number = int(random.integers(2, 10))
        worth = random.integers(1, 7, number).tolist()
        pairs = [pair for pair in combinations(range(number), 2) if random.random() < 0.4]
        chosen = best_choice(worth, pairs)
        assert is_allowed(chosen, pairs)
        assert sum(worth[i] for i in chosen) == brute_force(worth, pairs)


@cases(25)
@given(choices())
def test_search_and_solver_agree(case):
    worth, exclusive = case
    conflicts = choose.conflicts_of(len(worth), exclusive)
    for part in choose.parts_of(conflicts):
        searched = choose._search(part, worth, conflicts)
        solved = choose._solve(part, worth, conflicts)

        assert sum(worth[i] for i in searched) == sum(worth[i] for i in solved)
        assert is_allowed(solved, exclusive)


@cases(60)
@given(choices(), st.randoms(use_true_random=False))
def test_the_order_of_the_exclusive_sets_changes_nothing(case, random):
    worth, exclusive = case
    shuffled = [random.sample(members, len(members)) for members in exclusive]
    random.shuffle(shuffled)

    assert best_choice(worth, shuffled) == best_choice(worth, exclusive)


def test_taking_the_greatest_first_would_be_wrong():
    """Greed takes the 4 in the middle; both 3s beside it are worth more."""
    assert best_choice([3, 4, 3], [[0, 1], [1, 2]]) == [0, 2]


def test_nothing_to_choose_from_is_no_choice():
    assert best_choice([], []) == []


def packing(shapes, rows, columns, missing=()):
    """Greatest number of shapes (sets of steps) that lie on a board without overlap."""
    cells = {(r, c) for r in range(rows) for c in range(columns)} - set(missing)
    places = [
        frozenset((r + dr, c + dc) for dr, dc in shape)
        for shape in shapes
        for r, c in sorted(cells)
    ]
    places = [place for place in places if place <= cells]
    by_cell = [[i for i, place in enumerate(places) if cell in place] for cell in sorted(cells)]
    chosen = best_choice([1] * len(places), by_cell)
    assert len({cell for i in chosen for cell in places[i]}) == sum(len(places[i]) for i in chosen)
    return len(chosen)


DOMINOES = [((0, 0), (0, 1)), ((0, 0), (1, 0))]
CORNERS = [
    ((0, 0), (0, 1), (1, 0)),
    ((0, 0), (0, 1), (1, 1)),
    ((0, 0), (1, 0), (1, 1)),
    ((0, 1), (1, 0), (1, 1)),
]


def test_thirty_dominoes_fit_a_chess_board_without_two_opposite_corners():
    assert packing(DOMINOES, 8, 8, [(0, 0), (7, 7)]) == 30


@pytest.mark.parametrize(("side", "optimum"), [(3, 2), (5, 8), (8, 21), (10, 33)])
def test_corner_pieces_of_three_fill_squares_as_well_as_theory_allows(side, optimum):
    assert packing(CORNERS, side, side) == optimum


def test_the_greatest_code_of_johnson_8_2_4_has_four_words():
    """Published optimum of the DIMACS clique instance johnson8-2-4: 4."""
    words = [frozenset(pair) for pair in combinations(range(8), 2)]
    clash = [[i, j] for i, j in combinations(range(len(words)), 2) if words[i] & words[j]]

    assert len(best_choice([1] * len(words), clash)) == 4


def test_the_greatest_code_of_hamming_6_4_has_four_words():
    """Published optimum of the DIMACS clique instance hamming6-4: 4."""
    clash = [[i, j] for i, j in combinations(range(64), 2) if (i ^ j).bit_count() < 4]

    assert len(best_choice([1] * 64, clash)) == 4


def test_a_programme_without_answer_is_an_error():
    with pytest.raises(ArithmeticError, match="the exact choice was not proven"):
        solve([1.0], [({0: 1.0}, 2.0)])


def keller_clash(vertices):
    """Pairs that are no edge of the Keller graph: an edge joins words of digits 0 to 3 which differ
    in at least two places, in one of them by two."""

    def joined(a, b):
        apart = [(x - y) % 4 for x, y in zip(a, b, strict=True)]
        return sum(map(bool, apart)) >= 2 and 2 in apart

    numbered = list(enumerate(vertices))
    return [[i, j] for (i, a), (j, b) in combinations(numbered, 2) if not joined(a, b)]


def test_the_greatest_clique_of_the_keller_graph_of_dimension_two_has_two_words():
    words = list(product(range(4), repeat=2))

    assert len(best_choice([1] * 16, keller_clash(words))) == 2


@pytest.mark.skipif(CASES == 1, reason="takes a minute and a half; TALLYGLASS_CASES=2 runs it")
def test_the_greatest_clique_of_keller4_has_eleven_words():
    """Published optimum of the DIMACS clique instance keller4 (171 vertices): 11."""
    words = [
        word for word in product(range(4), repeat=4) if sum(map(bool, word)) >= 2 and 2 in word
    ]

    assert len(words) == 171
    assert len(best_choice([1] * 171, keller_clash(words))) == 11
