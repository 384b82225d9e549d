"""Whole photos read end to end, and what answers do to a reading."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from calibrate.types import Table
from scoring.types import EMPTY
from tests.vision.practice import APART, final_board, photo_of, practice
from vision.read import read_photo, settle
from vision.report import reading_json
from vision.types import ODD, Photo, Reading

BOARDS = [(kind, seed) for kind in ("square", "hex-pointy") for seed in (0, 1)]


@cache
def reading_of(kind: str, seed: int) -> Reading:
    return read_photo(photo_of(final_board(kind, seed)), practice(kind).table)


@pytest.fixture(scope="module")
def readings(penmarrow_table: Table, penmarrow_games: dict[str, Photo]) -> dict[str, Reading]:
    return {name: read_photo(photo, penmarrow_table) for name, photo in penmarrow_games.items()}


def doubtful(reading: Reading) -> list[str]:
    return [cell for cell, read in reading.cells.items() if read.doubt is not None]


@pytest.mark.parametrize(("kind", "seed"), BOARDS)
def test_every_certain_cell_is_right_and_nearly_all_are_certain(kind: str, seed: int) -> None:
    """Five colours far apart, in kind light: a reading that errs or doubts here is broken."""
    reading, truth = reading_of(kind, seed), final_board(kind, seed).truth.labels
    wrong = {
        cell: (read.colour, truth[cell])
        for cell, read in reading.cells.items()
        if read.doubt is None and read.colour != truth[cell]
    }

    assert wrong == {}
    assert len(doubtful(reading)) <= 0.15 * len(reading.cells)


@pytest.mark.parametrize(("kind", "seed"), BOARDS)
def test_the_truth_is_among_the_candidates_of_every_doubtful_cell(kind: str, seed: int) -> None:
    reading, truth = reading_of(kind, seed), final_board(kind, seed).truth.labels

    assert all(truth[cell] in reading.cells[cell].candidates for cell in doubtful(reading))


@pytest.mark.parametrize(("kind", "seed"), BOARDS)
def test_a_reading_names_every_cell_and_only_what_the_table_knows(kind: str, seed: int) -> None:
    reading, sheet = reading_of(kind, seed), practice(kind).sheet
    names = {*APART, EMPTY}

    assert list(reading.cells) == [cell.id for cell in sheet.lattice.cells]
    for read in reading.cells.values():
        assert read.colour in names | {ODD}
        assert len(set(read.candidates)) == len(read.candidates) >= 1
        assert set(read.candidates) <= names
        assert (read.doubt is None) == (read.candidates == (read.colour,))


def test_board_corners_are_where_they_are() -> None:
    for kind, seed in BOARDS:
        truth = final_board(kind, seed).truth

        np.testing.assert_allclose(
            reading_of(kind, seed).board_corners_px, truth.board_corners_px, atol=2.5
        )


def test_a_die_on_the_board_is_never_taken_for_a_piece(
    readings: dict[str, Reading], penmarrow_truth: dict[str, dict[str, Any]]
) -> None:
    reading = readings["game/joss.jpg"]
    covered = penmarrow_truth["game/joss.jpg"]["under_cover"]

    assert covered
    for cell in covered:
        assert reading.cells[cell].doubt is not None


def test_hard_practice_photos_leave_few_doubts_and_hardly_an_error(
    readings: dict[str, Reading], penmarrow_truth: dict[str, dict[str, Any]]
) -> None:
    """135 cells, with an arm's shadow and a near pair of colours; a pin, not a promise."""
    silent = [
        (name, cell)
        for name, reading in readings.items()
        for cell, read in reading.cells.items()
        if read.doubt is None and read.colour != penmarrow_truth[name]["labels"][cell]
    ]
    asked = sum(len(doubtful(reading)) for reading in readings.values())

    assert silent == []
    assert asked <= 15


def test_reading_the_same_photo_again_says_the_same(
    readings: dict[str, Reading], penmarrow_table: Table, penmarrow_games: dict[str, Photo]
) -> None:
    again = reading_json(read_photo(penmarrow_games["game/joss.jpg"], penmarrow_table))
    once = reading_json(readings["game/joss.jpg"])

    assert once.pop("milliseconds").keys() == again.pop("milliseconds").keys()
    assert json.dumps(once) == json.dumps(again)


