"""A sheet's colours replaced in its text: nothing else changes, and no card changes its meaning."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from desk.given import GivenError
from desk.sheet_colours import supplied, with_colours
from scoring.errors import SheetError
from scoring.sheet import load_sheet, parse_sheet
from scoring.toml import parse_toml
from scoring.types import Colour
from tests.desk.practice import SAMPLES

SHEETS = sorted((SAMPLES / "sheets").glob("*.toml"))
PLAIN = """name = "Plain"   # a game
[board]
kind = "square"
rows = 2
columns = 2
pitch_mm = 20
support = "none"

# What lies in the box.
[[colours]]
name = "moss"
letter = "M"
# supply = 30

[[colours]]
name = "rust"
letter = "R"

# What is counted.
[[rules]]
kind = "groups"
each = 1
"""


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_counted_supply_changes_the_supply_alone(path: Path) -> None:
    sheet = load_sheet(path)
    counted = {colour.name: number for number, colour in enumerate(sheet.colours, start=7)}
    after = with_colours(sheet.text, supplied(sheet, counted))

    assert {c.name: c.supply for c in parse_sheet(after).colours} == counted
    assert [replace(c, supply=None) for c in parse_sheet(after).colours] == [
        replace(c, supply=None) for c in sheet.colours
    ]
    data, old = parse_toml(after), parse_toml(sheet.text)
    assert data | {"colours": 0} == old | {"colours": 0}


def test_new_colours_take_the_place_of_old_ones_and_remarks_stay() -> None:
    new = [Colour("slate", "S", 36), Colour("plum", "P"), Colour("sand", "A", 2, False)]
    after = with_colours(PLAIN, new)

    assert parse_sheet(after).colours == tuple(new)
    assert after.startswith(PLAIN[: PLAIN.index("[[colours]]")])
    assert after.endswith(PLAIN[PLAIN.index("# What is counted.") :])


def test_a_sheet_that_ends_with_its_colours_can_be_changed() -> None:
    start, end = PLAIN.index("# What lies"), PLAIN.index("# What is counted.")
    turned = PLAIN[:start] + PLAIN[end:] + "\n" + PLAIN[start:end].rstrip()

    assert parse_sheet(with_colours(turned, [Colour("slate", "S")])).colours[0].name == "slate"


@pytest.mark.parametrize(
    ("colours", "said"),
    [
        ([Colour("mud", "M"), Colour("rust", "R")], "asks for M, which is moss and would be mud"),
        ([Colour("moss", "O"), Colour("rust", "R")], "which is moss and would be none of them"),
    ],
)
def test_a_card_never_comes_to_ask_for_another_colour(colours: list[Colour], said: str) -> None:
    carded = PLAIN + '[[rules]]\nkind = "cards"\n[[cards]]\nname = "Row"\npoints = 3\n'
    with pytest.raises(GivenError, match=said):
        with_colours(carded + 'pattern = "M M"\n', colours)


def test_rules_about_a_colour_that_is_gone_are_named() -> None:
    with pytest.raises(SheetError, match="moss"):
        with_colours(PLAIN + 'colours = ["moss"]\n', [Colour("slate", "S"), Colour("plum", "P")])


def test_colours_in_one_line_are_left_to_a_person() -> None:
    start, end = PLAIN.index("[[colours]]"), PLAIN.index("# What is counted.")
    inline = 'colours = [{ name = "moss", letter = "M" }]\n' + PLAIN[:start] + PLAIN[end:]
    with pytest.raises(GivenError, match="edit the sheet's file"):
        with_colours(inline, [Colour("slate", "S")])


def test_a_colour_of_which_nothing_was_counted_has_no_supply() -> None:
    with pytest.raises(GivenError, match="rust: no piece was counted"):
        supplied(parse_sheet(PLAIN), {"moss": 3, "rust": 0})
