from __future__ import annotations

from itertools import product
from time import perf_counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.errors import SheetError
from scoring.explain import explain, what_if
from scoring.grid import parse_grid
from scoring.lifting import cheapest_to_lift, lifting_cost
from scoring.near_misses import near_miss, near_misses
from scoring.sheet import parse_sheet
from scoring.tally import tally
from scoring.types import EMPTY
from tests.scoring.plain import fits, plain_places
from tests.strategies import NAMES, cases, games, grids, sheets

ROOF = """
name = "Roof"
[board]
kind = "courses"
rows = [3, 4, 3]
shifted = "first"
pitch_mm = 20
anchors = { edge = "bottom" }
[[colours]]
name = "moss"
letter = "M"
supply = 6
[[colours]]
name = "rust"
letter = "R"
[[colours]]
name = "copper"
letter = "C"
in_patterns = false
[[cards]]
name = "Gable"
points = 4
mirrors = false
turns = false
pattern = '''
 M
R R
'''
[[cards]]
name = "Valley"
points = 3
turns = false
pattern = '''
R R
 M
'''
[[rules]]
kind = "cards"
[[rules]]
kind = "groups"
label = "patches"
min_size = 3
each = 1
[[rules]]
kind = "extras"
label = "copper"
colour = "copper"
each = 1
"""


@pytest.fixture(scope="module")
def roof():
    return parse_sheet(ROOF, "roof")


@pytest.fixture
def board(roof):
    return parse_grid("A: M M C \nB: R R M . \nC: C . R", roof)


def test_a_tally_is_told_in_words(roof, board):
    claims = {"Ada": ["Gable", "Valley"]}
    result = tally(roof, {"Ada": board}, claims)

    assert explain(roof, result, {"Ada": board}) == (
        "Ada: 9 points\n"
        "  card Gable, 4 points: A1 B1 B2\n"
        "  moss group of 3, 3 points: A1 A2 B3\n"
        "  copper, 2 points: A3 C1\n"
        "  not complete: Valley, C1 is copper where moss is needed, one piece away\n"
        "\n"
        "Ada wins\n"
    )


def test_a_tie_and_what_cannot_be_are_told_too(roof, board):
    boards = {"Ada": board, "Ben": board, "Cy": {**board, "A2": "copper"}}
    result = tally(roof, boards)
    text = explain(roof, result, boards)

    assert "Ada, Ben and Cy win" not in text
    assert "Ada and Ben win (Ada and Ben have 5 points each; the victory is shared)" in text
    assert "all boards: 8 pieces of moss lie; the box holds 6" in text


def test_a_card_is_near_where_fewest_pieces_are_wrong(roof, board):
    assert str(near_miss(roof, board, roof.cards[1])) == (
        "Valley, C1 is copper where moss is needed, one piece away"
    )
    nearest = near_misses(roof, board)
    assert [miss.card for miss in nearest] == ["Gable", "Valley"]
    assert str(nearest[0]) == "Gable is complete: A1 B1 B2"


@cases(60)
@given(st.data())
def test_near_misses_need_as_few_changes_as_any_place_does(data):
    """Against every colouring of every place, by the plain rules."""
    sheet = data.draw(sheets(most=3))
    grid = data.draw(grids(sheet.lattice))
    for card in sheet.cards:
        if (
            len(
                {s.needs for s in card.pattern if s.needs.isdigit()}
                | {n for _, n in card.at if n.isdigit()}
            )
            > 3
        ):
            continue
        miss = near_miss(sheet, grid, card)
        assert len(miss.changes) == fewest_changes(sheet, card, grid)
        changed = {c.cell: NAMES[0] if c.needed == "any piece" else c.needed for c in miss.changes}
        places = [p for p in plain_places(sheet, card) if {c for c, _ in p} == set(miss.cells)]
        assert any(fits(sheet, place, {**grid, **changed}) for place in places)
        assert all(grid[change.cell] == change.lies for change in miss.changes)


def fewest_changes(sheet, card, grid):
    best = 9
    for place in plain_places(sheet, card):
        cells = [cell for cell, _ in place]
        for lying in product([*NAMES, EMPTY], repeat=len(cells)):
            wrong = sum(grid[cell] != lies for cell, lies in zip(cells, lying, strict=True))
            if wrong < best and fits(sheet, place, dict(zip(cells, lying, strict=True))):
                best = wrong
    return best


def test_what_if_tells_what_would_change(roof, board):
    result = what_if(roof, {"Ada": board}, {"Ada": {"C1": "moss"}}, {"Ada": ["Valley"]})

    assert result.words == (
        "Ada: Valley gives 3 instead of 0 points",
        "Ada: copper gives 1 instead of 2 points",
        "Ada: 7 points instead of 5",
    )


def test_what_if_tells_of_another_winner(roof, board):
    boards = {"Ada": board, "Ben": board}
    result = what_if(roof, boards, {"Ada": {"C1": "moss"}})

    assert result.words[-1] == "Ben wins instead of Ada and Ben"


def test_what_if_for_a_stranger_is_refused(roof, board):
    with pytest.raises(SheetError, match="what if: there is no player 'Eve'"):
        what_if(roof, {"Ada": board}, {"Eve": {}})


@cases(30)
@given(games(), st.data())
def test_what_if_is_the_tally_of_the_changed_board(game, data):
    sheet, boards, claims, facts = game
    player = data.draw(st.sampled_from(list(boards)))
    cell = data.draw(st.sampled_from(list(boards[player])))
    colour = data.draw(st.sampled_from(NAMES))
    result = what_if(sheet, boards, {player: {cell: colour}}, claims, facts)

    assert result.before == tally(sheet, boards, claims, facts)
    changed = {**boards, player: {**boards[player], cell: colour}}
    assert result.after == tally(sheet, changed, claims, facts)


def test_what_if_takes_well_under_a_frame(roof, board):
    """A frame is 16.7 ms; the quickest of many runs, since other work may share the machine."""
    times = []
    for _ in range(20):
        start = perf_counter()
        what_if(roof, {"Ada": board}, {"Ada": {"C1": "moss"}}, {"Ada": ["Valley"]})
        times.append(perf_counter() - start)

    assert min(times) < 0.005


def test_lifting_costs_cards_groups_and_points(roof, board):
    cost = lifting_cost(roof, board, ["A1"], ["Gable"])

    assert cost.points_lost == 4 + 3
    assert cost.cards_broken == ("Gable",)
    assert str(cost) == "lift A1: 7 points lost; card Gable is broken"


def test_lifting_the_middle_of_a_group_splits_it(roof):
    board = parse_grid("A: . . . \nB: M M M . \nC: R R R", roof)
    cost = lifting_cost(roof, board, ["B2"])

    assert cost.groups_split == (("B1", "B2", "B3"),)
    assert str(cost) == "lift B2: 3 points lost; the group B1 B2 B3 falls apart"


def test_what_others_lean_on_may_not_be_lifted(roof):
    board = parse_grid("A: M . . \nB: R . . . \nC: R . .", roof)

    assert str(lifting_cost(roof, board, ["B1"])) == "may not be lifted: 0 points lost"
    assert lifting_cost(roof, board, ["B1", "A1"]).order == ("A1", "B1")
    assert [cost.cells for cost in cheapest_to_lift(roof, board)] == [("A1",)]