def test_a_reading_as_json_has_the_documented_keys_and_nothing_else(
    readings: dict[str, Reading], penmarrow_games: dict[str, Photo]
) -> None:
    for name, reading in readings.items():
        plain = json.loads(json.dumps(reading_json(reading), allow_nan=False))

        assert list(plain) == [
            "photo", "found", "method", "error_mm", "board_corners_px", "alarm",
            "key_strip", "cells", "milliseconds",
        ]  # fmt: skip
        assert plain["alarm"] is None
        assert plain["key_strip"] is None
        assert plain["photo"] == name
        assert plain["found"] is True
        assert plain["method"] == "marks"
        assert plain["error_mm"] == pytest.approx(reading.registration.error_mm, abs=1e-4)
        assert np.array(plain["board_corners_px"]).shape == (4, 2)
        assert list(plain["milliseconds"]) == ["decode", "find", "sample", "classify"]
        assert all(spent >= 0 for spent in plain["milliseconds"].values())
        assert plain["milliseconds"]["decode"] == round(penmarrow_games[name].decode_ms, 2)
        assert plain["cells"] == {
            cell: {
                "colour": read.colour,
                "candidates": list(read.candidates),
                "doubt": read.doubt,
            }
            for cell, read in reading.cells.items()
        }


@pytest.mark.parametrize("named", ["truth", "second candidate", EMPTY, ODD])
def test_answers_are_kept_and_never_change_what_was_certain(
    named: str,
    readings: dict[str, Reading],
    penmarrow_table: Table,
    penmarrow_truth: dict[str, dict[str, Any]],
) -> None:
    for name, reading in readings.items():
        truth = penmarrow_truth[name]
        below = truth["labels"] | truth["under_cover"]
        answers = {
            cell: {"truth": below[cell], "second candidate": reading.cells[cell].candidates[-1]}
            .get(named, named)
            for cell in doubtful(reading)[::2]
        }  # fmt: skip
        settled = settle(reading, answers, penmarrow_table)

        assert list(settled.cells) == list(reading.cells)
        for cell, read in settled.cells.items():
            if cell in answers:
                assert (read.colour, read.candidates) == (answers[cell], (answers[cell],))
                assert read.doubt is None
            elif reading.cells[cell].doubt is None:
                assert read == reading.cells[cell]


def test_a_reading_of_which_every_cell_is_answered_has_no_doubt(
    readings: dict[str, Reading], penmarrow_table: Table
) -> None:
    reading = readings["game/joss.jpg"]
    answers = {cell: reading.cells[cell].candidates[0] for cell in doubtful(reading)}
    settled = settle(reading, answers, penmarrow_table)

    assert answers
    assert doubtful(settled) == []


def test_settling_leaves_the_first_reading_as_it_was(
    readings: dict[str, Reading], penmarrow_table: Table
) -> None:
    reading = readings["game/joss.jpg"]
    before = dict(reading.cells)
    settle(reading, {doubtful(reading)[0]: "rust"}, penmarrow_table)

    assert dict(reading.cells) == before


def test_settling_without_an_answer_changes_nothing(
    readings: dict[str, Reading], penmarrow_table: Table
) -> None:
    for reading in readings.values():
        assert dict(settle(reading, {}, penmarrow_table).cells) == dict(reading.cells)


def test_a_person_may_overrule_even_a_certain_cell(
    readings: dict[str, Reading], penmarrow_table: Table
) -> None:
    reading = readings["game/wren.jpg"]
    cell = next(c for c, read in reading.cells.items() if read.doubt is None)
    other = next(c for c in ("moss", "plum") if c != reading.cells[cell].colour)
    settled = settle(reading, {cell: other}, penmarrow_table)

    assert settled.cells[cell].colour == other
    assert settled.registration is reading.registration


def test_colours_do_not_hang_on_the_photos_brightness() -> None:
    """The same board a stop darker: the light is told from the board itself."""
    made, shot = practice("square"), final_board("square", 0)
    photo = photo_of(shot)
    linear = (photo.pixels / 255.0) ** 2.2 / 2
    darker = replace(photo, pixels=(255 * linear ** (1 / 2.2)).astype(np.uint8))
    reading = read_photo(darker, made.table)

    for cell, read in reading.cells.items():
        assert read.doubt is not None or read.colour == shot.truth.labels[cell]
    assert len(doubtful(reading)) <= 0.2 * len(reading.cells)


def test_a_photo_in_another_light_raises_the_alarm(
    penmarrow_table: Table, penmarrow_games: dict[str, Photo]
) -> None:
    photo = penmarrow_games["game/joss.jpg"]
    assert read_photo(photo, penmarrow_table).alarm is None

    # As if every paint met another lamp, and the board's own print did not.
    palette = penmarrow_table.palette
    turned = replace(palette, samples=palette.samples[:, [1, 2, 0]])
    strange = read_photo(photo, replace(penmarrow_table, palette=turned))

    assert strange.alarm is not None
    assert "Calibrate again" in strange.alarm
