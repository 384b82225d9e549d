"""The command ``sheet card``: from a photo to a card in the sheet, confirmed by a person."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from desk.card_drawing import TOPS, drawing, turned_steps
from samples.penmarrow import load_penmarrow
from scoring.patterns import parse_pattern
from scoring.sheet import load_sheet
from tests.desk.practice import SHEET, Run, bell_rope_photo, six_cards_photo

ANSWERS = """
["bell-rope.jpg"]
name = "Bell Rope"
points = 4
right = true
cells = { A1 = "P", B1 = "R", C1 = "P" }
"""


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return bell_rope_photo(tmp_path_factory.mktemp("card"))


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """Penmarrow's sheet without the card that is photographed."""
    text = SHEET.read_text()
    start = text.index('[[cards]]\nname = "Bell Rope"')
    end = text.index("[[cards]]", start + 1)
    path = tmp_path / "game.toml"
    path.write_text(text[:start] + text[end:])
    return path


def test_a_confirmed_card_is_added_and_the_rest_of_the_sheet_stays(
    tallyglass: Run, sheet: Path, photo: Path, tmp_path: Path
) -> None:
    before = sheet.read_text()
    (tmp_path / "said.toml").write_text(ANSWERS)
    words = ("--answers", tmp_path / "said.toml", "--add", "--out", tmp_path / "seen")
    ended = tallyglass("sheet", "card", sheet, photo, *words)
    card = load_sheet(sheet).cards[-1]

    assert ended.code == 0, ended.err
    assert sheet.read_text().startswith(before.rstrip("\n"))
    assert (card.name, card.points) == ("Bell Rope", 4)
    assert card.pattern == parse_pattern("P\n R\n  P", "courses")
    assert (tmp_path / "seen" / "bell-rope.png").stat().st_size > 10_000


def test_several_cards_of_a_photo_are_asked_once_an_ink_and_added_one_by_one(
    tallyglass: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = load_penmarrow()
    head, rest = SHEET.read_text().split("[[cards]]", 1)
    sheet = tmp_path / "game.toml"
    sheet.write_text(head + rest[rest.index("[[rules]]") : rest.index("[[tie_breaks]]")])
    photo = six_cards_photo(tmp_path)
    cards = "".join(
        f'["cards.jpg {number}"]\npoints = {card.points}\nright = true\n'
        for number, card in enumerate(known.cards[:5], 1)
    )
    (tmp_path / "said.toml").write_text(cards + '["cards.jpg 6"]\ncells = { A1 = "1", A2 = "1" }')
    # In the order of the cells: R, S, L, M, P and the 2 of the last card, whose points stay open.
    monkeypatch.setattr("sys.stdin", io.StringIO("R\nS\nL\nM\nP\n2\n" + "\n" * 5 + "Last\n\n"))
    words = ("--answers", tmp_path / "said.toml", "--add", "--out", tmp_path / "seen")
    ended = tallyglass("sheet", "card", sheet, photo, *words)
    made = load_sheet(sheet).cards

    assert ended.code == 1, ended.err
    assert [card.name for card in made] == [f"Card {number}" for number in range(1, 6)]
    assert [card.pattern for card in made] == [card.pattern for card in known.cards[:5]]
    assert "1B1, 1B2, 3B1, 5C1: " in ended.out
    assert "cards.jpg, card 6: a card needs whole points" in ended.out
    assert len(list((tmp_path / "seen").glob("cards-?.png"))) == 6


def test_answers_for_a_card_that_the_photo_does_not_show_are_refused(
    tallyglass: Run, sheet: Path, photo: Path, tmp_path: Path
) -> None:
    (tmp_path / "said.toml").write_text('["bell-rope.jpg 2"]\nname = "X"')
    words = ("--answers", tmp_path / "said.toml", "--out", tmp_path)
    ended = tallyglass("sheet", "card", sheet, photo, *words)

    assert ended.code == 2
    assert "bell-rope.jpg shows 1 card" in ended.err


def test_a_name_that_is_taken_is_refused_and_the_sheet_stays(
    tallyglass: Run, sheet: Path, photo: Path, tmp_path: Path
) -> None:
    before = sheet.read_bytes()
    (tmp_path / "said.toml").write_text(ANSWERS.replace("Bell Rope", "Gull Walk"))
    words = ("--answers", tmp_path / "said.toml", "--add", "--out", tmp_path)
    ended = tallyglass("sheet", "card", sheet, photo, *words)

    assert ended.code == 2
    assert "cards, Gull Walk: two cards have this name" in ended.err
    assert sheet.read_bytes() == before


def test_what_is_typed_settles_inks_and_confirms_the_drawing(
    tallyglass: Run, sheet: Path, photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = "Q\nP\nR\nBell Rope\n4\ny\n"  # Q is no colour; P answers for both plums
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    ended = tallyglass("sheet", "card", sheet, photo, "--out", tmp_path)

    assert ended.code == 0, ended.err
    assert "'Q' is none of these." in ended.out
    assert 'name = "Bell Rope"\npoints = 4\npattern = """\nP\n R\n  P\n"""' in ended.out
    assert len(load_sheet(sheet).cards) == len(load_penmarrow().cards) - 1


def test_a_card_with_open_cells_is_not_made(
    tallyglass: Run, sheet: Path, photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    ended = tallyglass("sheet", "card", sheet, photo, "--add", "--out", tmp_path)

    assert ended.code == 1
    assert "not settled; no card is made of it." in ended.out
    assert "[[cards]]" not in ended.out


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ('["other.jpg"]\nname = "X"', "the photos are bell-rope.jpg"),
        ('["bell-rope.jpg"]\ncolour = "X"', "a card has name, points, top, right, cells"),
        ('["bell-rope.jpg"]\ntop = "above"', "is one of up, right, down, left"),
        ('["bell-rope.jpg"]\ncells = { D9 = "M" }', "the card has A1, B1, C1"),
        ('["bell-rope.jpg"]\ncells = { A1 = "Q" }', "'Q' is neither a letter of the sheet"),
    ],
)
def test_answers_that_cannot_be_are_named(
    tallyglass: Run, sheet: Path, photo: Path, tmp_path: Path, answers: str, said: str
) -> None:
    (tmp_path / "said.toml").write_text(answers)
    words = ("--answers", tmp_path / "said.toml", "--out", tmp_path)
    ended = tallyglass("sheet", "card", sheet, photo, *words)

    assert ended.code == 2
    assert said in ended.err


@pytest.mark.parametrize("like", ["square", "courses", "hex-pointy", "hex-flat", "diamond"])
def test_a_drawing_reads_back_as_its_steps_however_it_is_turned(like: str) -> None:
    steps = [(0, 0), (2, 0), (4, 2)] if like != "hex-flat" else [(0, 0), (0, 2), (2, 4)]
    ways = [turned_steps(steps, like, top) for top in TOPS]
    patterns = [
        parse_pattern(drawing(way, ["A", "B", "C"], like), like) for way in ways if way is not None
    ]

    assert len(patterns) == (4 if like in ("square", "diamond") else 2)
    assert len(set(patterns)) == len(patterns)
    assert turned_steps(turned_steps(steps, like, "down"), like, "down") == steps
