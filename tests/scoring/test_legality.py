"""Legality against a plain simulation that lays and lifts pieces one by one."""

from __future__ import annotations

from itertools import combinations, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.errors import SheetError
from scoring.legality import (
    check_supply,
    fewest_wrong,
    floating_pieces,
    liftable_pieces,
    lifting_order,
    places_for_next,
)
from scoring.rules import Empties
from scoring.sheet import GameSheet
from scoring.tally import tally
from scoring.types import EMPTY, Colour
from tests.strategies import COLOURS, cases, lattices, made


def sheet_on(lattice, support, full=False, colours=COLOURS):
    rules = (Empties("empty", 0),)
    return GameSheet("drawn", lattice, colours, (), rules, support=support, full_board=full)


def grid_of(lattice, pieces):
    return {cell: "ash" if cell in pieces else EMPTY for cell in lattice.neighbours}


@st.composite
def laid(draw, most=4):
    """A sheet and any set of pieces, laid rightly or not."""
    sheet = sheet_on(draw(lattices(most=most)), draw(st.sampled_from(["any", "all", "none"])))
    cells = list(sheet.lattice.neighbours)
    return sheet, set(draw(st.lists(st.sampled_from(cells), unique=True)))


def may_lie(sheet, cell, lying):
    """The rule of support, word for word."""
    anchors = {c.id for c in sheet.lattice.cells if c.anchor}
    if sheet.support == "none" or cell in anchors:
        return True
    inner = sheet.lattice.inner[cell]
    return (any if sheet.support == "any" else all)(side in lying for side in inner)


def lay_one_by_one(sheet, pieces):
    """All that can be laid, in whatever order, of these pieces."""
    lying = set()
    while fresh := {c for c in pieces - lying if may_lie(sheet, c, lying)}:
        lying.add(min(fresh))
    return lying


@cases(100)
@given(laid())
def test_floating_pieces_are_those_that_cannot_be_laid_one_by_one(case):
    sheet, pieces = case
    floating = floating_pieces(sheet, grid_of(sheet.lattice, pieces))

    assert set(floating) == pieces - lay_one_by_one(sheet, pieces)


@cases(60)
@given(laid())
def test_a_next_piece_may_lie_where_the_simulation_would_lay_it(case):
    sheet, pieces = case
    places = places_for_next(sheet, grid_of(sheet.lattice, pieces))

    lying = lay_one_by_one(sheet, pieces)
    empty = set(sheet.lattice.neighbours) - pieces
    assert set(places) == {c for c in empty if may_lie(sheet, c, lying)}


@cases(60)
@given(laid())
def test_a_piece_may_be_lifted_if_all_others_that_lay_can_still_be_laid(case):
    sheet, pieces = case
    liftable = liftable_pieces(sheet, grid_of(sheet.lattice, pieces))

    held = lay_one_by_one(sheet, pieces)
    assert set(liftable) == {c for c in pieces if lay_one_by_one(sheet, pieces - {c}) == held - {c}}


def can_lift_in_order(sheet, pieces, order):
    held, lying = lay_one_by_one(sheet, pieces), set(pieces)
    for cell in order:
        lying.remove(cell)
        held.discard(cell)
        if lay_one_by_one(sheet, lying) != held:
            return False
    return True


@cases(50)
@given(laid(most=3), st.data())
def test_an_order_of_lifting_is_found_whenever_there_is_one(case, data):
    sheet, pieces = case
    wanted = data.draw(
        st.lists(st.sampled_from(sorted(pieces)), unique=True, max_size=4)
        if pieces
        else st.just([])
    )
    order = lifting_order(sheet, grid_of(sheet.lattice, pieces), wanted)

    if order is None:
        assert not any(can_lift_in_order(sheet, pieces, tried) for tried in permutations(wanted))
    else:
        assert sorted(order) == sorted(wanted)
        assert can_lift_in_order(sheet, pieces, order)


@cases(30)
@given(laid(most=3))
def test_the_smallest_set_that_must_be_wrong_is_as_small_as_brute_force_finds(case):
    sheet, pieces = case
    wrong = fewest_wrong(sheet, grid_of(sheet.lattice, pieces))

    def mends(cells):
        mended = pieces ^ set(cells)
        return lay_one_by_one(sheet, mended) == mended

    assert mends(wrong)
    smaller = (
        some for n in range(len(wrong)) for some in combinations(sheet.lattice.neighbours, n)
    )
    assert not any(mends(cells) for cells in smaller)


def test_one_hole_below_a_tower_is_doubted_rather_than_the_tower():
    sheet = sheet_on(made("square", (1, 1, 1, 1)), "any")
    grid = grid_of(sheet.lattice, {"A1", "B1", "D1"})

    assert floating_pieces(sheet, grid) == ("A1", "B1")
    assert fewest_wrong(sheet, grid) == ("C1",)


def test_a_lone_floating_piece_is_doubted_itself():
    sheet = sheet_on(made("square", (3, 3, 3)), "any")
    grid = grid_of(sheet.lattice, {"A1", "C2"})

    assert fewest_wrong(sheet, grid) == ("A1",)


def test_a_board_on_which_nothing_floats_has_nothing_wrong():
    sheet = sheet_on(made("courses", (3, 2)), "all")
    grid = grid_of(sheet.lattice, {"A2", "B1", "B2"})

    assert floating_pieces(sheet, grid) == ()
    assert fewest_wrong(sheet, grid) == ()


def test_a_slate_on_one_of_two_slates_lies_under_any_and_floats_under_all():
    lattice = made("courses", (3, 2))
    grid = grid_of(lattice, {"A2", "B1"})

    assert floating_pieces(sheet_on(lattice, "any"), grid) == ()
    assert floating_pieces(sheet_on(lattice, "all"), grid) == ("A2",)


def test_a_piece_that_is_not_there_cannot_be_lifted():
    sheet = sheet_on(made("square", (2, 2)), "any")

    with pytest.raises(SheetError, match="cell A1: there is no piece to lift"):
        lifting_order(sheet, grid_of(sheet.lattice, set()), ["A1"])


def test_more_pieces_than_the_box_holds_is_a_problem_of_the_whole_game():
    colours = (Colour("ash", "A", 3), Colour("brick", "B"))
    sheet = sheet_on(made("square", (2, 2)), "none", colours=colours)
    full, half = (
        grid_of(sheet.lattice, set(sheet.lattice.neighbours)),
        grid_of(sheet.lattice, set()),
    )

    assert check_supply(sheet, {"Ada": half, "Ben": half}) == []
    problems = tally(sheet, {"Ada": full, "Ben": half}).problems
    assert [p.words for p in problems] == ["4 pieces of ash lie; the box holds 3"]


def test_floating_pieces_and_gaps_are_problems_of_a_finished_board():
    sheet = sheet_on(made("square", (1, 1, 1)), "any", full=True)
    problems = tally(sheet, {"Ada": grid_of(sheet.lattice, {"A1", "C1"})}).problems

    assert [(p.player, p.cells, p.words) for p in problems] == [
        ("Ada", ("A1",), "nothing holds up the piece in A1"),
        ("Ada", ("B1",), "a finished board is full, but B1 is empty"),
    ]
