"""One worked example of every kind of rule."""

from __future__ import annotations

import pytest

from scoring.grid import parse_grid
from scoring.sheet import parse_sheet
from scoring.tally import tally

SQUARE = """
name = "Examples"
[board]
kind = "square"
rows = 3
columns = 4
pitch_mm = 20
support = "none"
[[colours]]
name = "ash"
letter = "A"
[[colours]]
name = "brick"
letter = "B"
[[colours]]
name = "chalk"
letter = "C"
"""

BOARD = """
A: A A B B
B: A C B .
C: A C B B
"""


def line_of(rule, board=BOARD, facts=()):
    """(points, cells of each proof) of the one rule of a game."""
    sheet = parse_sheet(SQUARE + "[[rules]]\n" + rule, "examples")
    result = tally(sheet, {"Ada": parse_grid(board, sheet)}, facts={"Ada": facts})
    line = result.players[0].lines[0]
    return line.points, [" ".join(proof.cells) for proof in line.proofs]


ASH, BRICK, CHALK = "A1 A2 B1 C1", "A3 A4 B3 C3 C4", "B2 C2"


@pytest.mark.parametrize(
    ("rule", "points", "cells"),
    [
        ('kind = "groups"\neach = 1\nmin_size = 3', 9, [ASH, BRICK]),
        ('kind = "groups"\nflat = 4\nmin_size = 5', 4, [BRICK]),
        ('kind = "groups"\nby_size = { 2 = 1, 4 = 3, 9 = 10 }', 7, [ASH, BRICK, CHALK]),
        ('kind = "groups"\neach = 2\ncolours = ["chalk"]', 4, [CHALK]),
        ('kind = "groups"\neach = 1\nonly = "largest"', 5, [BRICK]),
        ('kind = "groups"\neach = 1\nonly = "largest-of-each-colour"', 11, [ASH, BRICK, CHALK]),
        ('kind = "extras"\ncolour = "chalk"\neach = 3', 6, ["B2", "C2"]),
        ('kind = "regions"\nover = "rows"\npoints = 2', 4, ["A1 A2 A3 A4", "C1 C2 C3 C4"]),
        (
            'kind = "regions"\nover = "columns"\npoints = 2\nneed = "one-colour"',
            4,
            ["A1 B1 C1", "A3 B3 C3"],
        ),
        (
            'kind = "regions"\npoints = 5\nneed = "all-different"\ncells.nook = ["A2", "A3", "B2"]',
            5,
            ["A2 A3 B2"],
        ),
        ('kind = "regions"\nover = "rings"\npoints = 6', 6, ["B2 B3"]),
        (
            'kind = "variety"\nover = "rows"\neach = 1',
            8,
            ["A1 A2 A3 A4", "B1 B2 B3", "C1 C2 C3 C4"],
        ),
        ('kind = "variety"\nby_count = { 3 = 7 }', 7, ["A1 A2 A3 A4 B1 B2 B3 C1 C2 C3 C4"]),
        ('kind = "variety"\naround = "chalk"\neach = 1', 6, ["A2 B1 B3 C2", "B2 C1 C3"]),
        ('kind = "adjacent"\ncolours = ["ash", "chalk"]\neach = 2', 6, ["A2 B2", "B1 B2", "C1 C2"]),
        ('kind = "adjacent"\ncolours = ["chalk", "chalk"]\neach = 2', 2, ["B2 C2"]),
        ('kind = "empties"\neach = -2', -2, ["B4"]),
    ],
)
def test_each_kind_of_rule_gives_its_points_with_their_cells(rule, points, cells):
    assert line_of(rule) == (points, cells)


def test_a_fact_of_the_end_counts_only_for_whom_it_is_given():
    rule = 'kind = "ends"\nlabel = "first"\nfact = "first to fill"\npoints = 3'

    assert line_of(rule, facts=["first to fill"]) == (3, [""])
    assert line_of(rule) == (0, [])


CARDS = """
[[cards]]
name = "Pair"
points = 2
count = "each"
held = "common"
pattern = "A A"
[[cards]]
name = "Post"
points = 3
held = "common"
turns = false
pattern = '''
A
A
A
'''
[[rules]]
kind = "cards"
"""

FIVE = """
A: A A . .
B: A . . .
C: A . . .
"""


@pytest.mark.parametrize(
    ("sharing", "points"),
    [
        ("", 3 * 2 + 3),
        ("share_between_copies = false", 2 * 2 + 3),
        ("share_between_cards = false", 3 * 2),
        ("share_between_cards = false\nshare_between_copies = false", 2 + 2),
    ],
)
def test_pieces_count_for_several_cards_and_copies_only_where_they_may(sharing, points):
    sheet = parse_sheet(SQUARE + CARDS + sharing, "examples")

    assert tally(sheet, {"Ada": parse_grid(FIVE, sheet)}).players[0].total == points


def test_a_card_that_gives_way_to_others_says_so():
    sheet = parse_sheet(SQUARE + CARDS + "share_between_cards = false", "examples")
    lines = tally(sheet, {"Ada": parse_grid(FIVE, sheet)}).players[0].lines

    assert lines[1].note == "complete, but its pieces count for other cards"


def with_card(lines):
    card = f'[[cards]]\nname = "Card"\n{lines}\n[[rules]]\nkind = "cards"\n'
    return parse_sheet(SQUARE + card, "examples")


@pytest.mark.parametrize(
    ("needs", "board", "points"),
    [
        ("1 1 1", "A: A A A . \nB: . . . . \nC: . . . .", 1),
        ("1 1 1", "A: A A B . \nB: . . . . \nC: . . . .", 0),
        ("1 2 3", "A: C A B . \nB: . . . . \nC: . . . .", 1),
        ("1 2 3", "A: C A C . \nB: . . . . \nC: . . . .", 0),
        ("A * A", "A: A C A . \nB: . . . . \nC: . . . .", 1),
        ("A * A", "A: A . A . \nB: . . . . \nC: . . . .", 0),
        ("A _ A", "A: A . A . \nB: . . . . \nC: . . . .", 1),
        ("A _ A", "A: A C A . \nB: . . . . \nC: . . . .", 0),
        ("A . A", "A: A C A . \nB: . . . . \nC: . . . .", 1),
    ],
)
def test_patterns_ask_for_one_colour_different_colours_any_piece_or_none(needs, board, points):
    sheet = with_card(f'points = 1\nheld = "common"\npattern = "{needs}"')

    assert tally(sheet, {"Ada": parse_grid(board, sheet)}).players[0].total == points


def test_a_card_in_its_own_place_counts_there_only():
    sheet = with_card('points = 4\nheld = "common"\nat = { A1 = "1", C4 = "2" }')
    grid = parse_grid(BOARD, sheet)

    assert tally(sheet, {"Ada": grid}).players[0].total == 4
    assert tally(sheet, {"Ada": {**grid, "C4": "ash"}}).players[0].total == 0


def test_a_claimed_card_that_is_missed_costs_what_the_sheet_says():
    sheet = with_card('points = 4\nmissed = -2\npattern = "A A A"')
    grid = parse_grid(BOARD, sheet)

    assert tally(sheet, {"Ada": grid}, {"Ada": ["Card"]}).players[0].total == 4
    gone = {**grid, "B1": "chalk"}
    line = tally(sheet, {"Ada": gone}, {"Ada": ["Card"]}).players[0].lines[0]
    assert (line.points, line.proofs[0].words) == (-2, "card Card claimed, but not complete")
    assert tally(sheet, {"Ada": gone}).players[0].total == 0
