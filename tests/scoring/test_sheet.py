from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.errors import SheetError
from scoring.rules import Groups, TieBreak
from scoring.sheet import colour_named, letters, load_sheet, parse_sheet
from tests.strategies import cases

SHEETS = sorted((Path(__file__).resolve().parents[2] / "samples" / "sheets").glob("*.toml"))

GOOD = """
name = "Small game"
[board]
kind = "courses"
rows = [3, 2, 3]
pitch_mm = 20
row_pitch_mm = 16
gap_mm = 0.8
margin_mm = [5, 6]
anchors = { edge = "bottom" }
support = "all"
piece_height_mm = 2.5
full = true
[[marks]]
id = 3
corners_mm = [[0, 0], [5, 0], [5, 5], [0, 5]]
[[marks]]
id = 4
on = "card"
corners_mm = [[-9, 0], [-4, 0], [-4, 5], [-9, 5]]
[[colours]]
name = "ash"
letter = "A"
supply = 9
[[colours]]
name = "brick"
letter = "B"
[[cards]]
name = "Gable"
points = 4
pattern = '''
 A
B B
'''
[[rules]]
kind = "groups"
label = "patches"
by_size = { 3 = 2, 5 = 6 }
[[tie_breaks]]
by = "pieces"
of = "ash"
prefer = "fewer"
"""


def reason(text):
    with pytest.raises(SheetError) as error:
        parse_sheet(text, "small.toml")
    return str(error.value)


def test_a_sheet_holds_all_that_it_says():
    sheet = parse_sheet(GOOD, "small.toml")

    assert sheet.name == "Small game"
    assert [cell.id for cell in sheet.lattice.cells if cell.anchor] == ["C1", "C2", "C3"]
    assert sheet.lattice.board_size_mm == (70.0, 60.0)
    assert (sheet.support, sheet.full_board, sheet.piece_height_mm) == ("all", True, 2.5)
    assert sheet.marks[3] == ((0, 0), (5, 0), (5, 5), (0, 5))
    assert sheet.marks_on == {3: "board", 4: "card"}
    assert letters(sheet) == {"A": "ash", "B": "brick"}
    assert sheet.colours[0].supply == 9
    assert [rule.label for rule in sheet.rules] == ["cards", "patches"]
    assert sheet.rules[1] == Groups("patches", ("ash", "brick"), by_size=((3, 2), (5, 6)))
    assert sheet.tie_breaks == (TieBreak("pieces", "ash", fewer=True),)
    assert sheet.text == GOOD


def test_a_colour_is_found_by_its_name():
    sheet = parse_sheet(GOOD, "small.toml")

    assert colour_named(sheet, "brick").letter == "B"
    with pytest.raises(
        SheetError, match="Small game: there is no colour 'blue'; it has ash, brick"
    ):
        colour_named(sheet, "blue")


