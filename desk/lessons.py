"""``tallyglass table learn``, ``lessons`` and ``forget``: a table learns from kept games.

A person looks at each board's picture first and says that all is right: what is learned from a
wrong board would be believed of later ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from calibrate.lessons import (
    called,
    drift,
    drift_words,
    lesson_of,
    with_lessons,
    without_lessons,
)
from calibrate.types import Lesson, Table
from desk.archive import Archive
from desk.given import GivenError
from desk.keeping.content import Content, is_settled
from desk.keeping.recount import told_of
from desk.keeping.reread import corners_by_hand
from desk.kept import clock_words, open_kept
from desk.pictures import save_overlay
from desk.questions import file_name
from desk.say import asked, so_many, working
from desk.table_sheet import fits
from desk.tables import shelf_in
from scoring.sheet import parse_sheet
from vision.decode import load_photo
from vision.read import read_photo
from vision.types import CellReading

NOT_LEARNED = 1
NOT_LEARNED_OF = "nothing is learned of it: it was left open, or is covered here"


def run_learn(data: Path | None, name: str, number: int, where: str | None, out: Path) -> int:
    """Show a kept game's boards, ask whether all is right, and learn; returns the exit code."""
    shelf, archive = shelf_in(data), open_kept(where)
    table = shelf.table(name)
    game = learnable(archive, number, table)
    lessons = []
    for board in game["boards"]:
        with working(f"Reading {board['player']}'s board"):
            lesson, picture = looked_at(archive, game, board, table, out)
        lessons.append(lesson)
        cells = so_many(len(lesson.cells), "cell")
        print(f"{board['player']}: {cells} to learn from, drawn in {picture}")
    if asked("Does every piece lie as the pictures show? y or n > ").lower() not in ("y", "yes"):
        print("Nothing was learned.")
        return NOT_LEARNED
    now = shelf.put(with_lessons(table, lessons))
    print(f"{now.name}: has learned from game {number}, as version {now.number}.")
    for words in drift_words(drift(table, lessons)):
        print(f"- {words}")
    return 0


def learnable(archive: Archive, number: int, table: Table) -> Content:
    """A kept game that may be learned from.

    Raises GivenError where it is of another game, was corrected since, is still open, or has no
    photo left.
    """
    game = archive.game(number)
    if not fits(table.sheet, parse_sheet(game["sheet_text"], f"game {number}")):
        raise GivenError(f"game {number}", f"was played with another game than {table.name}'s.")
    if game["corrected"]:
        later = max(game["entries"])
        raise GivenError(f"game {number}", f"was corrected since; learn from game {later}.")
    if not is_settled(game["tally"]):
        raise GivenError(f"game {number}", "is still open; settle its doubts first.")
    kept = [board for board in game["boards"] if not board["erased"]]
    if not kept:
        raise GivenError(f"game {number}", "has no photo any more.")
    return {**game, "boards": kept}


def looked_at(
    archive: Archive, game: Content, board: Mapping[str, Any], table: Table, out: Path
) -> tuple[Lesson, Path]:
    """What one board of a kept game teaches, and the picture that shows it."""
    photo = load_photo(archive.photo(board["photo_file"]), board["player"])
    tapped = corners_by_hand(board["reading"])
    corners = None if tapped is None else np.array(tapped, float)
    reading = read_photo(photo, table, corners)
    cells = certain_cells(game, board)
    lesson = lesson_of(
        reading,
        cells,
        told_of(game, board["player"]),
        game=called(game["id"]),
        at=game["played_at"],
        photo=photo.sha256,
    )
    drawn = {
        cell: CellReading(lesson.cells[cell], (lesson.cells[cell],))
        if cell in lesson.cells
        else replace(read, doubt=NOT_LEARNED_OF)
        for cell, read in reading.cells.items()
    }
    picture = out / f"{file_name(board['player'])}-learned.png"
    save_overlay(photo, replace(reading, cells=drawn), table.sheet, picture)
    return lesson, picture


def certain_cells(game: Content, board: Mapping[str, Any]) -> dict[str, str]:
    """What lies in the cells of a kept board that were certain, or that a person named."""
    told = told_of(game, board["player"])
    read = board["reading"]["cells"]
    return {
        cell: colour
        for cell, colour in board["grid"].items()
        if cell in told or (read[cell]["doubt"] is None and read[cell]["colour"] == colour)
    }


def run_lessons(data: Path | None, name: str) -> None:
    """One line a board that a table learned from."""
    table = shelf_in(data).table(name)
    print(*lesson_words(table), sep="\n")


def lesson_words(table: Table) -> Iterator[str]:
    """Game, time, photo and number of cells of each lesson, the oldest first."""
    if not table.lessons:
        yield f"{table.name} has learned from no game yet; `tallyglass table learn` does."
    for one in table.lessons:
        cells = so_many(len(one.cells), "cell")
        yield f"{one.game}, played {clock_words(one.at)}: {cells} (photo sha256 {one.photo[:12]})"


def run_forget(data: Path | None, name: str, number: int) -> None:
    """Take what was learned from one game out of a table, as a new version of it."""
    shelf = shelf_in(data)
    table = shelf.table(name)
    left = without_lessons(table, called(number))
    if len(left.lessons) == len(table.lessons):
        raise GivenError(name, f"has learned nothing from game {number}.")
    now = shelf.put(left)
    print(f"{now.name}: has forgotten game {number}, as version {now.number}.")
