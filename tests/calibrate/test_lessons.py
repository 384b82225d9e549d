"""What a table learns from finished games: kept whole in its file, and never against itself."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from calibrate.errors import CalibrationError, TableError
from calibrate.lessons import (
    MOST_LESSONS,
    drift,
    drift_words,
    lesson_of,
    with_lessons,
)
from calibrate.store import table_bytes, table_from_bytes
from calibrate.types import Lesson, Table
from tests.vision.near_boards import BULB, kit, reading, shot
from tests.vision.practice import KIND_LIGHT
from vision.one_light import settle_together
from vision.read import read_photo
from vision.types import Photo, Samples

AT = "2026-05-01T20:00:00+00:00"


@pytest.fixture(scope="module")
def boards(
    penmarrow_table: Table,
    penmarrow_games: dict[str, Photo],
    penmarrow_truth: dict[str, dict[str, Any]],
) -> list[Lesson]:
    """A lesson of each of the three practice boards."""
    lessons = []
    for name, photo in penmarrow_games.items():
        truth = {**penmarrow_truth[name]["labels"], **penmarrow_truth[name]["under_cover"]}
        lessons.append(
            lesson_of(
                read_photo(photo, penmarrow_table),
                truth,
                truth,
                game="game 7",
                at=AT,
                photo=photo.sha256,
            )
        )
    return lessons


@pytest.fixture
def taught(penmarrow_table: Table, boards: list[Lesson]) -> Table:
    return with_lessons(penmarrow_table, boards)


def lesson(seed: int, photo: str = "") -> Lesson:
    truth = dict(shot(seed, BULB).truth.labels)
    return lesson_of(reading(seed, BULB), truth, (), game="game 7", at=AT, photo=photo)


def test_lessons_come_back_from_the_table_s_file_as_they_were(taught: Table) -> None:
    again = table_from_bytes(table_bytes(taught), "a table")
    assert len(again.lessons) == 3
    for one, other in zip(taught.lessons, again.lessons, strict=True):
        assert (one.game, one.at, one.photo) == (other.game, other.at, other.photo)
        assert one.cells == other.cells
        for field in fields(Samples):
            before, after = (getattr(x.evidence.samples, field.name) for x in (one, other))
            assert np.array_equal(before, after)
        assert np.array_equal(one.evidence.light.gain, other.evidence.light.gain)
    assert table_bytes(again) == table_bytes(taught)


def test_a_taught_table_reads_boards_as_it_did(
    taught: Table, penmarrow_games: dict[str, Photo], penmarrow_truth: dict[str, dict[str, Any]]
) -> None:
    """Its own boards again, with fewer doubts and nothing wrong."""
    for name, photo in penmarrow_games.items():
        alone = read_photo(photo, taught)
        (beside,) = settle_together([alone], [{}], taught)
        doubts = [sum(r.doubt is not None for r in x.cells.values()) for x in (alone, beside)]
        assert doubts[1] <= doubts[0]
        truth = penmarrow_truth[name]["labels"]
        assert all(r.doubt or r.colour == truth[cell] for cell, r in beside.cells.items())


def test_a_table_without_lessons_has_the_file_that_it_always_had(penmarrow_table: Table) -> None:
    with zipfile.ZipFile(io.BytesIO(table_bytes(penmarrow_table))) as file:
        assert "lessons" not in json.loads(file.read("table.json"))


def test_the_same_photo_teaches_once_and_the_oldest_boards_go_first() -> None:
    two = with_lessons(kit().table, [lesson(0, "a"), lesson(1, "b")])
    again = with_lessons(two, [lesson(2, "a")])
    assert [one.photo for one in again.lessons] == ["b", "a"]
    many = with_lessons(two, [lesson(2, str(number)) for number in range(MOST_LESSONS)])
    assert [one.photo for one in many.lessons] == [str(n) for n in range(MOST_LESSONS)]


def test_nothing_is_learned_of_a_board_that_is_read_otherwise_than_it_was_kept() -> None:
    board = reading(0, KIND_LIGHT)
    truth = dict(shot(0, KIND_LIGHT).truth.labels)
    cell = next(c for c, read in board.cells.items() if read.colour == "slate" and not read.doubt)
    with pytest.raises(CalibrationError, match=rf"{cell} \(slate, kept as tar\)"):
        lesson_of(board, {**truth, cell: "tar"}, (), game="game 7", at=AT, photo="a")
    named = lesson_of(board, {**truth, cell: "tar"}, [cell], game="game 7", at=AT, photo="a")
    assert named.cells[cell] == "tar", "a person has said so"


def test_pieces_that_are_others_now_are_noticed_and_a_lamp_is_not() -> None:
    table = kit().table
    lessons = [lesson(0), lesson(1), lesson(2)]
    moved = drift(table, lessons)
    assert set(moved) == set(table.palette.colours)
    assert drift_words(moved) == ()
    faded = [replace(one, cells=faded_cells(one.cells)) for one in lessons]
    (words,) = drift_words(drift(table, faded))
    assert words.startswith("navy no longer looks as it was learned")


def faded_cells(cells: Any) -> dict[str, str]:
    """The same board where what are slate pieces are called navy: as far off as navy faded."""
    other = {"navy": "empty", "slate": "navy"}
    return {cell: other.get(colour, colour) for cell, colour in cells.items()}


Change = Callable[[dict[str, Any]], Any]

ODD: dict[str, Change] = {
    "a cell that the board has not": lambda one: one["cells"].update({"Z99": "tar"}),
    "a colour that the game has not": lambda one: one["cells"].update({"A1": "gold"}),
    "samples of fewer cells": lambda one: one["samples"]["top"].pop(),
    "numbers with too few channels": lambda one: one["samples"]["top"][0].pop(),
    "no light at all": lambda one: one["gain"][0].__setitem__(0, 0.0),
    "a number that is none": lambda one: one["gain"][0].__setitem__(0, float("nan")),
    "no photo": lambda one: one.pop("photo"),
    "cells that are no table": lambda one: one.update(cells=["A1"]),
}


@pytest.mark.parametrize("odd", ODD.values(), ids=ODD.keys())
def test_lessons_that_do_not_fit_their_board_are_refused(odd: Change, taught: Table) -> None:
    with zipfile.ZipFile(io.BytesIO(table_bytes(taught))) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    plain = json.loads(parts["table.json"])
    odd(plain["lessons"][0])
    parts["table.json"] = json.dumps(plain).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, data in parts.items():
            file.writestr(name, data)
    with pytest.raises(TableError):
        table_from_bytes(out.getvalue(), "a table")