REFUSED = [
    (
        "rows that cannot be centred",
        ("rows = [3, 2, 3]", 'rows = [3, 1, 3]\nshifted = "centred"'),
        "board, shifted: centred rows of 3 and 1 cells do not lie as in courses",
    ),
    (
        "a mark that runs the wrong way",
        ("[0, 0], [5, 0], [5, 5], [0, 5]", "[0, 0], [0, 5], [5, 5], [5, 0]"),
        "marks, id 3, corners_mm: the corners must run clockwise from the mark's own top left",
    ),
    (
        "monstrous points",
        ("points = 4", "points = 9999999"),
        "cards, number 1 (Gable), points: must be at most 1000000, not 9999999",
    ),
    ("this is not TOML", "", "is not valid TOML: Expected '=' after a key"),
    ("a misspelt key", ("support =", "suport ="), "board, suport: there is no such key"),
    ("a missing key", ("points = 4", ""), "cards, number 1 (Gable), points: this key is missing"),
    (
        "a colour without supply",
        ("supply = 9", "supply = 0"),
        "colours, number 1 (ash), supply: must be at least 1, not 0",
    ),
    ("an unknown letter", ("B B", "B X"), "cards, Gable: 'X' is not the letter of a colour"),
    ("a taken letter", ('letter = "B"', 'letter = "A"'), "colours, brick: the letter A is taken"),
    (
        "a taken name",
        ('name = "brick"', 'name = "ash"'),
        "colours, ash: two colours have this name",
    ),
    (
        "empty as a colour",
        ('name = "ash"', 'name = "empty"'),
        "colours, empty: this word cannot be",
    ),
    ("a pattern out of step", (" A\nB B", "A\nB B"), "cards, Gable, pattern: B in line 2 does not"),
    ("too large a pattern", (" A\nB B", " A\nB B B B"), "cards, Gable, pattern: does not fit on"),
    ("too dear a pattern", ("supply = 9", "supply = 2\n"), None),
    ("no anchors", ('{ edge = "bottom" }', "{}"), "board, anchors: no cell is an anchor"),
    (
        "a strange anchor",
        ('edge = "bottom"', 'cells = ["Z9"]'),
        "board, anchors, cells: there is no",
    ),
    (
        "a strange row",
        ('edge = "bottom"', 'rows = ["Q"]'),
        "board, anchors, rows: there is no row Q",
    ),
    ("two marks of one id", ("id = 4", "id = 3"), "marks, id 3: two marks have this id"),
    ("a gap too wide", ("gap_mm = 0.8", "gap_mm = 9"), "board, gap_mm: leaves too little of cells"),
    (
        "a board too small",
        ("margin_mm = [5, 6]", "size_mm = [30, 30]"),
        "board, cell A2: lies beyond",
    ),
    ("no pitch", ("\npitch_mm = 20", ""), "board, pitch_mm: this key is missing"),
    ("rows twice", ("rows = [3, 2, 3]", "rows = [3]\ncolumns = 3"), "board, columns: rows already"),
    ("columns alone", ("rows = [3, 2, 3]", "columns = 3"), "board: say rows = [cells in each row]"),
    (
        "far too many cells",
        ("[3, 2, 3]", "500\ncolumns = 500"),
        "board, rows: 250000 cells; a board",
    ),
    (
        "a strange tie-break",
        ('of = "ash"', 'of = "gold"'),
        "tie_breaks, number 1: there is no colour",
    ),
    (
        "a strange kind",
        ('kind = "groups"', 'kind = "magic"'),
        "rules, number 1 (patches): there is no kind magic; the kinds are",
    ),
    (
        "infinite lengths",
        ("pitch_mm = 20", "pitch_mm = inf"),
        "board, pitch_mm: must be a finite number, not inf",
    ),
    ("not a number", ("piece_height_mm = 2.5", "piece_height_mm = nan"), "board, piece_height_mm"),
]


@pytest.mark.parametrize(("what", "change", "words"), REFUSED, ids=[row[0] for row in REFUSED])
def test_a_sheet_is_refused_with_file_place_and_reason(what, change, words):
    del what
    text = GOOD.replace(*change, 1) if change else "name"
    if words is None:
        words = "cards, Gable: needs 3 pieces of ash; the box holds 2"
        text = text.replace(" A\nB B", " A\nA A")

    assert reason(text).startswith(f"small.toml, {words}") or reason(text).startswith(
        f"small.toml: {words}"
    )


def with_card(lines):
    return GOOD + f'[[cards]]\nname = "Extra"\npoints = 1\n{lines}\n'


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("", "cards, Extra: give either pattern or at"),
        ('at = { A9 = "A" }', "cards, Extra, at: there is no cell A9"),
        (
            'at = { A1 = "1", A2 = "2", A3 = "3" }',
            "cards, Extra: needs 3 different colours; there are 2",
        ),
        (
            'at = { A1 = "A" }\nheld = "common"\nmissed = -1',
            "cards, Extra, missed: is for cards that",
        ),
        ('pattern = "A"\nname2 = "x"', "cards, number 2 (Extra), name2: there is no such key"),
    ],
)
def test_a_card_with_a_contradiction_is_refused(lines, words):
    assert words in reason(with_card(lines))


def test_a_card_that_asks_for_a_colour_which_never_counts_is_refused():
    text = GOOD.replace('letter = "B"', 'letter = "B"\nin_patterns = false')

    assert reason(text) == "small.toml, cards, Gable: brick never counts in patterns"


