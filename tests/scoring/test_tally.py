from __future__ import annotations

import pytest
from hypothesis import given

from scoring.errors import SheetError
from scoring.grid import parse_grid
from scoring.sheet import parse_sheet
from scoring.tally import tally
from tests.scoring.plain import plain_total
from tests.strategies import cases, games

# Common practice, no source: objective cards count 3 points each, only if they are intact at the
# end; groups of three or more count one point a piece and a touch at a corner joins nothing; a
# special colour counts one extra each and counts again inside its groups.
COMMON_PRACTICE = """
name = "Common practice"
[board]
kind = "square"
rows = 4
columns = 4
pitch_mm = 20
anchors = { edge = "bottom" }
[[colours]]
name = "ash"
letter = "A"
[[colours]]
name = "brick"
letter = "B"
[[colours]]
name = "gold"
letter = "G"
in_patterns = false
[[cards]]
name = "Step"
points = 3
pattern = '''
A
A A
'''
[[cards]]
name = "Beam"
points = 3
pattern = "B B B"
[[rules]]
kind = "cards"
[[rules]]
kind = "groups"
min_size = 3
each = 1
[[rules]]
kind = "extras"
colour = "gold"
each = 1
"""


@pytest.fixture(scope="module")
def practice():
    return parse_sheet(COMMON_PRACTICE, "practice")


def total(sheet, text, claimed=()):
    grids = {"Ada": parse_grid(text, sheet)}
    return tally(sheet, grids, {"Ada": claimed}).players[0].total


def test_groups_of_five_and_three_count_eight(practice):
    board = "A: A A A . \nB: A A . B \nC: . . . B \nD: . . . B"

    assert total(practice, board) == 8


def test_groups_of_two_count_nothing(practice):
    board = "A: A A . B \nB: . . . B \nC: B B . . \nD: . . A A"

    assert total(practice, board) == 0


def test_a_touch_at_a_corner_joins_nothing(practice):
    board = "A: A A . . \nB: . . A A \nC: . . . . \nD: . . . ."

    assert total(practice, board) == 0


def test_a_claimed_card_counts_if_it_is_intact(practice):
    board = "A: . . . . \nB: . . . . \nC: A . . . \nD: A A . ."

    assert total(practice, board, ["Step"]) == 3 + 3
    assert total(practice, board) == 3


def test_a_claimed_card_that_is_not_intact_counts_nothing(practice):
    board = "A: . . . . \nB: . . . . \nC: A . . . \nD: A B . ."

    assert total(practice, board, ["Step", "Beam"]) == 0


def test_special_pieces_count_extra_and_again_in_their_group(practice):
    board = "A: . . . . \nB: . . . . \nC: . G . . \nD: G G . G"

    assert total(practice, board) == 4 + 3


def test_special_pieces_take_no_part_in_patterns(practice):
    board = "A: . . . . \nB: . . . . \nC: . . . . \nD: B G B ."

    assert total(practice, board, ["Beam"]) == 1


def test_every_point_has_cells_that_prove_it(practice):
    board = parse_grid("A: . . . . \nB: A . . . \nC: A G . . \nD: A A B B", practice)
    result = tally(practice, {"Ada": board}, {"Ada": ["Step"]})

    proofs = [(line.rule, proof.cells) for line in result.players[0].lines for proof in line.proofs]
    assert proofs == [
        ("cards", ("C1", "D1", "D2")),
        ("groups", ("B1", "C1", "D1", "D2")),
        ("extras", ("C2",)),
    ]


def test_an_empty_board_has_no_points_and_no_problem(practice):
    board = "A: . . . . \nB: . . . . \nC: . . . . \nD: . . . ."
    result = tally(practice, {"Ada": parse_grid(board, practice)})

    assert result.players[0].total == 0
    assert result.problems == ()


def test_no_players_make_an_empty_tally(practice):
    result = tally(practice, {})

    assert result.players == ()
    assert result.winners == ()


def test_an_unknown_card_in_the_claims_is_named(practice):
    board = parse_grid("A: . . . . \nB: . . . . \nC: . . . . \nD: . . . .", practice)

    with pytest.raises(SheetError) as error:
        tally(practice, {"Ada": board}, {"Ada": ["Stop"]})
    assert str(error.value) == "claims of Ada: there is no card 'Stop'"
    with pytest.raises(SheetError) as error:
        tally(practice, {"Ada": board}, {"Eve": ["Step"]})
    assert str(error.value) == "claims: there is no player 'Eve'"


@cases(50)
@given(games())
def test_totals_equal_the_plain_rules(game):
    sheet, grids, claims, facts = game
    result = tally(sheet, grids, claims, facts)

    plain = {p: plain_total(sheet, grid, claims[p], facts[p]) for p, grid in grids.items()}
    assert {player.player: player.total for player in result.players} == plain


@cases(20)
@given(games(players=1))
def test_totals_are_the_sum_of_their_proofs(game):
    sheet, grids, claims, facts = game
    player = tally(sheet, grids, claims, facts).players[0]

    assert player.total == sum(line.points for line in player.lines)
    for line in player.lines:
        assert line.points == sum(proof.points for proof in line.proofs)


@cases(20)
@given(games(players=1))
def test_the_order_in_which_a_grid_names_its_cells_changes_nothing(game):
    sheet, grids, claims, facts = game
    backward = {p: dict(reversed(list(grid.items()))) for p, grid in grids.items()}

    assert tally(sheet, grids, claims, facts) == tally(sheet, backward, claims, facts)
