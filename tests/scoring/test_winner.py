from __future__ import annotations

import pytest

from scoring.grid import parse_grid
from scoring.sheet import parse_sheet
from scoring.tally import tally

GAME = """
name = "Ties"
[board]
kind = "square"
rows = 2
columns = 3
pitch_mm = 20
support = "none"
[[colours]]
name = "ash"
letter = "A"
[[colours]]
name = "brick"
letter = "B"
[[cards]]
name = "Pair"
points = 1
count = "each"
held = "common"
mirrors = false
turns = false
pattern = "B B"
[[rules]]
kind = "cards"
[[rules]]
kind = "extras"
label = "ash"
colour = "ash"
each = 1
"""

BOARDS = {
    "Ada": "A: A A .\nB: . . .",
    "Ben": "A: A . B\nB: . B B",
    "Cy": "A: . A .\nB: . A .",
}


def winners(ties, boards=("Ada", "Ben", "Cy"), facts=None):
    sheet = parse_sheet(GAME + ties, "ties")
    grids = {name: parse_grid(BOARDS[name], sheet) for name in boards}
    result = tally(sheet, grids, facts=facts)
    return result.winners, result.tie_break


def test_without_a_tie_break_the_victory_is_shared():
    assert winners("") == (
        ("Ada", "Ben", "Cy"),
        "Ada, Ben and Cy have 2 points each; the victory is shared",
    )


@pytest.mark.parametrize(
    ("tie", "winner", "words"),
    [
        ('by = "cards"', "Ben", "more cards"),
        ('by = "pieces"', "Ben", "more pieces"),
        ('by = "pieces"\nof = "brick"', "Ben", "more pieces of brick"),
        ('by = "largest-group"', "Ben", "the larger group"),
        ('by = "largest-group"\nof = "ash"\nprefer = "fewer"', "Ben", "the smaller group of ash"),
        ('by = "rule"\nof = "ash"\nprefer = "fewer"', "Ben", "fewer points for ash"),
    ],
)
def test_a_tie_break_decides_between_equal_totals(tie, winner, words):
    expected = f"Ada, Ben and Cy have 2 points each; {words} decides"

    assert winners(f"[[tie_breaks]]\n{tie}") == ((winner,), expected)


def test_a_fact_may_break_a_tie():
    tie = '[[tie_breaks]]\nby = "fact"\nof = "last to finish"\n'

    assert winners(tie, facts={"Cy": ["last to finish"]})[0] == ("Cy",)
    assert winners(tie)[0] == ("Ada", "Ben", "Cy")


def test_later_tie_breaks_decide_among_those_that_are_left():
    ties = (
        '[[tie_breaks]]\nby = "pieces"\nprefer = "fewer"\n'
        '[[tie_breaks]]\nby = "fact"\nof = "first"\n'
    )

    assert winners(ties)[0] == ("Ada", "Cy")
    assert winners(ties, facts={"Cy": ["first"], "Ben": ["first"]})[0] == ("Cy",)


def test_the_greatest_total_wins_whatever_the_tie_breaks_say():
    sheet = parse_sheet(GAME + '[[tie_breaks]]\nby = "cards"', "ties")
    grids = {
        "Ada": parse_grid("A: A A A\nB: . . .", sheet),
        "Ben": parse_grid(BOARDS["Ben"], sheet),
    }
    result = tally(sheet, grids)

    assert (result.winners, result.tie_break) == (("Ada",), "")
