"""``table learn``: a person looks, says yes, and later games know more; ``forget`` undoes it."""

from __future__ import annotations

import io
import json
import re
import shutil
from pathlib import Path

import pytest
from PIL import Image

from calibrate.store import load_table
from desk.shelf import Shelf
from samples.penmarrow import load_penmarrow
from scoring.grid import parse_grid
from tests.desk.practice import PRACTICE, Run, run_main

PLAYERS = ("isla", "joss", "wren")


@pytest.fixture(scope="module")
def kept(table: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with the practice game: 1 with all cells answered, 2 as read, still open."""
    folder = tmp_path_factory.mktemp("kept")
    notes = json.loads((PRACTICE / "truth.json").read_text("utf-8"))["grids"]
    grids = {name: parse_grid(notes[name.title()], load_penmarrow()) for name in PLAYERS}
    answers = folder / "answers.toml"
    lines = ['by = "Ana"']
    for name, grid in grids.items():
        lines += [f"[{name}]", *(f'{cell} = "{colour}"' for cell, colour in grid.items())]
    answers.write_text("\n".join(lines), "utf-8")
    boards = [f"{name}={PRACTICE / 'game' / name}.jpg" for name in PLAYERS]
    words = ["tally", table, *boards, "--out", folder / "out", "--archive", folder / "archive"]
    assert run_main(*words, "--answers", answers) == 0
    assert run_main(*words, "--no-questions") == 0
    return folder / "archive"


@pytest.fixture
def data(table: Path, tmp_path: Path) -> Path:
    """A data folder with the practice table on its shelf."""
    Shelf(tmp_path / "data" / "tables").put(load_table(table))
    return tmp_path / "data"


def learn(
    tallyglass: Run, kept: Path, data: Path, typed: str, monkeypatch: pytest.MonkeyPatch, game: int
) -> object:
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    words = ["table", "learn", "penmarrow", str(game), "--archive", kept, "--data", data]
    return tallyglass(*words, "--out", data / "drawn")


def test_a_table_learns_what_a_person_says_is_right_and_forgets_it(
    tallyglass: Run, kept: Path, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = learn(tallyglass, kept, data, "y\n", monkeypatch, 1)
    assert (ended.code, ended.err) == (0, "")
    assert "penmarrow: has learned from game 1, as version 2." in ended.out
    for player in PLAYERS:
        with Image.open(data / "drawn" / f"{player}-learned.png") as drawn:
            assert drawn.width > 500
    taught = Shelf(data / "tables").table("penmarrow")
    assert len(taught.lessons) == 3
    cells = len(taught.sheet.lattice.cells)
    learned = [len(lesson.cells) for lesson in taught.lessons]
    assert [cells - count for count in learned] == [0, 1, 2], "under a die, and under glare"

    listed = tallyglass("table", "lessons", "penmarrow", "--data", data).out.splitlines()
    assert len(listed) == 3
    line = r"game 1, played \d{4}-\d\d-\d\d \d\d:\d\d UTC: (\d+) cells \(photo sha256 \w{12}\)"
    told = [re.fullmatch(line, words) for words in listed]
    assert [int(one[1]) for one in told if one] == learned

    assert tallyglass("table", "forget", "penmarrow", "1", "--data", data).code == 0
    assert Shelf(data / "tables").table("penmarrow").lessons == ()
    assert "learned from no game" in tallyglass("table", "lessons", "penmarrow", "--data", data).out
    again = tallyglass("table", "forget", "penmarrow", "1", "--data", data)
    assert (again.code, again.err) == (2, "penmarrow: has learned nothing from game 1.\n")


@pytest.mark.parametrize("typed", ["n\n", "", "perhaps\n"])
def test_nothing_is_learned_unless_a_person_says_that_all_is_right(
    tallyglass: Run, kept: Path, data: Path, typed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = learn(tallyglass, kept, data, typed, monkeypatch, 1)
    assert ended.code == 1
    assert "Nothing was learned." in ended.out
    assert [one.number for one in Shelf(data / "tables").versions()] == [1]


def test_a_game_that_is_still_open_teaches_nothing(
    tallyglass: Run, kept: Path, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended = learn(tallyglass, kept, data, "y\n", monkeypatch, 2)
    assert (ended.code, ended.out) == (2, "")
    assert ended.err == "game 2: is still open; settle its doubts first.\n"


def test_a_corrected_or_an_unknown_game_is_refused_with_what_to_do(
    tallyglass: Run, kept: Path, data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = Path(shutil.copytree(kept, tmp_path / "copy"))
    fix = tmp_path / "fix.toml"
    fix.write_text('by = "Ana"\n[isla]\nA1 = "empty"\n', "utf-8")
    corrected = ["archive", "correct", "1", "--answers", fix, "--reason", "seen again"]
    assert tallyglass(*corrected, "--archive", copy).code == 0
    ended = learn(tallyglass, copy, data, "y\n", monkeypatch, 1)
    assert ended.err == "game 1: was corrected since; learn from game 3.\n"
    assert "has no game 9" in learn(tallyglass, copy, data, "y\n", monkeypatch, 9).err


def test_a_shared_table_keeps_its_maker_s_evenings_to_itself(
    tallyglass: Run, kept: Path, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    learn(tallyglass, kept, data, "y\n", monkeypatch, 1)
    out = data / "shared.table"
    assert tallyglass("table", "export", "penmarrow", out, "--data", data).code == 0
    assert load_table(out).lessons == ()
