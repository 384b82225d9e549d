"""Bounds on sums of tables, against writing the whole sum out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring import bounds
from scoring.bounds import extremes
from scoring.doubted import Doubted, Term
from scoring.knots import knots_of, sum_over
from scoring.plan import plan_of
from scoring.rules import Empties
from scoring.sheet import GameSheet
from tests.strategies import COLOURS, cases, made


@st.composite
def sums(draw):
    """A board of up to six doubtful cells and tables over some of them."""
    sheet = GameSheet("drawn", made("square", (3, 3)), COLOURS, (), (Empties("empty", 0),))
    sizes = draw(st.lists(st.integers(2, 3), min_size=1, max_size=6))
    board = Doubted(
        plan_of(sheet), [tuple(range(size)) for size in [*sizes, *[1] * (6 - len(sizes))]]
    )
    scopes = st.lists(st.sampled_from(range(len(sizes))), unique=True, max_size=3)
    terms = []
    for scope in draw(st.lists(scopes, min_size=1, max_size=7)):
        shape = board.shape(tuple(sorted(scope)))
        count = int(np.prod(shape, dtype=int))
        values = draw(st.lists(st.integers(-5, 5), min_size=count, max_size=count))
        terms.append(Term(tuple(sorted(scope)), np.array(values, dtype=np.int64).reshape(shape)))
    return board, terms


@cases(80)
@given(sums())
def test_eliminating_cells_one_by_one_finds_the_extremes_of_the_whole_sum(case):
    board, terms = case
    whole = sum_over(board, tuple(range(len(board.doubts))), terms)

    assert extremes(board, terms) == (whole.min(), whole.max())


@cases(60)
@given(sums(), st.integers(1, 9))
def test_cut_into_small_sums_the_bounds_still_hold(case, room):
    board, terms = case
    whole = sum_over(board, tuple(range(len(board.doubts))), terms)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bounds, "LARGEST_BUCKET", room)
        low, high = extremes(board, terms)

    assert low <= whole.min()
    assert high >= whole.max()


def test_scopes_are_joined_wherever_they_share_a_doubt():
    assert knots_of([(0, 2), (1,), (2, 5), (3, 4), ()]) == [(0, 2, 5), (1,), (3, 4)]
