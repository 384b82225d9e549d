"""A key strip beside the board, read in lights that the calibration never saw."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from calibrate.types import Table
from samples.conditions import Conditions
from samples.kits import Kit, invent_kit, with_strip
from samples.photographer import Shot, take_photo
from tests.bench.beside import exchanged, with_spares
from tests.bench.second_look import doubts, silent, table_of
from tests.vision.practice import photo_of
from tests.vision.test_key_strip import LIGHTS
from vision.read import read_photo, settle
from vision.report import reading_json
from vision.spares import agreed, spares_in, strip_seen
from vision.types import CellReading, Reading, Spares

SEED = 733


@dataclass(frozen=True, eq=False)
class Evening:
    """A table learned by day, and its boards with the strip beside them in other lights."""

    kit: Kit
    table: Table
    shots: tuple[Shot, ...]
    readings: tuple[Reading, ...]
    spares: tuple[Spares, ...]


@cache
def evening() -> Evening:
    kit = with_strip(invent_kit(SEED), SEED)
    rng = np.random.default_rng(SEED)
    by_day = replace(Conditions(), size_px=(1200, 900), supersample=1.0, loose=0)
    table = table_of(kit, by_day, rng)
    lights = [
        replace(by_day, lamps=(lamp,), ambient=ambient, tilt_deg=tilt)
        for lamp, ambient in (LIGHTS["bulb"], LIGHTS["tube"])
        for tilt in (10.0, 20.0)
    ]
    shots = tuple(
        take_photo(kit.board, kit.final_board(kit.open_box(), rng), light, rng, kit.strip)
        for light in lights
    )
    photos = [photo_of(shot) for shot in shots]
    readings = tuple(read_photo(photo, table) for photo in photos)
    spares = [
        spares_in(photo, table, reading.registration)
        for photo, reading in zip(photos, readings, strict=True)
    ]
    return Evening(kit, table, shots, readings, tuple(one for one in spares if one))


def test_the_strip_lessens_the_doubts_and_errs_no_oftener() -> None:
    made = evening()
    alone = [with_spares(reading, None, made.table) for reading in made.readings]

    assert sum(map(doubts, made.readings)) <= sum(map(doubts, alone)) / 2
    for reading, shot in zip(made.readings, made.shots, strict=True):
        assert silent(reading, [shot]) == 0


def test_it_is_told_that_the_strip_was_used() -> None:
    for reading in evening().readings:
        assert reading.strip is not None
        assert reading.strip.used
        assert reading.strip.words.startswith("The key strip ")
        assert reading_json(reading)["key_strip"] == {"used": True, "words": reading.strip.words}


def test_the_pieces_lie_where_they_lie_on_the_table() -> None:
    made = evening()
    strip = made.kit.strip
    assert strip is not None
    for spares in made.spares:
        laid = strip.on_table(np.array([strip.slots_mm[name] for name in spares.names]))

        assert np.linalg.norm(spares.places_mm - laid, axis=1).max() < 4


def test_pieces_on_each_others_names_are_told_and_only_raise_doubts() -> None:
    made = evening()
    for reading, spares in zip(made.readings, made.spares, strict=True):
        far = int(np.argmax(spares.colours.sum(axis=1))), int(np.argmin(spares.colours.sum(axis=1)))
        read = with_spares(reading, exchanged(spares, *far), made.table)
        alone = with_spares(reading, None, made.table)

        mistaken = read.evidence.spares
        assert mistaken is not None
        assert mistaken.mistake is not None
        assert any(spares.names[i] in mistaken.mistake for i in far)
        told = strip_seen(mistaken, settling=False)
        assert told is not None
        assert not told.used
        assert f"does not fit and only raises doubts: {mistaken.mistake}. Lay" in told.words
        for cell, was in alone.cells.items():
            assert set(read.cells[cell].candidates) >= set(was.candidates)
            assert read.cells[cell].colour == was.colour


def test_answers_settle_what_the_strip_leaves() -> None:
    made = evening()
    reading, truth = made.readings[0], made.shots[0].truth.labels
    answers = {cell: truth[cell] for cell, read in reading.cells.items() if read.doubt}
    told = settle(reading, answers, made.table)

    assert doubts(told) == 0
    assert silent(told, [made.shots[0]]) == 0


def test_a_colour_that_was_not_learned_is_left_out() -> None:
    made = evening()
    palette = made.table.palette
    others = np.array([name != palette.colours[0] for name in palette.colours])
    fewer = replace(
        palette,
        colours=tuple(np.array(palette.colours)[others]),
        samples=palette.samples[others],
        veils=palette.veils[others],
    )
    table = replace(made.table, palette=fewer)
    spares = spares_in(photo_of(made.shots[0]), table, made.readings[0].registration)

    assert spares is not None
    assert set(spares.names) == set(made.spares[0].names) - {palette.colours[0]}


def sure(colour: str) -> CellReading:
    return CellReading(colour, (colour,))


def test_the_strip_settles_doubts_but_nothing_that_the_board_is_certain_of() -> None:
    """Of empty cells it knows nothing; two contradictions, and it settles nothing."""
    doubt = CellReading("moss", ("moss", "fern"), "in this light it may be moss or fern")
    gap = CellReading("moss", ("moss", "empty"), "it may be moss or the empty cell")
    alone = {"A1": sure("rust"), "A2": sure("rust"), "A3": sure("moss"), "A4": doubt, "A5": gap}
    told = {
        "A1": sure("copper"), "A2": sure("rust"), "A3": doubt, "A4": sure("fern"),
        "A5": sure("moss"),
    }  # fmt: skip
    against = CellReading(
        "rust", ("rust", "copper"), "the key strip says copper, the board alone rust"
    )
    once = agreed(told, alone, settling=True)
    twice = agreed({**told, "A2": sure("copper")}, alone, settling=True)

    assert once == {**alone, "A1": against, "A4": sure("fern")}
    assert twice == {**alone, "A1": against, "A2": against}
    assert agreed(told, alone, settling=False) == {**alone, "A1": against}


@pytest.mark.parametrize("number", range(4))
def test_without_answers_a_settled_reading_stays_as_it_was(number: int) -> None:
    reading = evening().readings[number]

    assert dict(settle(reading, {}, evening().table).cells) == dict(reading.cells)