def test_two_cards_of_one_name_and_two_rules_of_one_label_are_refused():
    assert "cards, Gable: two cards have this name" in reason(
        GOOD + '[[cards]]\nname = "Gable"\npoints = 1\npattern = "A"\n'
    )
    assert "rules, patches: two rules have this label" in reason(
        GOOD + '[[rules]]\nkind = "groups"\nlabel = "patches"\n'
    )


DRAWN = """
name = "Drawn"
[board]
kind = "drawn"
size_mm = [60, 40]
support = "any"
anchors = { cells = ["B1"] }
cells = [
  { id = "A1", polygon_mm = [[0, 0], [20, 0], [20, 20], [0, 20]] },
  { id = "B1", polygon_mm = [[0, 20], [20, 20], [20, 40], [0, 40]] },
]
[[colours]]
name = "ash"
letter = "A"
[[rules]]
kind = "groups"
"""


def test_a_drawn_board_finds_its_neighbours_itself():
    assert parse_sheet(DRAWN).lattice.neighbours == {"A1": ("B1",), "B1": ("A1",)}


def test_unreachable_anchors_are_refused():
    far = DRAWN.replace(
        "[[0, 0], [20, 0], [20, 20], [0, 20]]", "[[40, 0], [60, 0], [60, 20], [40, 20]]"
    )

    assert reason(far) == "small.toml, board, anchors: no anchor can be reached from A1"


def test_two_cells_on_one_spot_are_refused():
    twice = DRAWN.replace(
        "[[0, 0], [20, 0], [20, 20], [0, 20]]", "[[0, 19], [20, 19], [20, 40], [0, 40]]"
    )

    assert reason(twice) == "small.toml, board, cells A1 and B1: two cells lie on one spot"


def test_an_outline_without_area_is_refused():
    flat = DRAWN.replace("[[0, 0], [20, 0], [20, 20], [0, 20]]", "[[0, 0], [20, 0], [10, 0]]")

    assert reason(flat) == "small.toml, board, cell A1: its outline has no area"


def test_neighbours_of_some_cells_only_are_refused():
    some = DRAWN.replace('id = "A1",', 'id = "A1", neighbours = ["B1"],')

    assert reason(some) == "small.toml, board, cell B1: give neighbours for every cell or for none"


def test_a_pattern_on_a_drawn_board_needs_to_know_what_it_is_like():
    card = '[[cards]]\nname = "Post"\npoints = 1\npattern = "A"\n'

    assert "a drawn board takes patterns only with board.like" in reason(DRAWN + card)
    assert parse_sheet(DRAWN.replace('"drawn"', '"drawn"\nlike = "square"') + card).cards


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(
        SheetError, match=r"none\.toml: cannot be read \(No such file or directory\)"
    ):
        load_sheet(tmp_path / "none.toml")


def test_a_file_that_is_no_text_is_named(tmp_path):
    path = tmp_path / "photo.toml"
    path.write_bytes(b"\xff\xd8\xff\xe0")

    with pytest.raises(SheetError, match=r"photo\.toml: is not a text file in UTF-8"):
        load_sheet(path)


def test_a_file_that_is_far_too_long_is_not_read_on(tmp_path):
    path = tmp_path / "long.toml"
    path.write_text("#" * 2_000_001)

    with pytest.raises(SheetError, match=r"long\.toml: is too long; a sheet has at most 2000000"):
        load_sheet(path)


def test_the_sheets_that_come_with_the_program_load():
    names = {load_sheet(path).lattice.kind for path in SHEETS}

    assert names >= {"courses", "hex-pointy", "square"}


def test_python_in_a_sheet_is_text_and_never_runs():
    name = "__import__('pathlib').Path('x').touch()"
    sheet = parse_sheet(GOOD.replace('"Small game"', f'"""{name}"""'))

    assert sheet.name == name
    assert not Path("x").exists()


@cases(150)
@given(st.data())
def test_a_sheet_with_any_line_changed_loads_or_is_refused_in_words(data):
    lines = GOOD.splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    junk = st.sampled_from(
        ["", "[board]", "rows = -1", "x = [[1, 2", "pitch_mm = 1e9", "rows = [0]"]
    )
    other = data.draw(st.one_of(st.sampled_from(lines), junk, st.text(max_size=12)))
    lines[at] = other
    with contextlib.suppress(SheetError):
        parse_sheet("\n".join(lines), "small.toml")
